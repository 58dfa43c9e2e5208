from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.storage.sizing_rules import AIR
from worker.layout.storage.spacing import Groups, Line, Pairs

_many = settings(max_examples=100, deadline=None)
_size = st.floats(0.5, 80.0)
_count = st.integers(1, 30)
_margin = st.floats(AIR, 3.0)
_extra = st.floats(0.0, 50.0)


def checked(spacing, size, margin, length, wall=1.2):
    """Things keep their margins, their air and stay clear of dividers."""
    starts, dividers = spacing.starts, spacing.dividers
    assert starts[0] >= margin - 1e-6
    assert starts[-1] + size <= length - margin + 1e-6
    for start, other in pairwise(starts):
        assert other - start >= size
    for divider in dividers:
        before = [at for at in starts if at < divider]
        after = [at for at in starts if at >= divider]
        assert before
        assert after
        assert divider - wall / 2 - (before[-1] + size) >= AIR - 1e-6
        assert after[0] - (divider + wall / 2) >= AIR - 1e-6
    return [sum(low <= at < high for at in starts) for low, high in pairwise((0.0, *dividers, length))]


@_many
@given(_size, _count, _margin, _extra)
def test_a_line_stands_in_the_middle(size, count, margin, extra):
    line = Line(size, margin)
    length = line.need(count) + extra
    spacing = line.spread(count, length)
    assert checked(spacing, size, margin, length) == [count]
    assert spacing.starts[0] == pytest.approx(length - spacing.starts[-1] - size)
    assert line.most(line.need(count)) == count
    assert line.most(line.need(count) - 0.01) == count - 1


@_many
@given(_size, _count, _margin, _extra)
def test_pairs_leave_a_gap_beside_each_row(size, rows, margin, extra):
    pairs = Pairs(size, 15.0, 1.2, margin)
    length = pairs.need(rows) + extra
    spacing = pairs.spread(rows, length)
    assert checked(spacing, size, margin, length) == [2] * (rows // 2) + [1] * (rows % 2)
    ends = [*spacing.starts[1:], length]
    for row, (at, after) in enumerate(zip(spacing.starts, ends, strict=True)):
        if row % 2 == 0:
            assert after - at - size >= 15.0 - 1e-6


@_many
@given(_size, _count, st.integers(1, 5), _margin, _extra)
def test_groups_are_as_even_as_can_be(size, count, per, margin, extra):
    groups = Groups(size, per, 1.2, margin)
    length = groups.need(count) + extra
    counts = checked(groups.spread(count, length), size, margin, length)
    assert sum(counts) == count
    assert max(counts) <= per
    assert max(counts) - min(counts) <= 1
    assert groups.most(groups.need(count)) >= count
    assert groups.need(groups.most(length)) <= length + 1e-6
