"""Stretches of starts: what two lists of them share, and those of runs with pauses."""

from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from worker.printing.scheduling.start_times import HandlingTimes, StartTimes, _intersection
from worker.printing.scheduling.week_hours import FAR, Hours
from worker.spec.printer.schedule import Window

_MONDAY = int(datetime(2026, 3, 2, tzinfo=UTC).timestamp())
_HOUR = 3600

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


_WINDOWS = st.lists(
    st.tuples(st.integers(0, 22), st.integers(1, 6)).map(
        lambda own: Window.model_validate({"start": f"{own[0]:02d}:00", "end": f"{min(own[0] + own[1], 24):02d}:00"})
    ),
    min_size=1,
    max_size=3,
)
_PAUSES = st.lists(st.tuples(st.integers(0, 8), st.integers(1, 3)), min_size=1, max_size=2)


@settings(max_examples=60, deadline=None)
@given(_WINDOWS, st.integers(2, 12), _PAUSES)
def test_a_run_starts_where_somebody_is_there_at_the_start_and_in_each_pause(windows, duration, pauses):
    """The oracle goes through the half hours of two days; a pause lies in one stretch of attendance."""
    zone = ZoneInfo("UTC")
    hours = Hours(windows, zone, _MONDAY, _MONDAY + 20 * 86_400)
    always = Hours([], zone, _MONDAY, _MONDAY + 20 * 86_400)
    times = StartTimes(always, hours, HandlingTimes(first_layer=0, cool_down=0, bed_change=0))
    attended = list(hours.after(_MONDAY))
    after = tuple((begin * _HOUR // 2, length * _HOUR // 2) for begin, length in pauses)
    until = _MONDAY + 2 * 86_400

    def there(moment, length):
        return any(start <= moment and moment + length <= end for start, end in attended)

    moments = [
        moment
        for moment in range(_MONDAY, until, _HOUR // 2)
        if there(moment, 1) and all(there(moment + begin, length) for begin, length in after)
    ]
    spans = times.attended_start_spans(duration * _HOUR, _MONDAY, until, after)
    assert all(_MONDAY <= start <= end <= until for start, end in spans)
    assert all(before[1] < behind[0] for before, behind in pairwise(spans))
    within = [m for m in range(_MONDAY, until, _HOUR // 2) if any(start <= m <= end for start, end in spans)]
    assert [moment for moment in within if there(moment, 1)] == moments
    first = times.first_attended_start(duration * _HOUR, _MONDAY, FAR, after)
    if moments:
        assert first is not None
        assert first <= moments[0]
        assert all(there(first + begin, length) for begin, length in after)
