"""Hours: the weekly windows of a schedule in one time zone, expanded to stretches of time in Unix seconds."""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Final, TypeAlias
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from worker.spec.printer.schedule import DAYS, Window

__all__ = ["FAR", "Hours", "Span", "week_of"]

#: Later than any moment in use: the end of what has no end.
FAR: Final = 1 << 40

#: A half-open stretch of time: start and end in Unix seconds, or in minutes of the week.
Span: TypeAlias = tuple[int, int]

_DAY: Final = 24 * 60
_WEEK: Final = 7 * _DAY
_MINUTE: Final = 60
_HOUR: Final = 60 * _MINUTE
_HALF_HOUR: Final = 30 * _MINUTE
_DAY_SECONDS: Final = _DAY * _MINUTE
_WEEK_SECONDS: Final = _WEEK * _MINUTE


def week_of(windows: Sequence[Window]) -> tuple[Span, ...]:
    """Return the windows in minutes since Monday 00:00, merged where they touch or overlap, in order.

    A window that reaches into the next week ends after ``10080``. Windows that cover the whole week are returned as no
    window, like none at all: both mean that there is no limit.
    """
    lengths = []
    for window in windows:
        start, end = _minutes(window.start), _minutes(window.end)
        length = end - start if end > start else end + _DAY - start
        lengths += [(DAYS.index(day) * _DAY + start, length) for day in window.days]
    # with the weeks before and after, windows across Sunday's midnight are merged as well
    weeks = [(start + week, start + week + length) for start, length in set(lengths) for week in (-_WEEK, 0, _WEEK)]
    starts, ends = _merged(*np.array(weeks, dtype=np.int64).reshape(-1, 2).T)
    if (ends - starts >= _WEEK).any():
        return ()
    return tuple((start, end) for start, end in zip(starts.tolist(), ends.tolist(), strict=True) if 0 <= start < _WEEK)


class Hours:
    """Windows of local time as disjoint stretches of real time.

    A local time that a change of the clocks skips is read with the offset before the change; of one that occurs twice
    the first is meant (RFC 5545, section 3.3.5).

    Attributes:
        starts: the starts in rising order, ``(n,) int64``, Unix seconds.
        ends: the ends, ``(n,) int64``, Unix seconds.
    """

    def __init__(self, windows: Sequence[Window], zone: ZoneInfo, since: int, until: int) -> None:
        """Expand the windows from the week before ``since`` to the week of ``until``."""
        week = np.array(week_of(windows), dtype=np.int64) * _MINUTE
        if not len(week):
            self.starts, self.ends = np.array([since]), np.array([FAR])
            return
        today = datetime.fromtimestamp(since, zone).date()
        first = today - timedelta(days=today.weekday() + 7)
        mondays = (
            _local_seconds(first) + np.arange((until - since) // _WEEK_SECONDS + 5, dtype=np.int64) * _WEEK_SECONDS
        )
        local = _LocalTime(zone, int(mondays[0]), int(mondays[-1]))
        settled = local.real(mondays)
        count = int(np.searchsorted(settled, until, side="right"))
        starts, ends = (local.real((mondays[:count, None] + week[:, side]).ravel()) for side in (0, 1))
        some = ends > starts  # a window inside the skipped hour may vanish
        starts, ends = _merged(starts[some], ends[some])
        # a later stretch may continue in a week that is not expanded
        whole = ends < settled[count]
        self.starts, self.ends = starts[whole], ends[whole]

    def without(self, others: "Hours") -> "Hours":
        """Return what these stretches leave of themselves before and between the others, up to the last of those."""
        if not len(others.starts):
            return self
        opens = np.append(min(int(self.starts.min(initial=FAR)), int(others.starts.min(initial=FAR))), others.ends[:-1])
        starts = np.maximum(self.starts[:, None], opens[None, : len(others.starts)]).ravel()
        ends = np.minimum(self.ends[:, None], others.starts[None, :]).ravel()
        return self._of(starts, ends)

    def first_hours(self) -> "Hours":
        """Return the beginning of each stretch to the end of a clock hour, at least half an hour of it."""
        return self._of(self.starts, np.minimum(self.ends, self._first_ends()))

    def outer_hours(self) -> "Hours":
        """Return the beginning of each stretch, and its end from the beginning of a clock hour."""
        last_starts = np.maximum((self.ends - _HALF_HOUR) // _HOUR * _HOUR, self._first_ends())
        starts = np.concatenate([self.starts, last_starts])
        return self._of(starts, np.concatenate([np.minimum(self.ends, self._first_ends()), self.ends]))

    def _first_ends(self) -> NDArray[np.int64]:
        return -((self.starts + _HALF_HOUR) // -_HOUR) * _HOUR

    @classmethod
    def _of(cls, starts: NDArray[np.int64], ends: NDArray[np.int64]) -> "Hours":
        hours = cls.__new__(cls)
        some = ends > starts
        order = np.argsort(starts[some], kind="stable")
        hours.starts, hours.ends = starts[some][order], ends[some][order]
        return hours

    def cover(self, start: int, end: int) -> bool:
        """Return whether one stretch holds both moments."""
        index = int(self.starts.searchsorted(start, side="right")) - 1
        return index >= 0 and end <= int(self.ends[index])

    def after(self, moment: int) -> Iterator[Span]:
        """Yield the stretches that end after a moment, in order."""
        index = int(self.ends.searchsorted(moment, side="right"))
        return zip(self.starts[index:].tolist(), self.ends[index:].tolist(), strict=True)


class _LocalTime:
    """The local time of a zone between two moments; its offset changes at most once a day."""

    def __init__(self, zone: ZoneInfo, since: int, until: int) -> None:
        """Look the offsets up; ``since`` and ``until`` are local seconds since 1970."""
        days = range(since - 2 * _DAY_SECONDS, until + 10 * _DAY_SECONDS, _DAY_SECONDS)
        offsets = [_offset(zone, day) for day in days]
        changes, self._offsets = [], [offsets[0]]
        for day, (before, after) in zip(days, pairwise(offsets), strict=False):
            if before != after:
                low, high = 0, _DAY_SECONDS
                while high - low > 1:
                    middle = (low + high) // 2
                    low, high = (middle, high) if _offset(zone, day + middle) == before else (low, middle)
                changes.append(day + high + max(before, after))
                self._offsets.append(after)
        self._changes = np.array(changes, dtype=np.int64)

    def real(self, moments: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return local seconds ``(n,) int64`` as Unix seconds, as `datetime` reads local times with ``fold=0``."""
        return moments - np.array(self._offsets, dtype=np.int64)[np.searchsorted(self._changes, moments, side="right")]


def _merged(starts: NDArray[np.int64], ends: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the stretches ``(n,) int64`` sorted, and merged where they touch or overlap."""
    order = np.argsort(starts, kind="stable")
    starts, reach = starts[order], np.maximum.accumulate(ends[order])
    parted = starts[1:] > reach[:-1]
    return starts[np.append(True, parted)[: len(starts)]], reach[np.append(parted, True)[: len(reach)]]


def _local_seconds(day: date) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp())


@lru_cache(maxsize=4096)
def _offset(zone: ZoneInfo, moment: int) -> int:
    """Return the seconds by which local time is ahead of UTC."""
    offset = datetime.fromtimestamp(moment, zone).utcoffset() or timedelta()
    return offset // timedelta(seconds=1)


def _minutes(clock: str) -> int:
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)
