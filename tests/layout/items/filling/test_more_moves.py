"""More moves of the search never give a drawer of less value, and the drawers on the way are those of fewer moves.

Properties of any search that keeps the best that it has met; from memory.
"""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import assortment, ground, shapes, thing
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import fill_drawer
from worker.layout.placement.bay import Bay
from worker.layout.placement.columns.column_pricing import ColumnPool
from worker.layout.placement.search.drawer_search import search_drawer, search_stages

_forms = st.lists(st.tuples(shapes, st.integers(1, 8), st.sampled_from("abc")), min_size=2, max_size=6)


def _things(forms):
    return [thing(form, f"k{k}", count=count, group=group) for k, (form, count, group) in enumerate(forms)]


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_forms)
def test_more_moves_never_give_a_drawer_of_less_value(forms):
    limits = ground(span=(8, 8), half_cells=False)
    site = Site("top", limits, Bay.open(8, 8, step=2), height=70.0)
    items = _things(forms)
    few = fill_drawer(site, items, moves=1)
    more = fill_drawer(site, items, moves=5, stages=(1,))
    assert more.value >= few.value - 1e-9


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_forms)
def test_a_layout_on_the_way_is_that_of_fewer_moves(forms):
    stock = assortment(_things(forms), ground(span=(8, 8), half_cells=False))
    bay = Bay.open(8, 8, step=2)
    first, last = search_stages(ColumnPool(stock), bay, stages=(1, 3), spare=0.1)
    assert first == search_drawer(ColumnPool(stock), bay, moves=1, spare=0.1)
    assert last == search_drawer(ColumnPool(stock), bay, moves=3, spare=0.1)
