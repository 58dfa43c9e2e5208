"""What is left out for an item: the drawer that is filled around its tray is judged half cell by half cell."""

from collections import Counter

from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import ground, shapes, thing
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Stock, fill_drawer
from worker.layout.items.filling.tray_sizing import TraySizing
from worker.layout.items.reasons.leaving_out import LeavingOut
from worker.layout.placement.bay import Bay
from worker.spec import load

_ACROSS, _BACK = 8, 8
_SPEC = load(
    {
        "spec": "1",
        "name": "bench",
        "drawers": [{"name": "top", "width": 170, "depth": 170, "height": 70}],
        "printer": {"bed": [256, 256, 256]},
    }
)

_forms = st.lists(st.tuples(shapes, st.integers(1, 20)), min_size=5, max_size=8)


def _crowded(forms) -> Stock:
    """Return a drawer of four by four cells, filled as far as the things have room."""
    limits = ground(span=(_ACROSS, _BACK), half_cells=False)
    site = Site("top", limits, Bay.open(_ACROSS, _BACK, step=2), height=70.0)
    items = [thing(form, f"k{k}", count=count, access="often") for k, (form, count) in enumerate(forms)]
    return fill_drawer(site, items, moves=1)


def _whole(stock, trays):
    """Return the kinds of which all things are in these trays, by index."""
    held = Counter()
    for column, _ in trays:
        for index, count in column.counts:
            held[index] += count
    return {index for index, item in enumerate(stock.assortment.items) if held[index] >= item.count}


@settings(
    max_examples=5,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
@given(_forms)
def test_all_but_what_is_left_out_has_room_beside_the_item(forms):
    stock = _crowded(forms)
    lacks = [(item, count) for item, count in stock.missing if count == item.count]
    assume(lacks)
    item = lacks[0][0]
    sizing = TraySizing()
    for lost, trays in LeavingOut(_SPEC, item, item, sizing).filled_around(stock, sizing.count + 1_000):
        taken = Counter(
            (x, y)
            for column, at in trays
            for x in range(at[0], at[0] + column.halves[0])
            for y in range(at[1], at[1] + column.halves[1])
        )
        assert set(taken.values()) <= {1}
        assert all(0 <= x < _ACROSS and 0 <= y < _BACK for x, y in taken)
        *others, (own, _) = trays
        assert sum(count for _, count in own.counts) >= item.count
        upper = {index for tray in stock.upper for index, _ in tray.column.counts}
        assert _whole(stock, stock.standing) - set(lost) <= _whole(stock, others) | upper


def test_a_kind_is_left_out_of_a_tray_that_holds_what_is_worth_too_much_to_be_left_out():
    def bar(name, *size, access):
        return thing({"kind": "box", "size": size}, name, access=access)

    items = [
        bar("chisel", 30, 130, 30, access="often"),
        bar("rasp", 40, 130, 20, access="sometimes"),
        bar("block", 60, 50, 30, access="often"),
        bar("clamp", 50, 80, 30, access="often"),
        bar("punch", 30, 110, 30, access="sometimes"),
    ]
    limits = ground(span=(_ACROSS, _BACK), half_cells=False)
    stock = fill_drawer(Site("top", limits, Bay.open(_ACROSS, _BACK, step=2), height=70.0), items, moves=1)
    ((item, _),) = stock.missing
    assert item.name == "punch"
    leaving_out = LeavingOut(_SPEC, item, item, TraySizing())
    assert leaving_out.whole_trays([stock]) is None
    assert leaving_out.anything([stock], most=1_000) == "'rasp'"
    assert leaving_out.anything([stock], most=0) is None
