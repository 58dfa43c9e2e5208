"""The layout's work is counted and bounded, however odd the items are; what is not tried is reported.

The bounds are counts, so they hold on any machine; the limits are own choices, and lower here than in the program.
Without them 60 kinds of up to 200 things in 6 x 6 cells took over 45 s of processor time, with them 35 s.
"""

import random
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.layout.floor.print_bed import Bed
from worker.layout.items import item_trays
from worker.layout.items.filling import drawer_stock
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.tray_sizing import TraySizing
from worker.layout.items.reasons.remedies import _MOST_SIZINGS
from worker.layout.placement.bay import Bay
from worker.layout.placement.columns import column_pricing
from worker.layout.placement.columns.column_pricing import ColumnPool, pattern_work
from worker.layout.placement.columns.shared_patterns import SharedPatterns
from worker.layout.planner import lay_out
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.spec import load

_PATTERN_WORK, _SIZINGS = 4_000, 40


def _spec(items, cells=6, **drawer):
    side = cells * 42 + 5
    drawer = {"name": "top", "width": side, "depth": side, "height": 80, "items": items, **drawer}
    return load({"spec": "1", "name": "odd", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}, "coupon": False})


def _boxes(kinds, counts, seed=5, sides=(8.0, 80.0)):
    choice = random.Random(seed)
    return [
        {
            "name": f"k{k}",
            "count": choice.randint(*counts),
            "shape": {"kind": "box", "size": [round(choice.uniform(*sides), 1) for _ in range(3)]},
        }
        for k in range(kinds)
    ]


_ODD = {
    "many kinds": _spec(_boxes(60, (1, 1)), cells=4),
    "many of each": _spec(_boxes(12, (50, 200)), cells=3),
    "an outline with steps": _spec(
        _boxes(30, (1, 40)),
        width=None, depth=None,
        outline=[[0, 0], [260, 0], [260, 90], [180, 90], [180, 180], [90, 180], [90, 260], [0, 260]],
    ),
}  # fmt: skip


@pytest.fixture
def work(monkeypatch):
    """Counts the work: patterns by drawer, and sizings."""
    counts = Counter()

    class Counted(SharedPatterns):
        def __init__(self, stock, members, joined=()):
            counts["patterns"] += pattern_work(stock, members, joined=bool(joined))
            super().__init__(stock, members, joined)

    class Pool(ColumnPool):
        def __init__(self, *arguments):
            before = counts["patterns"]
            super().__init__(*arguments)
            counts["most of a pool"] = max(counts["most of a pool"], counts["patterns"] - before)

    class Sizing(TraySizing):
        def trays(self, *arguments):
            before = self.count
            result = super().trays(*arguments)
            counts["sizings"] += self.count - before
            return result

    monkeypatch.setattr(column_pricing, "MOST_PATTERN_WORK", _PATTERN_WORK)
    monkeypatch.setattr(drawer_stock, "MOST_SIZINGS", _SIZINGS)
    monkeypatch.setattr(item_trays, "MOST_REASON_SIZINGS", _SIZINGS)
    monkeypatch.setattr(column_pricing, "SharedPatterns", Counted)
    monkeypatch.setattr(drawer_stock, "ColumnPool", Pool)
    for module in ("filling.drawer_stock", "reasons.remedies", "reasons.shortage", "drawer_allocation"):
        monkeypatch.setattr(f"worker.layout.items.{module}.TraySizing", Sizing)
    return counts


@pytest.mark.parametrize("spec", _ODD.values(), ids=_ODD)
def test_odd_items_take_no_more_work_than_is_allowed(spec, work):
    plan = lay_out(spec)
    assert 0 < work["most of a pool"] <= 2 * _PATTERN_WORK
    # what was begun when a limit was reached is ended: a kind is split, and a drawer filled for a reason
    begun = 2 * 4 * (8 + 2)
    assert work["sizings"] <= 2 * _SIZINGS + _MOST_SIZINGS["quick"] + begun
    assert [warning.pointer for warning in plan.warnings if "not all ways" in warning.message] == ["/drawers/0"]
    unexplained = [lack for lack in plan.unplaced if lack.cause is None]
    assert all("too much work" in lack.reason and lack.remedy is None for lack in unexplained)
    assert {placed.item for placed in plan.drawers[0].contents}
    lost = Counter({lack.item: lack.count for lack in plan.unplaced})
    kept = Counter()
    for placed in plan.drawers[0].contents:
        kept[placed.item] += placed.count
    assert kept + lost == Counter({item.name: item.count for item in spec.drawers[0].items})


def test_a_drawer_of_a_few_kinds_is_searched_in_full():
    plan = lay_out(_spec(_boxes(12, (1, 20), sides=(8.0, 40.0))))
    assert plan.warnings == ()
    assert all(lack.cause is not None for lack in plan.unplaced)


def _site(wide, deep):
    row = (True,) * wide
    spec = _spec([])
    bay = Bay((row,) * deep)
    limits = DrawerLimits.of(spec, (wide, deep), 60.0)
    return Site("top", limits, bay, 1, 60.0, Bed.of_printer(spec.printer), joints=False, layout=spec.layout)


@given(taken=st.tuples(st.integers(0, 4), st.integers(0, 4), st.integers(2, 6), st.integers(2, 6)))
def test_an_item_is_sized_once_whatever_floor_is_free(taken):
    """The tray is the smallest that has a free place, which a look at every place finds as well."""
    site, sizing = _site(10, 10), TraySizing()
    item = _spec(_boxes(1, (6, 6))).drawers[0].items[0]
    every = sizing.trays(item, site)
    work = sizing.count
    bay = site.bay.less([((2 * taken[0], 2 * taken[1]), taken[2:])])
    free = {(x, y) for y, row in enumerate(bay.free) for x, clear in enumerate(row) if clear}
    fits = [
        (tray, (x, y))
        for tray in every
        for y in range(0, 10, 2)
        for x in range(0, 10, 2)
        if {(x + i, y + j) for i in range(tray.halves[0]) for j in range(tray.halves[1])} <= free
    ]
    assert sizing.room(item, site, bay) == (fits[0] if fits else None)
    assert sizing.count == work > 0


def test_sizing_for_a_large_drawer_counts_several_times():
    small, large = TraySizing(), TraySizing()
    item = _spec(_boxes(1, (6, 6))).drawers[0].items[0]
    small.trays(item, replace(_site(10, 10), bed=None))
    large.trays(item, replace(_site(40, 40), bed=None))
    assert small.count == 1
    assert large.count == 20 * 20 / 100
