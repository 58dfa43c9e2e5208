import dataclasses
import itertools
from math import sqrt

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.geometry import Point, Polygon, box

from worker.layout.tray.dividers import spans
from worker.layout.tray.font import extent
from worker.layout.tray.interior import LEAST_COVER, LEAST_SPACE, UNDER_RIM, tray_room
from worker.layout.tray.pockets.pocket_outline import mitred, pocket_ring
from worker.layout.tray.tray_builder import tray_shape, tray_size
from worker.spec.drawer.joint import CORNER_RADIUS, Joint, default_profile
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import COORDINATE_GRID

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)
AT = "/drawers/0/trays/4"
LINES = 0.88
#: Where everything in a tray of 60 mm ends: 0.2 mm under the foot above, which settles by 0.3 * sqrt(2) = 0.424 mm.
CEILING = pytest.approx(60.0 - 3.0 - 0.424 - 0.2, abs=0.003)


def tray_of(**fields):
    return Tray.model_validate({"name": "bits", "cells": [3, 2], "height": 60} | fields)


def shape_of(*, half_feet=False, pitch=42.0, joint=JOINT, line_width=0.44, **fields):
    tray = tray_of(**fields)
    return tray_shape(tray, joint=joint, pitch=pitch, line_width=line_width, half_feet=half_feet, pointer=AT)


def refused(**fields):
    with pytest.raises(TrayError) as caught:
        shape_of(**fields)
    error = caught.value
    assert error.message.startswith("Tray 'bits': ")
    assert error.pointer.startswith(AT + "/")
    assert error.limit
    assert error.remedy
    return error.pointer[len(AT) :], error.value, error.limit


def test_a_plain_trays_levels_follow_from_the_joints_definition():
    """Computed by hand from the built-in profile with clearance c = 0.3 mm and lines of 0.44 mm.

    The land is c and two lines, 1.18 mm, rounded up to 1.2 mm. The toe lies 0.6 mm further in and rises 1 mm, the seat
    rises 0.6 mm at 45 degrees, and the guide 1.4 mm. The foot is offset by c; where a vertical meets a slope of 45
    degrees, a mitred offset moves the corner along the vertical by c tan(22.5 degrees), and tan(22.5 degrees) is
    sqrt(2) - 1. The shoulder rises at 45 degrees to the outer face, at inset c. The edge on the bed is chamfered by
    0.4 mm.
    """
    c = 0.3
    mitre = c * (sqrt(2.0) - 1.0)
    shoulder = 3.0 + mitre + 1.2
    shape = shape_of()
    expected = [
        (1.8 + c + 0.4, 0.0),
        (1.8 + c, 0.4),
        (1.8 + c, 1.0 + mitre),
        (1.2 + c, 1.6 + mitre),
        (1.2 + c, 3.0 + mitre),
        (c, shoulder),
    ]
    assert np.array(shape.foot_levels) == pytest.approx(np.array(expected), abs=1e-9)
    # the rim is the profile itself, its land at the tray's upper edge
    rim = [(1.8, 57.0), (1.8, 58.0), (1.2, 58.6), (1.2, 60.0)]
    assert np.array(shape.rim_levels) == pytest.approx(np.array(rim), abs=1e-9)
    # a floor of 1.2 mm on the foot, on the grid of a micrometre
    assert shape.floor_top == shape.fill_top == pytest.approx(shoulder + 1.2, abs=5e-4)
    # 3 x 2 cells of 42 mm, less the clearance on each side
    assert tray_size(shape) == (126.0 - 2 * c, 84.0 - 2 * c, 60.0)
    assert (shape.halves, shape.half_feet) == ((6, 4), False)


def test_equal_requests_give_equal_shapes():
    assert shape_of() == shape_of()
    assert hash(shape_of()) == hash(shape_of())


def test_a_straight_rim_has_no_levels():
    assert shape_of(rim="straight").rim_levels is None


@pytest.mark.parametrize(("cells", "given_half", "expected"), [((1.5, 1), False, True), ((1, 1), True, True)])
def test_halves_stand_on_half_feet(cells, given_half, expected):
    assert shape_of(cells=cells, half_feet=given_half).half_feet is expected


# --- the body


def test_the_least_height_is_the_one_that_is_named():
    pointer, value, limit = refused(height=10)
    assert (pointer, value) == ("/height", 10.0)
    least = float(limit.split()[2])
    # foot and floor, two millimetres of room, the air under the rim, the rim
    assert least == pytest.approx(JOINT.foot_height + 1.2 + 2.0 + UNDER_RIM + JOINT.nesting_depth, abs=0.001)
    shape_of(height=least)
    assert refused(height=least - 0.01)[0] == "/height"
    shape_of(height=10, rim="straight")


@pytest.mark.parametrize(
    ("fields", "pointer", "limit"),
    [
        ({"wall": 0.8}, "/wall", "at least 0.88 mm"),
        ({"cells": [0.5, 1], "wall": 8}, "/wall", "at most 7.2 mm"),
        ({"floor": 0.5}, "/floor", "at least 0.6 mm"),
    ],
)
def test_walls_and_floor_keep_their_bounds(fields, pointer, limit):
    assert refused(**fields)[::2] == (pointer, limit)


# --- dividers


def test_dividers_end_just_under_the_rim():
    walls = shape_of(dividers=[{"axis": "x", "at": 40}]).walls
    assert [(wall.axis, wall.at, wall.thickness, wall.top) for wall in walls] == [("x", 41.2, 1.2, CEILING)]
    assert shape_of(rim="straight", dividers=[{"axis": "y", "at": 40}]).walls[0].top == 59.8
    low = shape_of(dividers=[{"axis": "x", "at": 40, "height": 20}]).walls[0]
    assert low.top == pytest.approx(JOINT.foot_height + 1.2 + 20.0, abs=0.001)


def test_dividers_stay_inside_the_room_and_off_its_walls():
    assert refused(dividers=[{"axis": "x", "at": 130}]) == ("/dividers/0/at", 130.0, "3.6 to 119.4 mm on axis x")
    assert refused(dividers=[{"axis": "y", "at": 2}]) == ("/dividers/0/at", 2.0, "3.6 to 77.4 mm on axis y")
    shape_of(dividers=[{"axis": "x", "at": 3.6}, {"axis": "x", "at": 119.4}])


def test_dividers_keep_apart():
    near = [{"axis": "x", "at": 40}, {"axis": "y", "at": 40}, {"axis": "x", "at": 43}]
    assert refused(dividers=near) == ("/dividers/2/at", 43.0, "at least 4.2 mm from 40 mm")


def test_a_divider_higher_than_the_rim_is_refused():
    pointer, value, limit = refused(dividers=[{"axis": "x", "at": 40, "height": 55}])
    assert (pointer, value) == ("/dividers/0/height", 55.0)
    assert limit == "at most 50.854 mm over the floor"


def test_a_divider_may_end_at_a_divider_that_crosses_it():
    cross = {"axis": "y", "at": 30}
    front = {"axis": "x", "at": 40, "span": [0, 30]}
    back = {"axis": "x", "at": 41, "span": [30, 81.0]}
    walls = shape_of(dividers=[cross, front, back]).walls
    assert [wall.span for wall in walls] == [(1.2, 31.2), (31.2, 82.2), None]


@pytest.mark.parametrize(
    ("dividers", "pointer", "limit"),
    [
        ([{"axis": "x", "at": 40, "span": [0, 30]}], "/dividers/0/span/1", "one of 0, 81 mm"),
        (
            # the divider that crosses ends before it gets there
            [
                {"axis": "x", "at": 40},
                {"axis": "y", "at": 30, "span": [0, 40]},
                {"axis": "x", "at": 60, "span": [0, 30]},
            ],
            "/dividers/2/span/1",
            "one of 0, 81 mm",
        ),
        ([{"axis": "y", "at": 30}, {"axis": "x", "at": 40, "span": [30, 0]}], "/dividers/1/span/1", "at least 34.2 mm"),
        (
            [{"axis": "y", "at": 30}, {"axis": "x", "at": 40, "span": [0, 30]}, {"axis": "x", "at": 42}],
            "/dividers/2/at",
            "at least 4.2 mm from 40 mm",
        ),
    ],
)
def test_a_divider_that_ends_nowhere_or_beside_another_is_refused(dividers, pointer, limit):
    assert (refused(dividers=dividers)[0], refused(dividers=dividers)[2]) == (pointer, limit)


def test_labels_stand_behind_the_compartments_along_the_back():
    fields = {"label_ledge": True, "labels": ["A", "B"], "dividers": [{"axis": "y", "at": 30}]}
    front = {"axis": "x", "at": 40, "span": [0, 30]}
    back = {"axis": "x", "at": 60, "span": [30, 81.0]}
    assert refused(**{**fields, "dividers": [*fields["dividers"], front]})[0] == "/labels/1"
    shape = shape_of(**{**fields, "dividers": [*fields["dividers"], front, back]})
    assert [lettering.at[0] < 61.2 for lettering in shape.letterings] == [True, False]


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 8), st.integers(1, 8), st.sampled_from([0.88, 1.2, 2.0]))
def test_compartments_are_even(columns, rows, wall):
    tray = tray_of(compartments=[columns, rows], wall=wall)
    shape = shape_of(compartments=[columns, rows], wall=wall)
    room = tray_room(tray, joint=JOINT, pitch=42.0, line_width=0.44, pointer=AT)
    for axis, count in (("x", columns), ("y", rows)):
        widths = [far - near for near, far in spans(room, shape.walls, axis)]
        assert len(widths) == count
        assert max(widths) - min(widths) <= 3 * COORDINATE_GRID
        assert min(widths) >= LEAST_SPACE - COORDINATE_GRID


def test_too_many_compartments_are_refused_with_the_most_that_fit():
    assert refused(compartments=[40, 1]) == ("/compartments/0", 40, "at most 29 (each 3 mm or more)")
    shape_of(compartments=[29, 1])


# --- ramp and label ledge


def test_a_finger_ramp_takes_what_suits_the_tray():
    assert shape_of(finger_ramp=True).ramp.radius == 12.0
    assert shape_of(finger_ramp=True, height=30).ramp.radius == pytest.approx(
        0.4 * (CEILING.expected - 30.0 - 5.524), abs=0.002
    )
    assert shape_of(finger_ramp={"radius": 7}).ramp.radius == 7.0
    assert shape_of(finger_ramp=False).ramp is None


def test_a_finger_ramp_must_fit():
    pointer, value, limit = refused(finger_ramp={"radius": 60})
    assert (pointer, value) == ("/finger_ramp/radius", 60.0)
    most = float(limit.split()[2])
    assert shape_of(finger_ramp={"radius": most}).ramp.radius == most
    narrow = {"compartments": [1, 8], "finger_ramp": {"radius": 7}}
    assert refused(**narrow)[0] == "/finger_ramp/radius"
    assert refused(compartments=[1, 15], finger_ramp=True)[2] == "no room for one"


def test_a_label_ledge_hangs_under_the_rim():
    ledge = shape_of(label_ledge=True).ledge
    assert (ledge.depth, ledge.top, ledge.drop) == (12.0, CEILING, 3.0)
    text = {"text": "M3", "face": "ledge", "style": "raised"}
    assert shape_of(label_ledge=True, text=text).ledge.top == pytest.approx(CEILING.expected - 0.4, abs=0.003)


@pytest.mark.parametrize(
    ("fields", "pointer", "limit"),
    [
        ({"label_ledge": {"depth": 45}}, "/label_ledge/depth", "at most 40.5 mm, half the inner depth"),
        ({"label_ledge": True, "height": 25}, "/label_ledge", "at least 28.346 mm"),
        (
            {"label_ledge": True, "dividers": [{"axis": "y", "at": 75}]},
            "/label_ledge/depth",
            "at most 2.4 mm",
        ),
    ],
)
def test_a_label_ledge_must_fit(fields, pointer, limit):
    assert refused(**fields)[::2] == (pointer, limit)


# --- magnets


def test_one_magnet_stands_near_each_outer_corner_of_the_tray():
    centres = shape_of(magnets={"diameter": 8.4, "depth": 3.2}).magnets.centres
    assert len(centres) == len(set(centres)) == 4
    inset, reach = JOINT.foot_levels()[0][0], 4.2 + LINES
    corner = CORNER_RADIUS - inset
    assert reach >= corner  # so two lines stand to both sides of the foot
    near = inset + reach
    assert min(centres) == (pytest.approx(near - 0.3, abs=1e-3),) * 2
    assert max(centres) == (pytest.approx(125.7 - near, abs=1e-3), pytest.approx(83.7 - near, abs=1e-3))
    assert {(x, y) for x, y in centres} == {(x, y) for x in {x for x, _ in centres} for y in {y for _, y in centres}}
    halves = shape_of(cells=[1.5, 0.5], magnets={"diameter": 8.4, "depth": 3.2}).magnets.centres
    assert halves == ((10.2, 10.2), (52.2, 10.2))


def test_per_cell_four_magnets_stand_in_a_whole_foot_and_one_in_a_half_foot():
    centres = shape_of(magnets={"diameter": 6.2, "depth": 2.2, "per_cell": True}).magnets.centres
    assert len(centres) == len(set(centres)) == 24
    inset, reach = JOINT.foot_levels()[0][0], 3.1 + LINES
    # Recess and two lines touch the arc of the foot's corner: r (1 - 1/sqrt 2) + reach/sqrt 2 from its sides.
    corner = CORNER_RADIUS - inset
    near = inset + corner * (1.0 - sqrt(0.5)) + reach * sqrt(0.5)
    assert min(centres) == (pytest.approx(near - 0.3, abs=1e-3),) * 2
    assert max(centres) == (pytest.approx(125.7 - near, abs=1e-3), pytest.approx(83.7 - near, abs=1e-3))
    halves = shape_of(cells=[1.5, 0.5], magnets={"diameter": 6.2, "depth": 2.2, "per_cell": True}).magnets.centres
    assert halves == ((10.2, 10.2), (31.2, 10.2), (52.2, 10.2))


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(st.integers(1, 3), st.integers(1, 3)),
    st.floats(2.0, 20.0),
    st.booleans(),
    st.booleans(),
    st.sampled_from([36.0, 42.0, 50.8]),
)
def test_a_magnet_has_two_lines_of_plastic_round_it(cells, diameter, per_cell, half_feet, pitch):
    magnets = {"diameter": diameter, "depth": 2, "per_cell": per_cell}
    try:
        shape = shape_of(cells=cells, magnets=magnets, half_feet=half_feet, pitch=pitch, wall=1.2)
    except TrayError as error:
        assume("too wide" not in error.message)
        raise
    inset = shape.foot_levels[0][0]
    side = pitch / (2.0 if half_feet else 1.0)
    radius = max(CORNER_RADIUS - inset, 0.4)
    low, high = inset + radius, side - inset - radius
    bottom = Polygon([(low, low), (high, low), (high, high), (low, high)]).buffer(radius, quad_segs=64)
    feet = {}
    for x, y in shape.magnets.centres:
        foot = ((x + 0.3) // side, (y + 0.3) // side)
        feet.setdefault(foot, []).append(((x + 0.3) % side, (y + 0.3) % side))
    columns, rows = (along * (2 if half_feet else 1) for along in cells)
    if per_cell:
        assert {len(places) for places in feet.values()} == {1 if half_feet else 4}
        assert len(feet) == columns * rows
    else:
        assert set(feet) == {(x, y) for x in (0, columns - 1) for y in (0, rows - 1)}
        assert len(shape.magnets.centres) == (len(feet) if half_feet else 4)
    for places in feet.values():
        for x, y in places:
            disc = Point(x, y).buffer(diameter / 2.0, quad_segs=64)
            assert bottom.covers(disc)
            assert bottom.exterior.distance(disc) >= LINES - 0.01
        for (xa, ya), (xb, yb) in itertools.combinations(places, 2):
            assert np.hypot(xa - xb, ya - yb) >= diameter + LINES - 0.01


@pytest.mark.parametrize(
    ("diameter", "depth", "floor", "taper"),
    [
        (10.0, 2.0, 1.2, 0.0),
        (14.0, 2.0, 1.2, 2.0),
        # a floor at 5.524 mm less 0.8 mm of cover leaves 0.724 mm over a recess of 4 mm
        (14.0, 4.0, 1.2, 0.724),
        (14.0, 4.0, 2.6, 2.0),
        (18.0, 2.0, 3.0, 4.0),
    ],
)
def test_the_roof_over_a_wide_magnet_narrows_to_ten_millimetres_where_the_floor_allows(diameter, depth, floor, taper):
    magnets = shape_of(magnets={"diameter": diameter, "depth": depth}, floor=floor).magnets
    assert magnets.taper == pytest.approx(taper, abs=1e-9)


def test_magnets_too_large_are_refused():
    wide = {"diameter": 19, "depth": 2}
    assert refused(magnets={**wide, "per_cell": True})[:2] == ("/magnets/diameter", 19.0)
    assert refused(cells=[3, 1], magnets=wide)[:2] == ("/magnets/diameter", 19.0)
    shape_of(magnets=wide)  # one in a foot has room
    pointer, value, limit = refused(magnets={"diameter": 8, "depth": 5})
    assert (pointer, value) == ("/magnets/depth", 5.0)
    assert limit == f"at most {JOINT.foot_height + 1.2 - LEAST_COVER:.3f} mm"
    text = {"text": "M3", "face": "floor"}
    assert refused(magnets={"diameter": 8, "depth": 4.5}, text=text)[0] == "/magnets/depth"


# --- pockets


def circle(x=30, y=40, diameter=30, depth=20, **more):
    return {"shape": "circle", "at": [x, y], "diameter": diameter, "depth": depth, **more}


def rectangle(x=70, y=30, size=(20, 30), depth=15, **more):
    return {"shape": "rectangle", "at": [x, y], "size": size, "depth": depth, **more}


def test_the_room_is_filled_to_the_deepest_pocket():
    shape = shape_of(pockets=[circle(), rectangle()])
    assert shape.fill_top == round(shape.floor_top + 20.0, 3)
    assert [round(shape.fill_top - pocket.bottom, 3) for pocket in shape.pockets] == [20.0, 15.0]
    assert all(pocket.chamfer == 0.4 for pocket in shape.pockets)


def test_a_pocket_is_grown_by_its_clearance():
    shape = shape_of(pockets=[circle(clearance=0.5), rectangle(clearance=0.2)])
    round_one, square_one = (Polygon(pocket.outline) for pocket in shape.pockets)
    assert round_one.centroid.distance(Polygon([(31.2, 41.2), (31.3, 41.2), (31.2, 41.3)])) < 0.01
    assert round_one.covers(round_one.centroid.buffer(15.499, quad_segs=64))
    assert not round_one.covers(round_one.centroid.buffer(15.55, quad_segs=64))
    assert square_one.bounds == pytest.approx((71.0, 31.0, 91.4, 61.4))
    assert square_one.area == pytest.approx(20.4 * 30.4)


def test_a_pocket_leaves_two_lines_to_the_wall():
    shape_of(pockets=[rectangle(x=1.18, y=20)])
    pointer, value, limit = refused(pockets=[rectangle(x=0.3, y=20)])
    assert pointer == "/pockets/0"
    assert value == pytest.approx([0.0, 19.7, 20.6, 50.3])
    assert "0.88 mm or more inside 123 x 81 mm" in limit


def test_a_pocket_too_deep_is_refused():
    pointer, value, limit = refused(pockets=[circle(depth=52)])
    assert (pointer, value) == ("/pockets/0/depth", 52.0)
    most = float(limit.split()[2])
    shape_of(pockets=[circle(depth=most)])
    assert most == pytest.approx(CEILING.expected - 0.2 - JOINT.foot_height - 1.2, abs=0.3)


def test_pockets_keep_apart():
    assert refused(pockets=[circle(), circle(x=50)])[:2] == ("/pockets/1", 0.0)
    pointer, value, limit = refused(pockets=[circle(), circle(x=62)])
    assert (pointer, limit) == ("/pockets/1", "at least 1.68 mm between them, notches included")
    assert value == pytest.approx(1.4, abs=0.02)
    shape_of(pockets=[circle(), circle(x=62.4)])


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("dividers", [{"axis": "x", "at": 10}]),
        ("compartments", [2, 1]),
        ("finger_ramp", True),
        ("label_ledge", True),
    ],
)
def test_pockets_stand_alone(name, value):
    assert refused(pockets=[circle()], **{name: value})[0] == f"/{name}"


def test_a_notch_crosses_the_shorter_side():
    shape = shape_of(pockets=[rectangle(x=50, y=30, size=(12, 40), notch={})])
    bay = Polygon(shape.pockets[0].notches[0])
    left, front, right, back = bay.bounds
    assert (right - left, back - front) == pytest.approx((12.6 + 30.0, 25.0), abs=0.01)
    assert (left + right) / 2.0 == pytest.approx(50 + 6 + 1.2, abs=0.01)
    assert (front + back) / 2.0 == pytest.approx(30 + 20 + 1.2, abs=0.01)


def row(count=3, *, step=30, **more):
    """Return blades side by side, with 17.4 mm between their pockets."""
    return [rectangle(x=25 + k * step, y=20, size=(12, 40), notch={}) | more for k in range(count)]


def test_neighbouring_pockets_share_one_straight_slot():
    (pocket,) = shape_of(pockets=row()).pockets
    assert len(pocket.neighbours) == 2
    whole = Polygon(pocket_ring(pocket))
    left, right, middle = 25 + 1.2 - 0.3, 25 + 60 + 12 + 1.2 + 0.3, 20 + 20 + 1.2
    assert whole.bounds == pytest.approx((left - 15.0, 20.9, right + 15.0, 61.5), abs=0.01)
    # 25 mm wide from end to end, and nothing is left standing in it
    slot = box(left, middle - 12.5, right, middle + 12.5)
    assert whole.buffer(0.01).covers(slot)
    blades = [box(25 + k * 30 + 0.9, 20.9, 25 + k * 30 + 13.5, 61.5) for k in range(3)]
    ends = Point(left - 2.5, middle).buffer(12.5).union(Point(right + 2.5, middle).buffer(12.5))
    assert whole.symmetric_difference(union_all([slot, ends, *blades])).area < 3.0


def test_pockets_share_no_slot_when_their_notches_are_apart_or_differ():
    apart = shape_of(cells=[4, 2], pockets=row(2, step=45))
    assert [pocket.neighbours for pocket in apart.pockets] == [(), ()]
    shape_of(pockets=row(2, step=28))
    blade, other = row(2, step=28)
    for change in ({"depth": 14}, {"notch": {"width": 20}}, {"notch": None}):
        pointer, _, limit = refused(pockets=[blade, other | change])
        assert (pointer, limit) == ("/pockets/1", "at least 1.68 mm between them, notches included")


def test_pockets_that_share_a_slot_still_have_a_wall_between_them():
    shape_of(pockets=row(2, step=14.3))
    assert refused(pockets=row(2, step=14.2))[:2] == ("/pockets/1", pytest.approx(1.6))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(14.0, 40.0), st.floats(18.0, 26.0)), min_size=1, max_size=3),
    st.floats(20.0, 36.0),
    st.sampled_from([10, 25]),
)
def test_any_row_of_pockets_keeps_its_items_and_one_finger_reaches_all(steps, deep, width):
    x, specs = 20.0, []
    for step, y in steps:
        specs.append(rectangle(x=x, y=y, size=(10, deep), notch={"width": width}))
        x += step
    try:
        shape = shape_of(cells=[4, 2], pockets=specs)
    except TrayError as error:
        assume(error is None)
    wholes = [Polygon(pocket_ring(pocket)) for pocket in shape.pockets]
    for spec in specs:
        (at, y), (wide, back) = spec["at"], spec["size"]
        (whole,) = (whole for whole in wholes if whole.covers(box(at + 1.2, y + 1.2, at + wide + 1.2, y + back + 1.2)))
        # a finger's bay beside it to the left and to the right
        middle = y + back / 2.0 + 1.2
        assert whole.buffer(0.01).covers(box(at - 8, middle - width / 8, at + wide + 10, middle + width / 8))
    for first, other in itertools.combinations(wholes, 2):
        assert first.distance(other) >= LINES - 0.002


def test_a_notch_without_room_is_refused():
    pointer, value, _ = refused(pockets=[circle(x=20, y=20, diameter=35, notch={"width": 30})])
    assert (pointer, value) == ("/pockets/0/notch/width", 30.0)


def test_a_pocket_that_closes_on_itself_is_refused():
    ring = [
        [10, 10],
        [50, 10],
        [50, 50],
        [30.2, 50],
        [30.2, 45],
        [45, 45],
        [45, 15],
        [15, 15],
        [15, 45],
        [30, 45],
        [30, 50],
        [10, 50],
    ]
    pocket = {"shape": "polygon", "points": ring, "depth": 5}
    assert refused(pockets=[pocket])[0] == "/pockets/0"
    shape_of(pockets=[pocket | {"clearance": 0.05}])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(5.0, 115.0), st.floats(5.0, 75.0)), min_size=3, max_size=9), st.floats(0.0, 1.0))
def test_any_pocket_keeps_its_item_and_its_chamfer(points, clearance):
    item = Polygon(points)
    assume(item.is_valid and item.area > 4.0 and min(np.ptp(np.array(points), axis=0)) > 2.0)
    sides = np.linalg.norm(np.array(points) - np.roll(points, 1, axis=0), axis=1)
    assume(sides.min() > 0.01)
    pocket = {"shape": "polygon", "points": points, "depth": 8, "clearance": clearance}
    try:
        shape = shape_of(pockets=[pocket])
    except TrayError as error:
        assume(error is None)
    made = shape.pockets[0]
    area = Polygon(made.outline)
    # Simplifying may take two steps of the grid.
    shifted = Polygon([(x + 1.2, y + 1.2) for x, y in points])
    assert area.buffer(3 * COORDINATE_GRID).covers(shifted)
    ring = np.array(pocket_ring(made))
    if made.chamfer:
        wide = Polygon(mitred(ring, made.chamfer))
        assert wide.is_valid
        assert wide.buffer(1e-9).covers(area)


# --- text


def test_letters_grow_with_the_line_or_are_left_out_where_the_caller_made_them_too_small():
    wide = {"line_width": 0.88, "wall": 2.4}
    ledge = {"label_ledge": {"depth": 8, "drop": 1}, "labels": ["M3"]}
    (label,) = shape_of(**wide, **ledge).letterings
    assert label.cap_height >= 5.72
    assert shape_of(**wide, text={"text": "M3", "cap_height": 5.7}).letterings == ()
    assert len(shape_of(**wide, text={"text": "M3", "cap_height": 5.72}).letterings) == 1
    assert len(shape_of(text={"text": "M3", "cap_height": 3}).letterings) == 1
    assert shape_of(text={"text": "M3", "cap_height": 2.9}).letterings == ()
    # a slope on which 3 mm fit and 5.72 mm do not
    shape_of(label_ledge={"depth": 6, "drop": 1}, labels=["M3"])
    with pytest.raises(TrayError, match="does not fit") as caught:
        shape_of(**wide, label_ledge={"depth": 6, "drop": 1}, labels=["M3"])
    assert caught.value.limit.startswith("capitals of 5.72 mm on ")


def test_text_stands_in_the_middle_of_its_face():
    (front,) = shape_of(text={"text": "M3"}).letterings
    assert (front.face, front.raised) == ("front", False)
    assert front.depth == pytest.approx(1.2 - LINES)
    assert front.cap_height == 8.0
    assert front.at == (62.7, pytest.approx((JOINT.foot_height + 56.65) / 2.0, abs=0.2))
    (floor,) = shape_of(text={"text": "M3", "face": "floor", "style": "raised"}).letterings
    assert (floor.face, floor.raised, floor.depth) == ("floor", True, 0.4)
    (ledge,) = shape_of(text={"text": "M3", "face": "ledge"}, label_ledge=True).letterings
    assert ledge.at == (62.7, pytest.approx(np.hypot(12, 3) / 2.0, abs=0.2))


def test_text_on_the_floor_stands_in_the_largest_compartment():
    fields = {"dividers": [{"axis": "x", "at": 40}], "finger_ramp": {"radius": 10}}
    (text,) = shape_of(text={"text": "M3", "face": "floor"}, **fields).letterings
    assert text.at[0] == pytest.approx((41.8 + 124.2) / 2.0)
    assert text.at[1] == pytest.approx((11.2 + 82.3) / 2.0, abs=0.1)


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"text": {"text": "M3", "style": "raised"}}, "/text/style"),
        ({"text": {"text": "M3"}, "wall": 0.9}, "/wall"),
        ({"text": {"text": "M3", "face": "floor"}, "floor": 0.9}, "/floor"),
        ({"text": {"text": "M3", "face": "floor"}, "pockets": [circle()]}, "/text/face"),
        ({"text": {"text": "\u6f22"}}, "/text/text"),
        ({"text": {"text": "a long label that will not go in", "face": "front"}, "cells": [1, 1]}, "/text/text"),
        ({"text": {"text": "M3", "cap_height": 55}}, "/text/cap_height"),
    ],
)
def test_text_that_cannot_be_made_is_refused(fields, pointer):
    assert refused(**fields)[0] == pointer


@settings(max_examples=60, deadline=None)
@given(
    st.text("ABgjÄO8 .", min_size=1, max_size=12).filter(lambda text: text.strip()),
    st.sampled_from(["front", "floor", "ledge"]),
    st.sampled_from([(1, 1), (3, 2), (2, 1)]),
)
def test_text_lies_on_its_face(text, face, cells):
    try:
        shape = shape_of(text={"text": text, "face": face}, cells=cells, label_ledge=face == "ledge", height=40)
    except TrayError as error:
        assume("does not fit" not in error.message)
        raise
    (lettering,) = shape.letterings
    left, low, right, high = (bound * lettering.cap_height for bound in extent(text))
    width, depth, height = tray_size(shape)
    x, y = lettering.at
    across = (x - (right - left) / 2.0, x + (right - left) / 2.0)
    up = (y + low - lettering.cap_height / 2.0, y + high - lettering.cap_height / 2.0)
    assert across[0] >= 1.2 - 1e-3
    assert across[1] <= width - 1.2 + 1e-3
    bounds = {
        "front": (JOINT.foot_height, height - JOINT.height - 0.35),
        "floor": (1.2, depth - 1.2),
        "ledge": (0.0, np.hypot(12.0, 3.0)),
    }[face]
    assert up[0] >= bounds[0] + 1.0 - 2e-3
    assert up[1] <= bounds[1] - 1.0 + 2e-3


# --- all together


def test_everything_under_the_rim_leaves_air_to_the_tray_above():
    shape = shape_of(compartments=[3, 2], label_ledge=True, finger_ramp=True)
    assert max(wall.top for wall in shape.walls) <= CEILING.expected + 0.003
    assert shape.ledge.top <= CEILING.expected + 0.003


def test_equal_trays_are_equal_shapes_whatever_they_are_called():
    first = shape_of(name="bits")
    other = tray_shape(tray_of(name="nails"), joint=JOINT, pitch=42.0, line_width=0.44, half_feet=False, pointer="/x")
    assert first == other
    assert dataclasses.replace(first, height=61.0) != other
