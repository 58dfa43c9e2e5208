"""When runs may begin on a printer, by its printing and its attended hours. Moments and times are whole seconds."""

from bisect import bisect_left, bisect_right
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from worker.printing.scheduling.week_hours import FAR, Hours, Span

__all__ = ["SEARCH", "Begins", "Care", "whole_minute"]

#: How far ahead of a free bed a run's begin is looked for: windows come again every week, so two weeks show them all.
SEARCH: Final = 15 * 86_400

_MINUTE: Final = 60


def whole_minute(moment: int) -> int:
    """Return the next whole minute."""
    return -(-moment // _MINUTE) * _MINUTE


class Care(NamedTuple):
    """What every run asks for: its begin is watched; then it cools, and somebody clears the bed."""

    watching: int
    cooling: int
    changing: int


class Begins:
    """The stretches in which printing hours and attended ones meet: a run begins in one of them.

    Printers with the same hours share it. A question costs a search by halves and one look along an array.
    """

    def __init__(self, printing: Hours, attended: Hours, care: Care) -> None:
        """Take the hours of a printer."""
        self.printing = printing
        self.attended = attended
        self.care = care
        starts, ends, there, gone = printing.starts, printing.ends, attended.starts, attended.ends
        low, high = np.searchsorted(gone, starts, side="right"), np.searchsorted(there, ends, side="left")
        counts = np.maximum(high - low, 0)
        of = np.repeat(np.arange(len(starts)), counts)
        at = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts) + low[of]
        self._firsts = np.maximum(starts[of], there[at])
        self._gones = gone[at]
        self._ends = ends[of]
        self._longest = self._longest_from(self._firsts, slice(None))
        able = gone - there >= care.changing
        # views hand out numbers of Python one by one, faster than arrays, and cost nothing to make
        self._first, self._gone, self._end = self._firsts.data, self._gones.data, self._ends.data
        self._last, self._start = np.minimum(self._gones, self._ends).data, starts[of].data
        self._able_starts, self._able_ends = there[able].data, gone[able].data

    def first(self, printing: int, ready: int, limit: int) -> int | None:
        """Return the first begin of a run of so many seconds, from ``ready`` to ``limit``; None where there is none."""
        index = bisect_right(self._last, ready)
        if index == len(self._last):
            return None
        begin = max(self._first[index], ready)
        # somebody is there at the very begin, even with no first layer to watch
        watched = max(min(self.care.watching, printing), 1)
        if begin > min(self._gone[index] - watched, self._end[index] - printing):
            index += 1
            fits = self._longest[index : bisect_right(self._first, limit)] >= printing
            if not fits.any():
                return None
            begin = self._first[index + int(fits.argmax())]
        return begin if begin <= limit else None

    def cleared(self, end: int) -> int | None:
        """Return when the bed of a run that ends so is free; None where nobody clears it in the time looked ahead."""
        cool = end + self.care.cooling
        if self.care.changing == 0:
            return whole_minute(cool)
        index = bisect_left(self._able_ends, cool + self.care.changing)
        if index == len(self._able_ends) or self._able_starts[index] > cool + SEARCH:
            return None
        return whole_minute(max(self._able_starts[index], cool) + self.care.changing)

    def room(self, gap: Span, horizon: int) -> int:
        """Return the longest run for which a gap has a slot that begins by the horizon; 0 where it has none."""
        ready, end = gap
        ahead = slice(bisect_right(self._last, ready), bisect_right(self._first, min(ready + SEARCH, horizon)))
        begins = np.maximum(self._firsts[ahead], ready)
        longest = self._longest_from(begins, ahead)
        if self.care.changing and not self._able_starts:
            return 0
        if end < FAR:
            latest = end
            if self.care.changing:
                index = bisect_right(self._able_starts, end - self.care.changing) - 1
                if index < 0:
                    return 0
                latest = min(self._able_ends[index], end) - self.care.changing
            longest = np.minimum(longest, latest - self.care.cooling - begins)
        return max(int(longest.max(initial=0)), 0)

    def longest(self, watched: int, ready: int) -> int:
        """Return the longest run that could begin in the time looked ahead and is watched so long; 0 for none."""
        ahead = slice(bisect_right(self._last, ready), bisect_right(self._start, ready + SEARCH))
        begins = np.maximum(self._firsts[ahead], ready)
        seen = self._gones[ahead] - begins >= max(watched, 1)
        return int((self._ends[ahead] - begins)[seen].max(initial=0))

    def _longest_from(self, begins: NDArray[np.int64], ahead: slice) -> NDArray[np.int64]:
        """Return the longest run from each begin: one that is not watched long enough ends while somebody is there."""
        gone, end = self._gones[ahead], self._ends[ahead]
        return np.where(gone - begins >= self.care.watching, end, np.minimum(gone, end)) - begins
