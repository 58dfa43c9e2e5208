"""The least floor of a tray for several kinds, foreseen from the widths of their compartments."""

from itertools import permutations

from hypothesis import given, settings

from tests.layout.items.test_shared_tray import kinds
from tests.layout.storage.things import grounds
from worker.layout.items.compartment_widths import Pool
from worker.layout.items.shared_tray import share

_modest = settings(max_examples=50, deadline=None)


@_modest
@given(kinds(), grounds())
def test_the_floor_that_is_foreseen_is_that_of_the_smallest_tray(items, ground):
    items = [item.model_copy(update={"label": False, "stack": False}) for item in items]
    (least,) = Pool(items, ground).covers([range(len(items))])
    trays = share(items, ground)
    if least is None:
        return
    assert least.floor % least.short == 0
    assert least.short**2 <= least.floor
    if trays:
        assert trays[0].area >= least.floor or all(storage == "loose" for storage in trays[0].storages)
    within = share(items, ground, least.floor)
    assert all(option.area <= least.floor for option in within)


@_modest
@given(kinds(), grounds())
def test_what_groups_cover_does_not_hang_on_their_order_or_on_what_is_asked_beside_them(items, ground):
    pool = Pool(items, ground)
    orders = [order for size in range(1, len(items) + 1) for order in permutations(range(len(items)), size)]
    areas = dict(zip(orders, pool.covers(orders), strict=True))
    for order, cover in areas.items():
        other = areas[tuple(sorted(order))]
        assert (cover is None) == (other is None)
        if cover is not None:
            assert cover.floor == other.floor
            assert abs(cover.need - other.need) < 1e-6
        assert pool.covers([order]) == [cover]
