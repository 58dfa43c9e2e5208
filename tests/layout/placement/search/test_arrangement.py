"""The arrangement: the same trays, apart, on free cells, with what is used often in front."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.placement.plain_columns import plain_column
from tests.layout.storage.things import assortment, ground, thing
from worker.layout.placement.bay import Bay
from worker.layout.placement.search.arrangement import arrange

_BOX = {"kind": "box", "size": [20, 20, 20]}


def stock_of(accesses):
    """Things that are used as often as that."""
    items = [thing(_BOX, f"k{k}", access=access) for k, access in enumerate(accesses)]
    return assortment(items, ground(span=(12, 12), half_cells=False))


def cells(column, at):
    return {(at[0] + i, at[1] + j) for i in range(column.halves[0]) for j in range(column.halves[1])}


_sides = st.sampled_from([2, 4])
_rows = st.lists(st.lists(_sides, min_size=1, max_size=3), min_size=1, max_size=3)


@settings(max_examples=40, deadline=None)
@given(_rows, st.lists(st.sampled_from(["often", "sometimes", "rarely"]), min_size=9, max_size=9), st.booleans())
def test_the_same_trays_stand_apart_on_free_cells(rows, accesses, taken):
    bay = Bay.open(12, 12, step=2).less([((10, 10), (2, 2))] if taken else [])
    standing = []
    for row, widths in enumerate(rows):
        x = 0
        for wide in widths:
            if x + wide <= 10:
                standing.append((plain_column(len(standing), (wide, 2 if row else 4)), (x, 6 - 2 * row)))
                x += wide
    arranged = arrange(stock_of(accesses), bay, standing)
    assert [column for column, _ in arranged] == [column for column, _ in standing]
    under = [cells(column, at) for column, at in arranged]
    assert not any(first & other for first, other in combinations(under, 2))
    assert all(0 <= x < 12 and 0 <= y < 12 and bay.free[y][x] for some in under for x, y in some)


@pytest.mark.parametrize("sizes", [((4, 2), (4, 2)), ((4, 2), (4, 4)), ((12, 4), (12, 8))])
def test_what_is_used_often_comes_to_the_front(sizes):
    rare, often = (plain_column(k, size) for k, size in enumerate(sizes))
    standing = [(rare, (0, 0)), (often, (0, sizes[0][1]))]
    bay = Bay.open(sizes[0][0], sizes[0][1] + sizes[1][1], step=2)
    arranged = arrange(stock_of(["rarely", "often"]), bay, standing)
    assert arranged[1] == (often, (0, 0))


def plain_cost(stock, standing):
    """What the places of single things cost, pair by pair."""
    middles = [(x / 2 + column.halves[0] / 4, y / 2 + column.halves[1] / 4) for column, (x, y) in standing]
    items = [stock.items[column.lanes[0][0]] for column, _ in standing]
    cost = 0.0
    for item, (_, (x, y)) in zip(items, standing, strict=True):
        cost += stock.weights.front.of(item.access) * y / 2 + 0.01 * (x + y)
    for first, second in combinations(range(len(standing)), 2):
        if items[first].group is not None and items[first].group == items[second].group:
            cost += stock.weights.apart * sum(abs(a - b) for a, b in zip(middles[first], middles[second], strict=True))
        halves, others = standing[first][0].halves, standing[second][0].halves
        at, beside = standing[first][1], standing[second][1]
        for axis in (0, 1):
            along = 1 - axis
            touching = beside[along] in {at[along] + halves[along], at[along] - others[along]}
            cost -= 0.4 * (at[axis] == beside[axis] and halves[axis] == others[axis] and touching)
    return cost


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["often", "sometimes", "rarely"]), st.sampled_from([None, "a", "b"])),
        min_size=2,
        max_size=9,
    )
)
def test_no_exchange_of_two_alike_makes_an_arrangement_better(things):
    items = [thing(_BOX, f"k{k}", access=access, group=group) for k, (access, group) in enumerate(things)]
    stock = assortment(items, ground(span=(12, 12), half_cells=False))
    standing = [(plain_column(k, (4, 4)), (4 * (k % 3), 4 * (k // 3))) for k in range(len(items))]
    arranged = arrange(stock, Bay.open(12, 12, step=2), standing)
    cost = plain_cost(stock, arranged)
    assert cost <= plain_cost(stock, standing) + 1e-9
    for first, second in combinations(range(len(items)), 2):
        trial = list(arranged)
        trial[first] = arranged[first][0], arranged[second][1]
        trial[second] = arranged[second][0], arranged[first][1]
        assert plain_cost(stock, trial) >= cost - 2e-6
