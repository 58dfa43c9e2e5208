"""Stretches of starts: what two lists of them share."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from worker.printing.scheduling.start_times import _intersection

_SPANS = st.lists(st.integers(0, 60), max_size=12, unique=True).map(
    lambda ends: [(first, last) for first, last in zip(sorted(ends)[::2], sorted(ends)[1::2], strict=False)]
)


@given(_SPANS, _SPANS)
def test_what_two_lists_share_are_the_moments_in_both(spans, others):
    """The oracle goes through all whole moments; ends are part of a stretch."""
    both = _intersection(spans, others)
    moments = [{moment for first, last in own for moment in range(first, last + 1)} for own in (spans, others, both)]
    assert moments[2] == moments[0] & moments[1]
    assert all(first <= last for first, last in both)
    assert all(before[1] <= after[0] for before, after in pairwise(both))
