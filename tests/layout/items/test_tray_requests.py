"""Which kinds share a tray."""

from hypothesis import given, settings

from tests.layout.items.test_fill_drawer import box, lists, site
from tests.layout.storage.things import standard
from worker.layout.items.compartment_widths import MOST_TOGETHER
from worker.layout.items.fill_drawer import stock
from worker.layout.items.tray_requests import alone, loads

_few = settings(max_examples=15, deadline=None)


def kinds(*names, **fields):
    return [standard(name, name=name, count=3, **fields) for name in names]


def together(items, here):
    """The names in each tray that several kinds share."""
    return [[item.name for item in load.items] for load in loads(items, here) if len(load.items) > 1]


_SMALL = ("nut-m4", "washer-m4", "bit-6.3", "battery-cr2032", "nut-m3")


def test_small_kinds_share_a_tray_in_a_group_or_out_of_one():
    whole = site(half_cells=False)
    three = list(_SMALL[:3])
    assert together(kinds(*three, group="small"), whole) == [three]
    assert together(kinds(*three), whole) == [three]
    assert together([*kinds(*three[:1], group="small"), *kinds(*three[1:])], whole) == [three]


def test_many_small_kinds_share_larger_trays():
    items = [standard("nut-m4", name=f"nuts {k}", count=3) for k in range(9)]
    assert [len(load.items) for load in loads(items, site(half_cells=False))] == [9]


def test_groups_stay_apart():
    items = [*kinds(*_SMALL[:3], group="one"), *kinds(*_SMALL[3:], "washer-m3", group="other")]
    assert together(items, site(half_cells=False)) == [list(_SMALL[:3]), [*_SMALL[3:], "washer-m3"]]


def test_what_has_a_place_of_its_own_shares_none():
    items = kinds(*_SMALL)
    items[0] = items[0].model_copy(update={"at": (0.0, 0.0)})
    items[1] = items[1].model_copy(update={"near": "bit-6.3"})
    assert together(items, site(half_cells=False)) == [list(_SMALL[2:])]


def test_a_label_stands_for_one_group_only():
    labelled = kinds(*_SMALL, label=True)
    assert not together(labelled, site(half_cells=False))
    assert not together([*kinds(*_SMALL[:1], label=True, group="small"), *kinds(*_SMALL[1:3])], site(half_cells=False))


def test_a_small_kind_goes_into_what_a_large_one_leaves_over():
    whole = site(half_cells=False)
    items = [box("blocks", [60, 50, 20], count=3, storage="rows"), *kinds("nut-m4")]
    assert sum(load.area for load in alone(items, whole)) > sum(load.area for load in loads(items, whole))


@_few
@given(lists())
def test_trays_are_fewer_smaller_and_lighter_and_hold_the_same(items):
    for here in (site(), site(half_cells=False)):
        single, shared = alone(items, here), loads(items, here)
        assert sorted(item.name for load in shared for item in load.items) == sorted(
            item.name for load in single for item in load.items
        )
        assert sum(load.area for load in shared) <= sum(load.area for load in single)
        assert sum(load.plastic for load in shared) <= sum(load.plastic for load in single) + 1e-6
        for load in shared:
            assert len(load.items) <= MOST_TOGETHER
            assert len({item.group for item in load.items} - {None}) <= 1
        assert shared == loads(items, here)


def test_kinds_have_trays_of_their_own_where_shared_ones_find_no_room():
    small = kinds(*_SMALL[:4])
    # a row of single cells
    narrow = site(2, 8, half_cells=False)
    assert not stock(small, narrow).missing
