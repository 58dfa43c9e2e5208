"""The assortment: what trays cost by how things lie in them."""

from dataclasses import replace
from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import assortment, ground, thing, tray_columns
from worker.layout.placement.columns.family_patterns import FamilyPatterns
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


_spanners = st.tuples(st.integers(90, 200), st.integers(10, 40), st.sampled_from(["drive", "grip", None]))


@settings(max_examples=15, deadline=None)
@given(st.lists(_spanners, min_size=3, max_size=5))
def test_things_of_a_group_lie_next_to_each_other_in_a_band(rows):
    items = [
        thing(long_box(length, width), f"k{k}", group=group, access="often")
        for k, (length, width, group) in enumerate(rows)
    ]
    stock, columns = tray_columns(items, ground(span=(12, 12)), share="any")
    for band in (band for column in columns for band in column.bands):
        runs = [use for use, _ in groupby(stock.uses[index] for index, _ in band.lanes)]
        assert len(runs) == len(set(runs))
