"""The assortment: what trays cost by how things lie in them."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import assortment, ground, thing
from worker.layout.placement.family_patterns import FamilyPatterns
from worker.layout.storage.lane_sizing import lanes


def long_box(length, width=30.0, height=15.0):
    return {"kind": "box", "size": [length, width, height]}


@settings(max_examples=15, deadline=None)
# of more than two, lying in fewer layers can be worth more than the direction
@given(st.integers(105, 180), st.integers(8, 90), st.integers(4, 30), st.integers(1, 2))
def test_long_things_lie_front_to_back_in_a_tray_as_wide_as_it_is_deep(length, width, height, count):
    stock = assortment([thing(long_box(length, width, height), "rule", count=count)], ground(span=(12, 12)))
    square = replace(stock, footprints=frozenset({(side, side) for side in range(6, 13)}))
    patterns = FamilyPatterns(square, (0,))
    for number in range(len(patterns.subsets)):
        for _, lane in patterns.column(number).lanes:
            assert lane.way != "row" or lane.pose.size[1] >= lane.pose.size[0]


def test_a_long_thing_that_lies_left_to_right_costs_the_same_however_its_lane_runs():
    stock = assortment([thing(long_box(150.0), "rule")], ground(span=(12, 12)))
    along, across = (
        next(lane for lane in lanes(stock.kinds[0], length, stock.ground) if lane.pose.size[axis] == 150.0)
        for length, axis in ((160.0, 1), (40.0, 0))
    )
    costs = {
        (axis, lane is along): stock.column((10, 10), axis, [(160.0, [(0, lane)])], 10.0, ledge=False).cost
        for axis in (0, 1)
        for lane in (along, across)
    }
    assert costs[0, True] == pytest.approx(costs[1, False])
    assert costs[0, False] == pytest.approx(costs[1, True])
    assert costs[0, False] - costs[0, True] == pytest.approx(stock.weights.side)
