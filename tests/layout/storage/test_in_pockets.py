"""Pockets for items: how deep they are, how the things lie in them, and what their trays cost."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.storage.test_lane import shape_of
from tests.layout.storage.things import filled_trays, ground, grounds, shapes, thing
from worker.layout.storage.poses import poses
from worker.layout.storage.reach import LEAST_GRIP
from worker.layout.tray.pocket_outline import NOTCH_REACHES, pocket_ring

ANGLE = [[0, 0], [90, 0], [90, 20], [20, 20], [20, 60], [0, 60]]
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
        option.content[0].pose.size[2]: option.recess for option in pocketed(shape, ground(height=90.0), count=3)
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
        high = option.content[0].pose.size[2]
        assert option.content[0].pose in poses(thing(shape).plain)
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
        stands_out = option.content[0].pose.size[2] - option.recess
        for whole, pocket in zip(wholes, made.pockets, strict=True):
            free = whole.area - sum(Polygon(ring).area for ring in (pocket.outline, *pocket.neighbours))
            assert (free > 100.0) is (stands_out < LEAST_GRIP)


def test_nobody_prints_a_solid_block_around_a_jar():
    jar = {"kind": "cylinder", "diameter": 60, "length": 120}
    standing = [made for made in pocketed(jar, ground(height=150.0), count=2) if made.content[0].pose.axis == "z"]
    assert standing
    for option in standing:
        assert shape_of(option, ground(height=150.0)).wells
