"""Pockets for items: how deep they are, how the things lie in them, and what their trays cost."""

import itertools

import pytest
import shapely
import shapely.affinity
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.storage.test_lane import shape_of
from tests.layout.storage.things import filled_trays, ground, grounds, shapes, thing
from worker.layout.storage.poses import poses
from worker.layout.storage.reach import LEAST_GRIP
from worker.layout.storage.tray_option import content_box
from worker.layout.tray.pockets.pocket_outline import NOTCH_REACHES, pocket_ring

ANGLE = [[0, 0], [90, 0], [90, 20], [20, 20], [20, 60], [0, 60]]
TRIANGLE = [[0, 0], [120, 0], [0, 70]]
FORK = [
    [0, 0], [30, 0], [34, 8], [110, 8], [114, 0], [140, 0], [140, 26], [114, 26], [110, 18], [34, 18], [30, 26], [0, 26]
]  # fmt: skip
SPANNER = {"kind": "box", "size": [140, 20, 6]}


def pocketed(shape, ground, **fields):
    return [option for option in filled_trays([thing(shape, storage="pocket", **fields)], ground) if option.recess]


@pytest.mark.parametrize(
    ("shape", "share", "high"),
    [
        (SPANNER, 1 / 2, 6.0),  # a flat tool lies half in
        ({"kind": "box", "size": [160, 50, 20]}, 1 / 2, 20.0),
        ({"kind": "polygon", "points": ANGLE, "height": 9}, 1 / 2, 9.0),
        ({"kind": "cylinder", "diameter": 40, "length": 60}, 1 / 3, 60.0),  # a jar stands by itself
        ({"kind": "cylinder", "diameter": 7, "length": 25}, 3 / 5, 25.0),  # a bit would tip over
    ],
)  # fmt: skip
def test_a_pocket_is_as_deep_as_holds_its_thing(shape, share, high):
    heights = {
        option.things()[0].pose.size[2]: option.recess for option in pocketed(shape, ground(height=90.0), count=3)
    }
    assert heights[high] == pytest.approx(share * high, abs=1e-3)


def test_flat_things_lie_unless_they_would_not_fit():
    assert {option.content[0].pose.size[2] for option in pocketed(SPANNER, ground(height=90.0))} == {6.0}
    narrow = pocketed({"kind": "box", "size": [100, 60, 12]}, ground(span=(2, 8), height=90.0))
    assert {option.content[0].pose.size[2] for option in narrow} == {60.0}


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(shapes, st.integers(1, 12), grounds())
def test_a_pocket_holds_a_third_to_three_fifths_of_its_thing(shape, count, ground):
    for option in pocketed(shape, ground, count=count):
        high = option.things()[0].pose.size[2]
        # nested things are turned freely; see below
        assert option.pockets or option.things()[0].pose in poses(thing(shape).plain)
        assert max(high / 3.0 - 1e-3, min(0.5, high)) <= option.recess <= max(0.6 * high + 1e-3, 0.5)


def test_a_row_of_flat_tools_shares_one_slot_and_stands_a_finger_apart():
    options = pocketed(SPANNER, ground(height=90.0), count=5)
    assert options
    for option in options:
        shape = shape_of(option, ground(height=90.0))
        lot = option.content[0]
        along = 0 if lot.pose.size[0] < lot.pose.size[1] else 1
        rows, in_row = (lot.acrosses, lot.backs)[1 - along], (lot.acrosses, lot.backs)[along]
        assert len(shape.pockets) == min(len(rows), -(-5 // len(in_row)))
        gaps = [b - a - lot.pose.size[along] - 0.6 for a, b in itertools.pairwise(in_row)]
        assert all(gap >= NOTCH_REACHES[0] - 0.002 for gap in gaps)
        assert sum(len(pocket.neighbours) + 1 for pocket in shape.pockets) == 5


def test_five_spanners_with_a_slot_of_their_own_each_would_take_a_third_more_room():
    (narrowest, *_) = sorted(pocketed(SPANNER, ground(height=90.0), count=5), key=lambda option: option.area)
    # a bay on both sides of each of five: 5 x (20.6 + 30) + 4 x 1.69 + two edges of a line or more
    assert 42.0 * max(narrowest.halves) / 2.0 < 5 * 50.6 + 4 * 1.69 + 2 * 0.9


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(shapes, st.integers(1, 12), grounds())
def test_every_tray_with_pockets_can_be_made_and_its_things_can_be_taken(shape, count, ground):
    for option in pocketed(shape, ground, count=count):
        made = shape_of(option, ground)
        wholes = [Polygon(pocket_ring(pocket)) for pocket in made.pockets]
        assert sum(1 + len(pocket.neighbours) for pocket in made.pockets) == count
        stands_out = option.things()[0].pose.size[2] - option.recess
        for whole, pocket in zip(wholes, made.pockets, strict=True):
            free = whole.area - sum(Polygon(ring).area for ring in (pocket.outline, *pocket.neighbours))
            assert (free > 100.0) is (stands_out < LEAST_GRIP)


def test_nobody_prints_a_solid_block_around_a_jar():
    jar = {"kind": "cylinder", "diameter": 60, "length": 120}
    standing = [made for made in pocketed(jar, ground(height=150.0), count=2) if made.content[0].pose.axis == "z"]
    assert standing
    for option in standing:
        assert shape_of(option, ground(height=150.0)).wells


def _askew(points, turn):
    turned = shapely.affinity.rotate(Polygon(points), turn, origin=(0.0, 0.0))
    left, front, _, _ = turned.bounds
    return [[round(x - left, 3), round(y - front, 3)] for x, y in shapely.get_coordinates(turned)[:-1].tolist()]


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from([ANGLE, TRIANGLE, FORK]), st.floats(0.0, 180.0), st.integers(1, 5))
def test_nested_things_lie_apart_in_pockets_of_their_shape(points, turn, count):
    item = {"kind": "polygon", "points": _askew(points, turn), "height": 9}
    area = Polygon(points).area
    for option in pocketed(item, ground(height=90.0), count=count):
        if not option.pockets:
            continue
        things = option.things()
        assert len(things) == count == option.content[0].count == len(option.pockets)
        shapes = []
        for placed, pocket in zip(things, option.pockets, strict=True):
            outline = Polygon([(x + placed.at[0], y + placed.at[1]) for x, y in placed.pose.outline])
            assert outline.area == pytest.approx(area, rel=1e-3)
            moved = shapely.affinity.translate(Polygon(pocket.points), option.wall, option.wall)
            assert outline.hausdorff_distance(moved) < 0.01
            shapes.append(outline)
        for first, other in itertools.combinations(shapes, 2):
            assert first.distance(other) >= 0.88 + 2.0 * 0.3 - 0.01  # two lines, and the air on both sides
        (low_x, low_y, _), size = content_box(option.content[0])
        box = shapely.union_all(shapes).bounds
        assert (low_x, low_y, low_x + size[0], low_y + size[1]) == pytest.approx(box, abs=0.01)


@pytest.mark.parametrize(("points", "count"), [(ANGLE, 2), (ANGLE, 4), (TRIANGLE, 2), (FORK, 2)])
def test_nesting_takes_a_smaller_tray_than_rows(points, count):
    item = {"kind": "polygon", "points": points, "height": 12}
    options = pocketed(item, ground(height=90.0), count=count)
    rows = [option.area for option in options if not option.pockets]
    nests = [option.area for option in options if option.pockets]
    assert min(nests) < min(rows)


def test_a_thing_that_lies_askew_in_its_photo_is_turned_along_its_smallest_box():
    straight = pocketed({"kind": "polygon", "points": FORK, "height": 12}, ground(height=90.0))
    askew = pocketed({"kind": "polygon", "points": _askew(FORK, 31.0), "height": 12}, ground(height=90.0))
    smallest = min(option.area for option in straight)
    assert min(option.area for option in askew) == smallest
    assert {option.halves for option in askew if not option.pockets} == {
        option.halves for option in straight if not option.pockets
    }
