"""Kinds that change trays: nothing is lost, nothing gets worse, and small cases are as good as can be."""

from itertools import pairwise

import pytest
from hypothesis import given, settings

from tests.bench.layout import drawer
from tests.layout.items.test_fill_drawer import lists, site
from tests.layout.storage.things import standard
from worker.layout.items.anneal_kinds import regrouped
from worker.layout.items.tray_requests import alone

_few = settings(max_examples=15, deadline=None)


def together(single, here, moves, groups=None, suits=lambda loads: len(loads) <= 9):
    """Return the groups after so many moves, each as a tuple of kinds, and half cells of floor that they cover."""
    pool = here.pool([load.items[0] for load in single])
    begun = [(kind,) for kind in range(len(single))] if groups is None else groups
    regrouped_loads = regrouped(single, begun, pool, across=here.bay.across, suits=suits, moves=moves)
    return regrouped_loads, covered(single, here, regrouped_loads)


def covered(single, here, groups):
    pool = here.pool([load.items[0] for load in single])
    return sum(single[group[0]].area if len(group) == 1 else pool.covers([group])[0].floor for group in groups)


def partitions(kinds):
    """Yield every way to put kinds into trays."""
    if not kinds:
        yield []
        return
    first, *rest = kinds
    for part in partitions(rest):
        yield [(first,), *part]
        for index, group in enumerate(part):
            yield [*part[:index], (first, *group), *part[index + 1 :]]


@_few
@given(lists())
def test_every_kind_stays_in_one_tray_and_no_more_floor_is_covered(items):
    for here in (site(), site(half_cells=False)):
        single = alone(items, here)
        if not single:
            continue
        loads, floor = together(single, here, 200)
        assert sorted(kind for group in loads for kind in group) == list(range(len(single)))
        assert floor <= sum(load.area for load in single)
        assert loads == together(single, here, 200)[0]


@pytest.mark.parametrize("seed", range(4))
def test_six_kinds_share_as_well_as_can_be(seed):
    # the oracle tries all 203 ways (Bell number of 6)
    items, here = drawer(seed, 0.5)
    single = [load for load in alone(items, here) if load.access_rank][:6]
    pool = here.pool([load.items[0] for load in single])
    ways = list(partitions(list(range(len(single)))))
    groups = {group for way in ways for group in way if len(group) > 1}
    covers = dict(zip(groups, pool.covers(list(groups)), strict=True))
    possible = [way for way in ways if all(covers.get(group, True) is not None for group in way)]
    best = min(covered(single, here, way) for way in possible)
    loads, floor = together(single, here, 2000)
    assert floor == best
    assert len(loads) >= 1


def test_more_moves_find_less_floor_where_merging_alone_is_stuck():
    items, here = drawer(20, 0.5)
    single = alone(items, here)
    floors = [together(single, here, moves)[1] for moves in (0, 300, 3000)]
    assert all(more <= less for less, more in pairwise(floors))
    assert floors[-1] < floors[0]


def test_what_does_not_suit_stays_apart():
    here = site(half_cells=False)
    single = alone([standard("nut-m4", name=f"nuts {k}", count=3) for k in range(9)], here)
    trays, floor = together(single, here, 500, suits=lambda loads: len(loads) <= 4)
    assert 1 < max(len(group) for group in trays) <= 4
    assert together(single, here, 500)[1] < floor < sum(load.area for load in single)


@pytest.mark.parametrize("seed", [11, 12, 20])
def test_what_is_used_often_has_room_at_the_front(seed):
    items, here = drawer(seed, 0.85)
    single = alone(items, here)
    pool = here.pool([load.items[0] for load in single])

    def front(groups):
        return sum(
            min(
                map(min, (option.halves for option in single[group[0]].options if option.area == single[group[0]].area))
            )
            if len(group) == 1
            else pool.covers([group])[0].short
            for group in groups
            if any(single[kind].access_rank == 0 for kind in group)
        )

    own = [(kind,) for kind in range(len(single))]
    assert front(together(single, here, 3000)[0]) <= max(here.bay.across, front(own))
