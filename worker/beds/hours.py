"""Hours: the stretches of time that windows of the week make in one time zone. Moments are Unix seconds."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Final, TypeAlias
from zoneinfo import ZoneInfo

from worker.spec.schedule import DAYS, Window

__all__ = ["FAR", "Hours", "Span", "week_of"]

#: After every moment that is asked for.
FAR: Final = 1 << 40

#: From the first moment to before the last.
Span: TypeAlias = tuple[int, int]

_DAY: Final = 24 * 60
_WEEK: Final = 7 * _DAY


def week_of(windows: Sequence[Window]) -> tuple[Span, ...]:
    """Return the windows in minutes from Monday 00:00, joined where they touch or overlap, each once a week.

    One that reaches into the next week ends after ``10080``. All hours, or no windows at all, are none.
    """
    own = []
    for window in windows:
        start, end = _minutes(window.start), _minutes(window.end)
        length = end - start if end > start else end + _DAY - start
        own += [(DAYS.index(day) * _DAY + start, length) for day in window.days]
    joined: list[Span] = []
    # with the weeks before and after, what crosses Sunday's midnight joins as well
    for start, end in sorted((begin + week, begin + week + length) for begin, length in own for week in _WEEKS):
        if joined and start <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], end)
        else:
            joined.append((start, end))
    if any(end - start >= _WEEK for start, end in joined):
        return ()
    return tuple((start, end) for start, end in joined if 0 <= start < _WEEK)


_WEEKS: Final = (-_WEEK, 0, _WEEK)


class Hours:
    """Windows by the clock on the wall, as stretches of real time.

    A time of day that a change of the clocks leaves out is read with the offset before the change, and of one that
    comes twice the first is meant (RFC 5545, section 3.3.5). Stretches are made week by week as they are asked for.
    """

    def __init__(self, windows: Sequence[Window], zone: ZoneInfo, since: int, until: int) -> None:
        """Begin the week before ``since``; nothing that begins after ``until`` is looked for."""
        self._zone = zone
        self._until = until
        self._week = week_of(windows)
        self._spans: list[Span] = []
        self._ends: list[int] = []
        self._open: list[Span] = []
        day = datetime.fromtimestamp(since, UTC).astimezone(zone).date()
        self._monday = day - timedelta(days=day.weekday() + 7)
        self._settled = since
        if not self._week:
            self._settled = until + 1
            self._keep([(since, FAR)])

    def after(self, moment: int) -> Iterator[Span]:
        """Yield the stretches that end after a moment, in their order; none touches the next."""
        index = bisect_right(self._ends, moment)
        while True:
            while index >= len(self._spans):
                if self._settled > self._until:
                    return
                self._grow()
            if self._spans[index][1] > moment:
                yield self._spans[index]
            index += 1

    def _grow(self) -> None:
        spans = [(self._moment(start), self._moment(end)) for start, end in self._week]
        self._monday += timedelta(days=7)
        self._settled = self._moment(0)
        joined: list[Span] = []
        for start, end in sorted(self._open + spans):
            if joined and start <= joined[-1][1]:
                joined[-1] = joined[-1][0], max(joined[-1][1], end)
            elif end > start:  # a window inside the hour that is left out may come to nothing
                joined.append((start, end))
        # what reaches into the next week may be joined to a window there
        self._keep([span for span in joined if span[1] < self._settled])
        self._open = [span for span in joined if span[1] >= self._settled]

    def _keep(self, spans: list[Span]) -> None:
        self._spans += spans
        self._ends += [end for _, end in spans]

    def _moment(self, minute: int) -> int:
        """Return when the clock on the wall shows this minute of the week; `datetime` reads as RFC 5545 does."""
        days, minutes = divmod(minute, _DAY)
        day: date = self._monday + timedelta(days=days)
        return int(datetime.combine(day, time(*divmod(minutes, 60)), self._zone).timestamp())


def _minutes(clock: str) -> int:
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)
