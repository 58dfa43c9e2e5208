"""Hours: the stretches of time that windows of the week make in one time zone. Moments are Unix seconds."""

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

#: After every moment that is asked for.
FAR: Final = 1 << 40

#: From the first moment to before the last.
Span: TypeAlias = tuple[int, int]

_DAY: Final = 24 * 60
_WEEK: Final = 7 * _DAY
_MINUTE: Final = 60
_DAY_SECONDS: Final = _DAY * _MINUTE
_WEEK_SECONDS: Final = _WEEK * _MINUTE


def week_of(windows: Sequence[Window]) -> tuple[Span, ...]:
    """Return the windows in minutes from Monday 00:00, joined where they touch or overlap, each once a week.

    One that reaches into the next week ends after ``10080``. All hours, or no windows at all, are none.
    """
    own = []
    for window in windows:
        start, end = _minutes(window.start), _minutes(window.end)
        length = end - start if end > start else end + _DAY - start
        own += [(DAYS.index(day) * _DAY + start, length) for day in window.days]
    # with the weeks before and after, what crosses Sunday's midnight joins as well
    every = [(begin + week, begin + week + length) for begin, length in set(own) for week in (-_WEEK, 0, _WEEK)]
    starts, ends = _joined(*np.array(every, dtype=np.int64).reshape(-1, 2).T)
    if (ends - starts >= _WEEK).any():
        return ()
    return tuple((start, end) for start, end in zip(starts.tolist(), ends.tolist(), strict=True) if 0 <= start < _WEEK)


class Hours:
    """Windows by the clock on the wall, as stretches of real time; none touches the next.

    A time of day that a change of the clocks leaves out is read with the offset before the change, and of one that
    comes twice the first is meant (RFC 5545, section 3.3.5).

    Attributes:
        starts: their begins, in their order.
        ends: their ends.
    """

    def __init__(self, windows: Sequence[Window], zone: ZoneInfo, since: int, until: int) -> None:
        """Begin the week before ``since``, and end with the week in which ``until`` is."""
        week = np.array(week_of(windows), dtype=np.int64) * _MINUTE
        if not len(week):
            self.starts, self.ends = np.array([since]), np.array([FAR])
            return
        today = datetime.fromtimestamp(since, zone).date()
        first = today - timedelta(days=today.weekday() + 7)
        mondays = _wall(first) + np.arange((until - since) // _WEEK_SECONDS + 5, dtype=np.int64) * _WEEK_SECONDS
        wall = _Wall(zone, int(mondays[0]), int(mondays[-1]))
        settled = wall.real(mondays)
        count = int(np.searchsorted(settled, until, side="right"))
        starts, ends = (wall.real((mondays[:count, None] + week[:, side]).ravel()) for side in (0, 1))
        some = ends > starts  # a window inside the hour that is left out may come to nothing
        starts, ends = _joined(starts[some], ends[some])
        # what ends later may be joined to a window of the week that is not looked at
        whole = ends < settled[count]
        self.starts, self.ends = starts[whole], ends[whole]

    def after(self, moment: int) -> Iterator[Span]:
        """Yield the stretches that end after a moment, in their order."""
        index = int(self.ends.searchsorted(moment, side="right"))
        return zip(self.starts[index:].tolist(), self.ends[index:].tolist(), strict=True)


class _Wall:
    """The clock on the wall of a zone between two moments. It changes at most once a day."""

    def __init__(self, zone: ZoneInfo, since: int, until: int) -> None:
        """Take moments of the wall, as seconds since 1970 there."""
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
        """Return Unix seconds, as `datetime` reads the wall with ``fold=0``."""
        return moments - np.array(self._offsets, dtype=np.int64)[np.searchsorted(self._changes, moments, side="right")]


def _joined(starts: NDArray[np.int64], ends: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the stretches sorted, and joined where they touch or overlap."""
    order = np.argsort(starts, kind="stable")
    starts, reach = starts[order], np.maximum.accumulate(ends[order])
    parted = starts[1:] > reach[:-1]
    return starts[np.append(True, parted)[: len(starts)]], reach[np.append(parted, True)[: len(reach)]]


def _wall(day: date) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp())


@lru_cache(maxsize=4096)
def _offset(zone: ZoneInfo, moment: int) -> int:
    """Return the seconds by which the wall is ahead of universal time."""
    offset = datetime.fromtimestamp(moment, zone).utcoffset() or timedelta()
    return offset // timedelta(seconds=1)


def _minutes(clock: str) -> int:
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)
