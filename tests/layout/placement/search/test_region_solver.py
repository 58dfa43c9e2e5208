"""The region solver: what it puts where, and that it is never worse than what stood there."""

from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.placement.plain_columns import plain_column
from worker.layout.placement.bay import Bay
from worker.layout.placement.search.region_solver import Region, Spare, solve_region, total_value

_sides = st.integers(1, 3).map(lambda cells: 2 * cells)
_pieces = st.lists(st.tuples(_sides, _sides, st.integers(1, 40)), min_size=1, max_size=7)
_modest = settings(max_examples=25, deadline=None)


def cells(column, at):
    return {(at[0] + i, at[1] + j) for i in range(column.halves[0]) for j in range(column.halves[1])}


@_modest
@given(_pieces, st.sampled_from([1, 2]), st.integers(0, 20))
def test_trays_stand_apart_on_free_cells_and_no_kind_twice(pieces, step, spare):
    bay = Bay.open(8, 8, step=step).less([((2, 2), (2, 2))])
    pool = [plain_column(kind % 5, (wide, deep), worth=worth) for kind, (wide, deep, worth) in enumerate(pieces)]
    region = Region(bay, bay.bits, dict.fromkeys(range(5), 1), Spare(1.0, spare))
    standing = solve_region(region, pool, [], 0.05)
    under = [cells(column, at) for column, at in standing]
    assert not any(first & other for first, other in combinations(under, 2))
    assert not any((x, y) in {(2, 2), (2, 3), (3, 2), (3, 3)} or x > 7 or y > 7 for some in under for x, y in some)
    kinds = [index for column, _ in standing for index, _ in column.counts]
    assert len(kinds) == len(set(kinds))
    assert standing == solve_region(region, pool, [], 0.05)


@_modest
@given(_pieces)
def test_what_stands_there_is_only_given_up_for_more(pieces):
    bay = Bay.open(8, 8, step=2)
    pool = [plain_column(kind, (wide, deep), worth=worth) for kind, (wide, deep, worth) in enumerate(pieces)]
    current = [(pool[0], (0, 0))]
    region = Region(bay, bay.bits, dict.fromkeys(range(len(pool)), 1), Spare(0.5, 10))
    standing = solve_region(region, pool, current, 0.02)
    assert total_value(standing, 64, region.spare) >= total_value(current, 64, region.spare)


def test_free_cells_are_worth_something_up_to_a_share():
    bay = Bay.open(4, 4, step=2)
    dear = plain_column(0, (2, 4), worth=5.0, cost=0.0)
    region = Region(bay, bay.bits, {0: 1}, Spare(1.0, 8))
    assert [column for column, _ in solve_region(region, [dear], [], 0.02)] == [dear]
    assert solve_region(Region(bay, bay.bits, {0: 1}, Spare(1.0, 16)), [dear], [], 0.02) == []


def test_a_footprint_that_is_there_already_is_preferred():
    bay = Bay.open(8, 4, step=2)
    broad, long = plain_column(0, (4, 2), worth=5.0), plain_column(0, (2, 6), worth=5.5)
    square = plain_column(1, (2, 4), worth=5.0)
    for variety, expected in ((0.0, long), (2.0, broad)):
        region = Region(Bay.open(8, 8, step=2), Bay.open(8, 8, step=2).bits, {0: 1, 1: 1}, Spare(0.0, 0), variety)
        assert expected in [column for column, _ in solve_region(region, [broad, long, square], [], 0.05)]
    region = Region(bay, bay.bits, {0: 1}, Spare(0.0, 0), 2.0, frozenset({(2, 4)}))
    assert region.value([(broad, (0, 0))]) == 5.0
    assert region.value([(long, (0, 0))]) == 3.5
