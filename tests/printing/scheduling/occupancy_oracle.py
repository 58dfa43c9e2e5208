"""A printer's occupancy in the plain way: gap by gap, stretch by stretch. Slow, and with nothing kept in mind."""

from itertools import takewhile

from worker.printing.scheduling.occupancy import Slot
from worker.printing.scheduling.start_times import SEARCH, whole_minute
from worker.printing.scheduling.week_hours import FAR


class PlainOccupancy:
    """The same questions and answers as those of `worker.printing.scheduling.occupancy.Occupancy`."""

    def __init__(self, name, begins, since, horizon, least):  # noqa: ARG002 - it forgets no gap
        self.name, self.horizon, self.care = name, horizon, begins.care
        self._printing, self._attended = begins.printing, begins.attended
        self._gaps = [(since, FAR)]

    @property
    def ready(self):
        return self._gaps[-1][0]

    def slot(self, printing, within):
        for ready, end in self._gaps:
            limit = min(end - printing, ready + SEARCH, self.horizon, within)
            begin = self._first_begin(printing, self._watched(printing), ready, limit) if ready <= limit else None
            free = None if begin is None else self._cleared(begin + printing)
            if free is not None and free <= end:
                return Slot(begin, begin + printing, free)
        return None

    def take(self, slot):
        for index, (start, end) in enumerate(self._gaps):
            if start <= slot.begin and slot.free <= end:
                parts = [(start, slot.begin), (slot.free, end)]
                self._gaps[index : index + 1] = [one for one in parts if one[1] - one[0] >= 60]
                return
        raise AssertionError(slot)

    def close_gaps(self, since):
        self._gaps = [(max(since, self.ready), FAR)]

    def longest(self, printing):
        best = 0
        for start, end in takewhile(lambda span: span[0] <= self.ready + SEARCH, self._printing.after(self.ready)):
            watched = whole_minute(self._watched(printing))
            begin = self._first_begin(0, watched, max(start, self.ready), end)
            if begin is not None and begin < end:
                best = max(best, end - begin)
        return best

    def is_cleared(self, printing):
        return self._cleared(self.ready + printing) is not None

    def _watched(self, printing):
        return min(self.care.watching, printing)

    def _first_begin(self, printing, watched, ready, limit):
        for start, end in self._printing.after(ready):
            first, last = max(start, ready), min(end - printing, limit)
            if first > limit:
                return None
            for there, gone in self._attended.after(first):
                begin = max(first, there)
                if begin > last:
                    break
                if begin <= gone - max(watched, 1):
                    return begin
        return None

    def _cleared(self, end):
        cool = end + self.care.cooling
        if self.care.changing == 0:
            return whole_minute(cool)
        for start, stop in takewhile(lambda span: span[0] <= cool + SEARCH, self._attended.after(cool)):
            if max(start, cool) + self.care.changing <= stop:
                return whole_minute(max(start, cool) + self.care.changing)
        return None
