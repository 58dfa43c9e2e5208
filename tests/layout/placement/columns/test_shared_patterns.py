"""Shared patterns: those of the same things in another list are the same trays."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import assortment, ground, thing
from worker.layout.placement.columns.family_patterns import FamilyPatterns
from worker.layout.placement.columns.shared_patterns import SharedPatterns

_boxes = st.lists(
    st.tuples(st.integers(15, 90), st.integers(10, 60), st.integers(5, 30), st.integers(1, 6), st.booleans()),
    min_size=1,
    max_size=4,
)


@settings(max_examples=25, deadline=None)
@given(_boxes, st.integers(0, 2))
def test_patterns_are_those_that_are_found_for_the_list_itself(boxes, before):
    kinds = [
        thing({"kind": "box", "size": [wide, deep, high]}, f"k{k}", count=count, label=label)
        for k, (wide, deep, high, count, label) in enumerate(boxes)
    ]
    others = [thing({"kind": "box", "size": [20, 20, 20 + k]}, f"other {k}") for k in range(before)]
    stock = assortment([*others, *kinds], ground(span=(8, 8)))
    members = tuple(range(before, before + len(kinds)))
    stock = replace(stock, families=(members,))
    own, shared = FamilyPatterns(stock, members), SharedPatterns(stock, members)
    for name in ("subsets", "sizes", "costs", "values", "areas"):
        assert np.array_equal(getattr(own, name), getattr(shared, name))
    assert (own.footprints, own.homeless) == (shared.footprints, shared.homeless)
    for number in range(0, len(own.subsets), 7):
        assert own.column(number) == shared.column(number)
    halves = own.footprints[-1]
    assert own.column_at(halves, 5) == shared.column_at(halves, 5)
