"""Start times of runs on a printer, by its printing and attended hours.

Times are whole Unix seconds, durations whole seconds.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.printing.scheduling.week_hours import FAR, Hours, Span

__all__ = ["SEARCH_SPAN", "HandlingTimes", "Pauses", "QuietStartTimes", "StartTimes", "whole_minute"]

#: A start is searched for this long after a bed is free, s: windows recur weekly, so two weeks have them all.
SEARCH_SPAN: Final = 15 * 86_400

_MINUTE: Final = 60

#: Pauses of a run for a change of filament by hand: seconds from its start, and how long somebody is needed.
Pauses: TypeAlias = tuple[tuple[int, int], ...]


def whole_minute(moment: int) -> int:
    """Return the moment rounded up to a whole minute."""
    return -(-moment // _MINUTE) * _MINUTE


class HandlingTimes(NamedTuple):
    """The seconds of attendance and waiting that every run needs.

    Somebody watches the first layer; after the end the bed cools down, and somebody changes it.
    """

    first_layer: int
    cool_down: int
    bed_change: int


class StartTimes:
    """The stretches in which printing and attended hours overlap: a run starts in one of them.

    Printers with equal hours share one. A query costs a binary search and one pass along an array.
    """

    def __init__(self, printing: Hours, attended: Hours, handling: HandlingTimes) -> None:
        """Intersect the hours of a printer."""
        self.printing = printing
        self.attended = attended
        self.handling = handling
        print_starts, print_ends = printing.starts, printing.ends
        watch_starts, watch_ends = attended.starts, attended.ends
        low = np.searchsorted(watch_ends, print_starts, side="right")
        high = np.searchsorted(watch_starts, print_ends, side="left")
        counts = np.maximum(high - low, 0)
        # for each overlap, the index of its printing hours and of its attended hours
        of = np.repeat(np.arange(len(print_starts)), counts)
        at = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts) + low[of]
        self._starts = np.maximum(print_starts[of], watch_starts[at])
        self._watch_ends = watch_ends[at]
        self._print_ends = print_ends[of]
        self._longest = self._longest_from(self._starts, slice(None))
        change = watch_ends - watch_starts >= handling.bed_change
        # a memoryview yields Python ints without a copy: a search and an access take 0.37 us, on an array 0.78 us
        self._start, self._watch_end, self._print_end = (
            self._starts.data, self._watch_ends.data, self._print_ends.data,
        )  # fmt: skip
        self._last, self._print_start = np.minimum(self._watch_ends, self._print_ends).data, print_starts[of].data
        self._change_starts, self._change_ends = watch_starts[change].data, watch_ends[change].data

    def first_start(self, duration: int, ready: int, limit: int) -> int | None:
        """Return the first start of a run of this duration, from ``ready`` to ``limit``; None when there is none."""
        index = bisect_right(self._last, ready)
        if index == len(self._last):
            return None
        start = max(self._start[index], ready)
        # the start itself is attended even when no first layer is watched
        watched = max(min(self.handling.first_layer, duration), 1)
        if start > min(self._watch_end[index] - watched, self._print_end[index] - duration):
            index += 1
            fits = self._longest[index : bisect_right(self._start, limit)] >= duration
            if not fits.any():
                return None
            start = self._start[index + int(fits.argmax())]
        return start if start <= limit else None

    def first_attended_start(self, duration: int, ready: int, limit: int, pauses: Pauses) -> int | None:
        """Return the first start of a run of which all pauses lie in attended hours, too."""
        start = self.first_start(duration, ready, limit)
        while start is not None:
            later = max((self._attended_from(start + after, length) - after for after, length in pauses), default=start)
            if later == start:
                break
            start = self.first_start(duration, later, limit) if later <= limit else None
        return start

    def _attended_from(self, moment: int, length: int) -> int:
        """Return the first moment, from this one on, from which somebody is present for so long."""
        starts, ends = self.attended.starts, self.attended.ends
        index = int(np.searchsorted(ends, moment + length))
        fits = ends[index:] - np.maximum(starts[index:], moment) >= length
        return max(int(starts[index + int(fits.argmax())]), moment) if fits.any() else FAR

    def attended_start_spans(self, duration: int, since: int, until: int, pauses: Pauses) -> list[Span]:
        """Return the stretches of starts of a run of which all pauses lie in attended hours, too."""
        spans = self.start_spans(duration, since, until)
        for after, length in pauses:
            present = [
                (start - after, end - length - after)
                for start, end in self.attended.after(since + after)
                if end - start >= length
            ]
            spans = _intersection(spans, present)
        return spans

    def bed_free(self, end: int) -> int | None:
        """Return when the bed of a run that ends at ``end`` is free; None when nobody changes it within the search."""
        cool = end + self.handling.cool_down
        if self.handling.bed_change == 0:
            return whole_minute(cool)
        index = bisect_left(self._change_ends, cool + self.handling.bed_change)
        if index == len(self._change_ends) or self._change_starts[index] > cool + SEARCH_SPAN:
            return None
        return whole_minute(max(self._change_starts[index], cool) + self.handling.bed_change)

    def longest_in_gap(self, gap: Span, horizon: int) -> int:
        """Return the longest run that fits a gap and starts by the horizon, in seconds; 0 when none fits."""
        ready, end = gap
        ahead = slice(bisect_right(self._last, ready), bisect_right(self._start, min(ready + SEARCH_SPAN, horizon)))
        starts = np.maximum(self._starts[ahead], ready)
        longest = self._longest_from(starts, ahead)
        if self.handling.bed_change and not self._change_starts:
            return 0
        if end < FAR:
            latest = end
            if self.handling.bed_change:
                index = bisect_right(self._change_starts, end - self.handling.bed_change) - 1
                if index < 0:
                    return 0
                latest = min(self._change_ends[index], end) - self.handling.bed_change
            longest = np.minimum(longest, latest - self.handling.cool_down - starts)
        return max(int(longest.max(initial=0)), 0)

    def longest_run(self, watched: int, ready: int) -> int:
        """Return the longest run that starts within the search and is watched this long, in seconds; 0 for none."""
        ahead = slice(bisect_right(self._last, ready), bisect_right(self._print_start, ready + SEARCH_SPAN))
        starts = np.maximum(self._starts[ahead], ready)
        attended = self._watch_ends[ahead] - starts >= max(watched, 1)
        return int((self._print_ends[ahead] - starts)[attended].max(initial=0))

    def start_spans(self, duration: int, since: int, until: int) -> list[Span]:
        """Return the stretches of starts of a run of this duration, each with its first and its last start."""
        watched = max(min(self.handling.first_layer, duration), 1)
        last = np.minimum(np.minimum(self._watch_ends - watched, self._print_ends - duration), until)
        first = np.maximum(self._starts, since)
        some = last >= first
        return list(zip(first[some].tolist(), last[some].tolist(), strict=True))

    def change_spans(self, since: int, until: int) -> list[Span]:
        """Return the stretches of moments at which a bed change can end, each with its first and its last."""
        change = self.handling.bed_change
        if change == 0:
            return [(since, until)]
        spans = zip(self._change_starts, self._change_ends, strict=True)
        return [
            (max(start + change, since), min(end, until))
            for start, end in spans
            if end >= since and start + change <= until
        ]

    def printable(self) -> list[Span]:
        """Return the stretches in which a printer can print after an attended start."""
        merged: list[Span] = []
        for start, end in zip(self._starts.tolist(), self._print_ends.tolist(), strict=True):
            if merged and start <= merged[-1][1]:
                merged[-1] = merged[-1][0], max(merged[-1][1], end)
            else:
                merged.append((start, end))
        return merged

    def _longest_from(self, starts: NDArray[np.int64], ahead: slice) -> NDArray[np.int64]:
        """Return the longest run from each start, ``(n,) int64``, s.

        Where the first layer cannot be watched to its end, the run has to end while somebody is there.
        """
        watch_ends, print_ends = self._watch_ends[ahead], self._print_ends[ahead]
        watched = watch_ends - starts >= self.handling.first_layer
        return np.where(watched, print_ends, np.minimum(watch_ends, print_ends)) - starts


def _intersection(spans: Sequence[Span], others: Sequence[Span]) -> list[Span]:
    """Return the stretches in both of two lists in order; their ends are part of them."""
    both, at = list[Span](), 0
    for first, last in spans:
        while at < len(others) and others[at][1] < first:
            at += 1
        index = at
        while index < len(others) and others[index][0] <= last:
            both.append((max(first, others[index][0]), min(last, others[index][1])))
            index += 1
    return both


class QuietStartTimes(StartTimes):
    """Start times that keep every run out of the quiet hours that is short enough to fit between them."""

    def __init__(self, printing: Hours, attended: Hours, handling: HandlingTimes, quiet: Hours) -> None:
        """Intersect the hours of a printer, with and without the quiet hours."""
        super().__init__(printing, attended, handling)
        self._between = StartTimes(printing.without(quiet), attended, handling)
        self._fitting = int(self._between._longest.max(initial=0))  # noqa: SLF001 - one of its own kind

    def first_start(self, duration: int, ready: int, limit: int) -> int | None:
        """Return the first start, outside the quiet hours for a run that fits between them."""
        if duration <= self._fitting:
            return self._between.first_start(duration, ready, limit)
        return super().first_start(duration, ready, limit)

    def start_spans(self, duration: int, since: int, until: int) -> list[Span]:
        """Return the stretches of starts, outside the quiet hours for a run that fits between them."""
        if duration <= self._fitting:
            return self._between.start_spans(duration, since, until)
        return super().start_spans(duration, since, until)
