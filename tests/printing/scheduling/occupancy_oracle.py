"""A printer's occupancy in the plain way: gap by gap, stretch by stretch. Slow, and nothing is kept between queries."""

from itertools import takewhile

from worker.printing.scheduling.occupancy import Slot
from worker.printing.scheduling.start_times import SEARCH_SPAN, whole_minute
from worker.printing.scheduling.week_hours import FAR


class PlainOccupancy:
    """The same queries and answers as those of `worker.printing.scheduling.occupancy.Occupancy`."""

    def __init__(self, name, start_times, since, horizon, shortest):  # noqa: ARG002 - it drops no gap
        self.name, self.horizon, self.handling = name, horizon, start_times.handling
        self._printing, self._attended = start_times.printing, start_times.attended
        self._gaps = [(since, FAR)]

    @property
    def free_from(self):
        return self._gaps[-1][0]

    def slot(self, duration, latest, pauses=()):
        for ready, end in self._gaps:
            limit = min(end - duration, ready + SEARCH_SPAN, self.horizon, latest)
            start = (
                self._first_start(duration, self._watched(duration), ready, limit, pauses) if ready <= limit else None
            )
            free = None if start is None else self._bed_free(start + duration)
            if free is not None and free <= end:
                return Slot(start, start + duration, free)
        return None

    def reserve(self, slot):
        for index, (start, end) in enumerate(self._gaps):
            if start <= slot.start and slot.bed_free <= end:
                parts = [(start, slot.start), (slot.bed_free, end)]
                self._gaps[index : index + 1] = [part for part in parts if part[1] - part[0] >= 60]
                return
        raise AssertionError(slot)

    def longest_run(self, duration):
        best = 0
        ahead = takewhile(lambda span: span[0] <= self.free_from + SEARCH_SPAN, self._printing.after(self.free_from))
        for first, end in ahead:
            watched = whole_minute(self._watched(duration))
            start = self._first_start(0, watched, max(first, self.free_from), end)
            if start is not None and start < end:
                best = max(best, end - start)
        return best

    def bed_is_changed(self, duration):
        return self._bed_free(self.free_from + duration) is not None

    def _watched(self, duration):
        return min(self.handling.first_layer, duration)

    def _first_start(self, duration, watched, ready, limit, pauses=()):
        for opening, end in self._printing.after(ready):
            first, last = max(opening, ready), min(end - duration, limit)
            if first > limit:
                return None
            for arrival, departure in self._attended.after(first):
                start = max(first, arrival)
                if start > last:
                    break
                most = min(last, departure - max(watched, 1))
                starts = [each for each in (start, *self._openings(start, most, pauses)) if start <= each <= most]
                fitting = [each for each in sorted(starts) if self._is_attended(each, pauses)]
                if fitting:
                    return fitting[0]
        return None

    def _openings(self, start, most, pauses):
        """Yield the starts between two with which a pause begins as somebody arrives."""
        for after, _ in pauses:
            for arrival, _ in takewhile(lambda span, after=after: span[0] <= most + after, self._attended.after(start)):
                yield arrival - after

    def _is_attended(self, start, pauses):
        return all(
            any(
                arrival <= start + after and start + after + length <= departure
                for arrival, departure in takewhile(
                    lambda span, after=after: span[0] <= start + after, self._attended.after(start + after)
                )
            )
            for after, length in pauses
        )

    def _bed_free(self, end):
        cool = end + self.handling.cool_down
        if self.handling.bed_change == 0:
            return whole_minute(cool)
        for start, stop in takewhile(lambda span: span[0] <= cool + SEARCH_SPAN, self._attended.after(cool)):
            if max(start, cool) + self.handling.bed_change <= stop:
                return whole_minute(max(start, cool) + self.handling.bed_change)
        return None
