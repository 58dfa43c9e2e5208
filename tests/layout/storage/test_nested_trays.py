"""Kinds of one group nested in one tray, in pockets or on a shadow floor, checked with shapely from their shapes."""

import itertools

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.storage.test_lane import shape_of
from tests.layout.storage.things import assortment, filled_trays, ground, thing
from tests.layout.tray.pockets.test_nesting import corners_of, outlines
from worker.layout.placement.columns.pocket_columns import nesting_sets
from worker.layout.tray.pockets.pocket_outline import pocket_ring
from worker.spec.items.handling import MOST_NESTED

ANGLE = {"kind": "polygon", "points": [[0, 0], [90, 0], [90, 20], [20, 20], [20, 60], [0, 60]], "height": 9}
BAR = {"kind": "box", "size": [100, 18, 14]}
COIN = {"kind": "cylinder", "diameter": 30, "length": 3}
SPANNER = {"kind": "polygon", "height": 6, "points": [
    [0, 0], [30, 0], [34, 8], [110, 8], [114, 0], [140, 0], [140, 26], [114, 26], [110, 18], [34, 18], [30, 26], [0, 26]
]}  # fmt: skip

#: Two lines, which a web between two pockets has beside their chamfers.
LINES = 0.88
#: Air of a pocket: the lower end of a loose fit, 0.3 to 0.5 mm (a public design guide).
AIR = 0.3
#: A finger is 25 mm broad (95th percentile of men, and 2 mm), and needs 15 mm beside a thing (anthropometry).
FINGER, GAP = 25.0, 15.0
#: What sticks out by this is taken between fingertips.
GRIP = 6.0
#: Coordinates are on a grid of a micrometre.
SLACK = 0.01

_shapes = st.one_of(
    st.builds(
        lambda shape, high: {
            "kind": "polygon",
            "points": corners_of(shape),
            "height": high,
        },
        outlines(),
        st.sampled_from([2.0, 5.0]),
    ),
    st.sampled_from([ANGLE, BAR, COIN, SPANNER]),
)
_kinds = st.lists(st.tuples(_shapes, st.integers(1, 2)), min_size=2, max_size=3)
_modest = settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))


def kinds_of(shapes, **fields):
    fields = {"storage": "pocket", "group": "g", **fields}
    return [thing(shape, f"k{k}", count=count, **fields) for k, (shape, count) in enumerate(shapes)]


def shared(items, ground):
    """Return the trays in which things of several kinds are nested."""
    return [option for option in filled_trays(items, ground) if len(option.items) > 1]


def footprint(item):
    """What a thing covers as it lies, by its shape."""
    shape = item.shape
    if shape.kind == "polygon":
        return Polygon(shape.points)
    if shape.kind == "box":
        return shapely.box(0.0, 0.0, *sorted(shape.size)[1:])
    return shapely.Point(0.0, 0.0).buffer(shape.diameter / 2.0, quad_segs=64)


def lying(placed):
    """What a placed thing covers of the tray, mm."""
    pose = placed.pose
    radius = pose.round_radius
    drawn = shapely.Point(radius, radius).buffer(radius, quad_segs=64) if radius else Polygon(pose.outline)
    return shapely.affinity.translate(drawn, *placed.at[:2])


def unlike(outline, other):
    """Return the least area in mm2 by which two outlines differ, however one is turned; it is not mirrored."""
    boxes = [shapely.minimum_rotated_rectangle(shape) for shape in (outline, other)]
    sides = [np.diff(shapely.get_coordinates(box)[:2], axis=0)[0] for box in boxes]
    turn = np.degrees(np.arctan2(*sides[0][::-1]) - np.arctan2(*sides[1][::-1]))
    least = np.inf
    for quarter in range(4):
        moved = shapely.affinity.rotate(other, turn + 90.0 * quarter, origin="centroid")
        moved = shapely.affinity.translate(moved, *np.subtract(outline.centroid.coords[0], moved.centroid.coords[0]))
        least = min(least, outline.symmetric_difference(moved).area)
    return least


def check_nest(items, option, ground):
    """Check a tray of several kinds; return its shape and what each thing covers, kind by kind."""
    shape = shape_of(option, ground)
    members = [next(item for item in items if item.name == name) for name in option.items]
    covers = [[lying(placed) for placed in content.things()] for content in option.content]
    for item, content, own in zip(members, option.content, covers, strict=True):
        assert len(own) == item.count == content.count == content.capacity
        for outline, placed in zip(own, content.things(), strict=True):
            assert unlike(outline, footprint(item)) < 0.5 + 0.002 * outline.length
            assert placed.pose.size[2] == pytest.approx(min(item.plain.size) if item.shape.kind == "box" else (
                item.shape.height if item.shape.kind == "polygon" else item.shape.length
            ))  # fmt: skip
    inner = [halves * ground.pitch / 2.0 - 2.0 * shape.inset for halves in option.halves]
    room = shapely.box(shape.wall, shape.wall, inner[0] - shape.wall, inner[1] - shape.wall)
    every = [outline for own in covers for outline in own]
    assert all(room.buffer(-LINES - AIR + SLACK).covers(outline) for outline in every)
    return shape, covers


@_modest
@given(_kinds)
def test_each_thing_of_each_kind_lies_in_a_pocket_of_its_own(shapes):
    space = ground(span=(10, 10), height=70.0, half_cells=False)
    items = kinds_of(shapes)
    for option in shared(items, space):
        shape, covers = check_nest(items, option, space)
        every = [outline for own in covers for outline in own]
        placed = [each for content in option.content for each in content.things()]
        wholes = [Polygon(pocket_ring(pocket)) for pocket in shape.pockets]
        assert len(wholes) == len(every)
        for outline, each in zip(every, placed, strict=True):
            own = [k for k, whole in enumerate(wholes) if whole.intersects(outline)]
            assert len(own) == 1  # no web is below it
            pocket = shape.pockets[own[0]]
            assert Polygon(pocket.outline).buffer(SLACK - AIR * 0.99).covers(outline)
            assert each.at[2] == pytest.approx(pocket.bottom)
            high = each.pose.size[2]
            # it is held by a half of its height, and taken by what sticks out or in a notch
            sunk = shape.fill_top - pocket.bottom
            assert sunk == pytest.approx(max(high / 2.0, 0.5), abs=1e-3)
            assert bool(pocket.notches) == (high - sunk < GRIP)
            for ring in pocket.notches:
                beside = Polygon(ring) - outline
                reach = [np.hypot(*np.subtract(point, shapely.shortest_line(shapely.Point(point), outline).coords[1]))
                         for point in shapely.get_coordinates(beside)]  # fmt: skip
                assert max(reach) >= 12.0 - SLACK
        chamfers = [pocket.chamfer for pocket in shape.pockets]
        for (first, rim), (other, its) in itertools.combinations(zip(wholes, chamfers, strict=True), 2):
            assert first.distance(other) >= LINES + rim + its - 1e-3
        assert option.top == pytest.approx(
            max(shape.height, *(each.at[2] + each.pose.size[2] for each in placed)), abs=1e-3
        )


@_modest
@given(_kinds)
def test_on_a_shadow_floor_each_thing_lies_within_its_groove_beside_room_for_a_finger(shapes):
    space = ground(span=(10, 10), height=70.0, half_cells=False)
    items = kinds_of(shapes, engraved=True)
    for option in shared(items, space):
        shape, covers = check_nest(items, option, space)
        every = [outline for own in covers for outline in own]
        grooves = [Polygon(pocket.outline) for pocket in shape.pockets]
        assert not shape.wells
        for groove, pocket, outline in zip(grooves, shape.pockets, every, strict=True):
            assert shape.fill_top - pocket.bottom == pytest.approx(0.6)
            assert groove.distance(outline) >= AIR - 0.11  # 0.1 of it where sides are short
            assert groove.buffer(1.0).contains(outline.exterior) or groove.buffer(1.6).covers(outline.exterior)
        inner = [halves * space.pitch / 2.0 - 2.0 * shape.inset for halves in option.halves]
        room = shapely.box(shape.wall, shape.wall, inner[0] - shape.wall, inner[1] - shape.wall)
        heights = [each.pose.size[2] for content in option.content for each in content.things()]
        for number, outline in enumerate(every):
            others = shapely.union_all([other for k, other in enumerate(every) if k != number])
            middles = (room - others).buffer(-FINGER / 2.0 + 0.05, quad_segs=32)
            beside = outline.buffer(FINGER / 2.0, quad_segs=32) - outline.buffer(GAP - FINGER / 2.0 - 0.1, quad_segs=32)
            assert middles.intersects(beside)
        walls = shape.height - shape.fill_top
        # walls hold a half of the highest, and rise over none by more than two joints of a finger
        assert max(heights) / 2.0 - 1e-3 <= walls <= min(heights) + 25.0 + 1.2
        assert {each.at[2] for content in option.content for each in content.things()} == {shape.fill_top}


def test_two_kinds_of_a_group_take_a_smaller_tray_than_two():
    items = kinds_of([(SPANNER, 2), (ANGLE, 2)])
    options = filled_trays(items, ground(height=70.0))
    alone = [min(option.area for option in options if option.items == (item.name,)) for item in items]
    both = [option for option in options if len(option.items) == 2]
    assert min(option.area for option in both) < sum(alone)
    plastic = [min(option.plastic for option in options if option.items == (item.name,)) for item in items]
    assert min(option.plastic for option in both) < sum(plastic)


@pytest.mark.parametrize(
    ("first", "other"),
    [
        ({}, {"group": "h"}),
        ({"group": None}, {"group": None}),
        ({}, {"storage": "rows"}),
        ({}, {"engraved": True}),
        ({"label": "A"}, {"label": "B"}),
        ({"label": "A"}, {}),
        ({"count": MOST_NESTED}, {}),
    ],
)
def test_what_does_not_belong_together_shares_no_nest(first, other):
    items = [
        thing(SPANNER, "a", **{"storage": "pocket", "group": "g", **first}),
        thing(ANGLE, "b", **{"storage": "pocket", "group": "g", **other}),
    ]
    stock = assortment(items, ground())
    assert list(nesting_sets(stock, {0: items[0].count, 1: items[1].count})) == []


def test_kinds_of_which_some_are_placed_share_no_nest():
    items = kinds_of([(SPANNER, 2), (ANGLE, 2)])
    stock = assortment(items, ground())
    assert list(nesting_sets(stock, {0: 2, 1: 2})) == [(0, 1)]
    assert list(nesting_sets(stock, {0: 2, 1: 1})) == []


def test_kinds_of_one_label_share_a_tray_that_has_it():
    items = kinds_of([({**SPANNER, "height": 24}, 1), (BAR, 1)], label="shop")
    options = shared(items, ground(height=70.0))
    assert options
    assert all(shape_of(option, ground(height=70.0)).letterings for option in options)


def test_a_thing_that_a_wall_would_rise_too_far_over_has_no_place_beside_a_high_one():
    high = {"kind": "box", "size": [70, 65, 60]}
    items = kinds_of([(high, 1), (COIN, 1)], engraved=True)
    assert not shared(items, ground(height=90.0))  # 30 mm of wall over 3 mm of coin
    items = kinds_of([({**high, "size": [70, 65, 50]}, 1), (COIN, 1)], engraved=True)
    assert shared(items, ground(height=90.0))


def test_mirror_images_are_two_kinds_that_keep_their_sides():
    mirrored = {**ANGLE, "points": [[90 - x, y] for x, y in reversed(ANGLE["points"])]}
    items = kinds_of([(ANGLE, 1), (mirrored, 1)])
    options = shared(items, ground(height=70.0))
    assert options
    for option in options:
        check_nest(items, option, ground(height=70.0))
    left, right = (footprint(item) for item in items)
    assert unlike(left, right) > 100.0  # the check would notice
