"""Series: the things of a set are kept in one way."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import ground, shapes, thing
from worker.layout.items.filling.series import series_ways
from worker.layout.storage.ways import Kind, natural_ways


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(shapes, st.integers(1, 20)), min_size=2, max_size=5))
def test_a_series_has_one_way_that_suits_each_of_it(forms):
    items = [thing(form, f"k{k}", count=count, group="g", tag="t") for k, (form, count) in enumerate(forms)]
    ways = series_ways(items, ground())
    assert len(set(ways)) == 1
    if ways[0] is not None:
        assert all(ways[0] in {way for way, _ in natural_ways(Kind.of(item))} for item in items)


def test_cards_that_could_lie_are_filed_with_those_that_are():
    cards = [thing({"kind": "box", "size": [85, 54, 1]}, f"c{count}", count=count, tag="cards") for count in (40, 30)]
    assert set(series_ways(cards, ground())) == {"file"}


def test_things_without_a_tag_or_of_other_groups_are_no_series():
    shape = {"kind": "box", "size": [85, 54, 1]}
    loose = [thing(shape, f"c{k}", count=20, group="g") for k in range(2)]
    apart = [thing(shape, f"d{k}", count=20, group=f"g{k}", tag="cards") for k in range(2)]
    assert set(series_ways([*loose, *apart], ground())) == {None}
