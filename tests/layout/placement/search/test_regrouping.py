"""Regrouping: the same things in the same places, at less cost, and a group that lay in two trays lies in one."""

from collections import Counter
from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import assortment, ground, shapes, thing
from worker.layout.placement.bay import Bay
from worker.layout.placement.columns.column_pricing import ColumnPool, columns
from worker.layout.placement.search.drawer_search import search_drawer
from worker.layout.placement.search.regrouping import regrouped

_forms = st.lists(st.tuples(shapes, st.integers(1, 8), st.sampled_from("abc")), min_size=2, max_size=7)


def _stock(forms):
    kinds = [thing(form, f"k{k}", count=count, group=group) for k, (form, count, group) in enumerate(forms)]
    return assortment(kinds, ground(span=(12, 12), half_cells=False))


def _held(standing):
    return sorted(Counter(pair for column, _ in standing for pair in column.counts).items())


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_forms)
def test_the_same_things_lie_in_the_same_places_at_no_more_cost(forms):
    stock = _stock(forms)
    standing = search_drawer(ColumnPool(stock), Bay.open(12, 12, step=2), moves=1, spare=0.1)
    after = regrouped(stock, standing)
    assert [(column.halves, at) for column, at in after] == [(column.halves, at) for column, at in standing]
    assert _held(after) == _held(standing)
    assert sum(column.cost for column, _ in after) <= sum(column.cost for column, _ in standing) + 1e-6
    assert regrouped(stock, standing) == after


def test_groups_that_lie_mixed_in_two_trays_get_a_tray_each():
    handle = {"kind": "box", "size": [150, 24, 18]}
    stock = _stock([(handle, 2, "cutlery"), (handle, 2, "cutlery"), (handle, 2, "openers"), (handle, 2, "openers")])
    mixed = []
    for pair in ((0, 2), (1, 3)):
        some = replace(stock, families=(pair,))
        every = columns(some, dict.fromkeys(pair, 2), any_value=True, parts=False).values()
        mixed.append(min((column for column in every if len(column.counts) == 2), key=lambda column: column.area))
    after = regrouped(stock, [(mixed[0], (0, 0)), (mixed[1], (0, 12 - mixed[1].halves[1]))])
    assert sorted(sorted(index for index, _ in column.counts) for column, _ in after) == [[0, 1], [2, 3]]
