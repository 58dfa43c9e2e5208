"""Nested pockets, checked with shapely: apart by the web, inside the tray, of the item's own shape, within reach."""

import itertools

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.layout.tray.test_tray_builder import JOINT, LINES, refused, shape_of
from worker.layout.tray.grip import principal_turn
from worker.layout.tray.pockets.pocket_outline import pocket_ring
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.errors import TrayError

_SPANNER = shapely.union_all(
    [shapely.box(14, 9, 134, 19), shapely.Point(14, 14).buffer(14), shapely.Point(134, 14).buffer(11)]
) - shapely.box(-6, 10, 14, 18)
_HOOK = shapely.LineString([(5, 5), (65, 5), (65, 45), (35, 45)]).buffer(5)


def corners_of(shape):
    return np.round(shapely.get_coordinates(shape.simplify(0.02).exterior)[:-1], 3).tolist()


def _pocket(shape, **fields):
    return {"shape": "nested", "points": corners_of(shape), "depth": 6.0, **fields}


def _usable(shape, wall=1.2):
    right, back = (halves * 21.0 - 2.0 * JOINT.body_inset for halves in shape.halves)
    edge = wall + LINES
    corner = max(CORNER_RADIUS - JOINT.body_inset - edge, 0.0)
    room = shapely.box(edge + corner, edge + corner, right - edge - corner, back - edge - corner)
    return room.buffer(corner + 0.005, quad_segs=64)


def _checked(shape):
    """Check what holds for all pockets; return their areas with notches."""
    areas = [shapely.Polygon(pocket_ring(pocket)) for pocket in shape.pockets]
    room = _usable(shape)
    chamfers = [pocket.chamfer for pocket in shape.pockets]
    assert all(room.covers(area) for area in areas)
    for (area, rim), (other, other_rim) in itertools.combinations(zip(areas, chamfers, strict=True), 2):
        assert area.distance(other) >= LINES + rim + other_rim - 1e-3
    return areas


def _alike(outline, points, clearance, *, mirrored):
    """Return how many mm2 an outline has more or less than the item, laid over each other at their best."""
    item = shapely.Polygon(points).buffer(clearance, join_style="mitre", mitre_limit=2.0)
    least = np.inf
    for turn, flip in itertools.product(np.arange(0.0, 360.0, 15.0), (1.0, -1.0) if mirrored else (1.0,)):
        main = principal_turn(tuple(map(tuple, points)))
        for base in (0.0, -main, main):
            moved = shapely.affinity.rotate(shapely.affinity.scale(item, flip, 1.0), turn + base)
            shift = np.subtract(outline.centroid.coords[0], moved.centroid.coords[0])
            least = min(least, outline.symmetric_difference(shapely.affinity.translate(moved, *shift)).area)
    return least


@st.composite
def outlines(draw):
    """A star-shaped outline with 5 to 9 corners, 12 to 70 mm wide."""
    angles = sorted(draw(st.lists(st.integers(0, 23), min_size=5, max_size=9, unique=True)))
    radii = draw(st.lists(st.floats(6.0, 35.0), min_size=len(angles), max_size=len(angles)))
    turned = np.radians(np.array(angles) * 15.0)
    points = np.column_stack([np.cos(turned), np.sin(turned)]) * np.array(radii)[:, None]
    shape = shapely.Polygon(np.round(points - points.min(axis=0), 3))
    assume(shape.is_valid and shape.buffer(-2.0).area > 0.2 * shape.area)
    return shape.buffer(-1.5).buffer(1.5, quad_segs=2) if shape.buffer(-1.5).geom_type == "Polygon" else shape


@settings(max_examples=15)
@given(
    st.lists(
        st.builds(
            lambda shape, count, fields: _pocket(shape, count=count, **fields),
            outlines(), st.integers(1, 2),
            st.fixed_dictionaries({
                "turns": st.sampled_from(["any", "quarters", "none"]), "mirrored": st.booleans(),
                "clearance": st.sampled_from([0.0, 0.3, 0.8]), "notch": st.sampled_from([None, {"width": 16}]),
            }),
        ),
        min_size=1, max_size=3,
    )
)  # fmt: skip
def test_nested_pockets_are_a_web_apart_inside_the_tray_and_of_their_items_shape(pockets):
    try:
        shape = shape_of(cells=[4, 4], height=30, pockets=pockets)
    except TrayError as error:
        assert error.limit  # noqa: PT017 - what has no room says so
        return
    _checked(shape)
    entries = [entry for entry in pockets for _ in range(entry["count"])]
    assert len(shape.pockets) == len(entries)
    for pocket, entry in zip(shape.pockets, entries, strict=True):
        assert bool(pocket.notches) == (entry["notch"] is not None)
        if entry["turns"] == "none" and not entry["mirrored"]:
            item = shapely.Polygon(entry["points"]).buffer(entry["clearance"], join_style="mitre", mitre_limit=2.0)
            outline = shapely.Polygon(pocket.outline)
            shift = np.subtract(outline.centroid.coords[0], item.centroid.coords[0])
            assert outline.symmetric_difference(shapely.affinity.translate(item, *shift)).area < 0.05


def test_spanners_and_hooks_nest_where_their_boxes_would_not():
    shape = shape_of(cells=[5, 3], height=30, pockets=[_pocket(_SPANNER, count=2), _pocket(_HOOK, count=2)])
    areas = _checked(shape)
    boxes = [shapely.box(*area.bounds) for area in areas]
    assert any(box.intersects(other) for box, other in itertools.combinations(boxes, 2))
    for pocket, item in zip(shape.pockets, [_SPANNER, _SPANNER, _HOOK, _HOOK], strict=True):
        assert _alike(shapely.Polygon(pocket.outline), corners_of(item), 0.3, mirrored=False) < 1.0


def test_the_same_tray_has_the_same_places():
    pockets = [_pocket(_HOOK, count=3)]
    assert shape_of(cells=[4, 4], pockets=pockets).pockets == shape_of(cells=[4, 4], pockets=pockets, name="x").pockets


def test_a_mirrored_outline_is_used_only_where_it_may_be():
    """A corner piece in what a rectangle leaves of a tray: it fits the other way round only."""
    rectangle = {"shape": "rectangle", "at": [3, 33], "size": [47, 45], "depth": 5}
    corner = [[0, 0], [74, 0], [74, 25], [19, 25], [19, 74], [0, 74]]
    entry = {"shape": "nested", "points": corner, "depth": 5, "turns": "none", "notch": None}
    tray = {"cells": [2, 2], "height": 30}
    assert refused(**tray, pockets=[rectangle, entry])[0] == "/pockets/1"
    shape = shape_of(**tray, pockets=[rectangle, entry | {"mirrored": True}])
    assert len(_checked(shape)) == 2


def test_nested_pockets_keep_clear_of_those_with_a_place():
    placed = {"shape": "circle", "at": [60, 40], "diameter": 30, "depth": 5, "notch": {"width": 20}}
    shape = shape_of(cells=[5, 3], height=30, pockets=[_pocket(_SPANNER), placed, _pocket(_HOOK)])
    assert len(_checked(shape)) == 3


def test_the_notch_is_where_the_spanner_is_thin_and_near_its_centre_of_mass():
    shape = shape_of(cells=[5, 2], height=30, pockets=[_pocket(_SPANNER)])
    outline = shapely.Polygon(shape.pockets[0].outline)
    (notch,) = map(shapely.Polygon, shape.pockets[0].notches)
    assert notch.centroid.distance(outline.centroid) < 10.0
    # 15 mm past the handle of 10 mm on both sides, and 0.3 mm of clearance: reaches of reference anthropometry
    sides = sorted(np.diff(shapely.get_coordinates(shapely.minimum_rotated_rectangle(notch))[:3], axis=0).tolist())
    assert sorted(np.hypot(*np.array(sides).T)) == pytest.approx([25.0, 40.6], abs=0.1)


def test_what_has_no_room_is_refused_with_the_web():
    pointer, value, limit = refused(cells=[2, 2], pockets=[_pocket(_HOOK, count=4)])
    assert pointer == "/pockets/0"
    assert value is None
    assert "1.69 mm" in limit  # two lines of 0.44, two chamfers of 0.4, and rounding


def test_a_tray_has_at_most_60_pockets_copies_counted():
    chip = shapely.box(0, 0, 5, 5)
    entries = [_pocket(chip, notch=None, count=40), _pocket(chip, notch=None, count=21)]
    assert refused(cells=[5, 5], pockets=entries)[0] == "/pockets/1/count"


def test_an_engraved_outline_is_a_groove_around_the_item():
    shape = shape_of(
        cells=[5, 3], height=20, pockets=[_pocket(_SPANNER, engraved=True, depth=0.6), _pocket(_HOOK, depth=0.5)]
    )
    assert len(_checked(shape)) == 2
    pocket = shape.pockets[0]
    groove = shapely.Polygon(pocket.outline)
    assert not pocket.notches
    assert not shape.wells  # the spanner lies on the raised floor
    assert shape.fill_top - pocket.bottom == pytest.approx(0.6)
    # a ring 1 mm wide, open for 1 mm, goes round the item with its clearance
    item = shapely.Polygon(corners_of(_SPANNER)).buffer(0.3, join_style="mitre")
    assert groove.area == pytest.approx(
        item.buffer(1.0, join_style="mitre", mitre_limit=2).area - item.area - 1.0, abs=0.1
    )
    closed = shapely.Polygon(groove.buffer(0.6).exterior).buffer(-0.6)
    assert closed.area - groove.area > item.area - 1.0


def test_an_outline_that_a_groove_would_close_is_refused():
    keyhole = shapely.box(0, 0, 40, 30) - shapely.box(20, 14.5, 50, 15.5) - shapely.Point(15, 15).buffer(8)
    assert refused(cells=[4, 3], pockets=[_pocket(keyhole, engraved=True)])[0] == "/pockets/0/engraved"


@pytest.mark.parametrize("diameter", [10.0, 25.75, 60.0])
def test_a_groove_is_open_in_a_side_that_is_long_enough(diameter):
    disc = shapely.Point(0, 0).buffer(diameter / 2.0, quad_segs=32)
    entry = _pocket(shapely.affinity.translate(disc, diameter, diameter), engraved=True, depth=0.6)
    shape = shape_of(cells=[2, 2], height=20, pockets=[entry])
    (groove,) = (shapely.Polygon(pocket.outline) for pocket in shape.pockets)
    # an edge of 0.04 mm at its end was taken for a wall
    assert np.hypot(*np.diff(shapely.get_coordinates(groove.exterior), axis=0).T).min() > 0.2
    item = shapely.Point(groove.envelope.centroid).buffer(diameter / 2.0 + 0.15)
    assert not groove.intersects(item)
    assert groove.area == pytest.approx(np.pi * (diameter + 1.6), rel=0.1)
