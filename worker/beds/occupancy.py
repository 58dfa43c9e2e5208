"""A printer's occupancy: which time its runs take, and what is left. Moments and times are whole seconds."""

from dataclasses import dataclass, field
from itertools import takewhile
from typing import Final, NamedTuple

from worker.beds.hours import Hours, Span

__all__ = ["SEARCH_DAYS", "Occupancy", "Slot", "Times", "whole_minute"]

#: How far ahead of a free bed a run's begin is looked for: windows come again every week, so two weeks show them all.
SEARCH_DAYS: Final = 15

_DAY: Final = 86_400
_MINUTE: Final = 60


def whole_minute(moment: int) -> int:
    """Return the next whole minute."""
    return -(-moment // _MINUTE) * _MINUTE


class Times(NamedTuple):
    """What a run takes: printing, of it watched; then cooling, and somebody's time at the bed."""

    printing: int
    watched: int
    cooling: int
    changing: int


class Slot(NamedTuple):
    """When a run is printed, and from when on its bed is free."""

    begin: int
    end: int
    free: int


@dataclass(slots=True)
class Occupancy:
    """A printer as it fills: ``gaps`` between runs and after them, the last without an end."""

    name: str
    printing: Hours
    attended: Hours
    gaps: list[Span]
    #: Begin of the last gap, and the shortest run that has found no time in it.
    refused: tuple[int, int] = (0, 0)
    _longest: dict[tuple[int, int], int] = field(default_factory=dict)

    def slot(self, times: Times, since: int, horizon: int, within: int) -> Slot | None:
        """Return the earliest slot of a run that begins from ``since`` on; none where it begins after ``within``."""
        last = len(self.gaps) - 1
        for index, (start, end) in enumerate(self.gaps):
            ready = max(start, since)
            most = min(end - times.printing, ready + SEARCH_DAYS * _DAY, horizon)
            limit = min(most, within)
            if ready > limit or (index == last and self.refused[0] == ready and 0 < self.refused[1] <= times.printing):
                continue
            begin = _first_begin(self.printing, self.attended, times, ready, limit)
            slot = None if begin is None else self.slot_at(begin, times)
            if slot is not None and slot.free <= end:
                return slot
            if index == last and limit == most:
                self.refused = ready, times.printing
        return None

    def take(self, slot: Slot) -> None:
        """Keep the slot."""
        for index, (start, end) in enumerate(self.gaps):
            if start <= slot.begin and slot.free <= end:
                parts = [(start, slot.begin), (slot.free, end)]
                self.gaps[index : index + 1] = [one for one in parts if one[1] - one[0] >= _MINUTE]
                return

    def close_gaps(self) -> None:
        """Let what comes now begin after all that has a slot."""
        del self.gaps[:-1]

    def longest(self, times: Times, since: int) -> int:
        """Return the longest run that could begin in the time looked ahead, in seconds; 0 where none could."""
        ready, best = max(self.gaps[-1][0], since), 0
        times = times._replace(printing=0, watched=whole_minute(times.watched))
        if (ready, times.watched) in self._longest:
            return self._longest[ready, times.watched]
        limit = ready + SEARCH_DAYS * _DAY
        for start, end in takewhile(lambda span: span[0] <= limit, self.printing.after(ready)):
            begin = _first_begin(self.printing, self.attended, times, max(start, ready), end)
            if begin is not None and begin < end:
                best = max(best, end - begin)
        self._longest[ready, times.watched] = best
        return best

    def slot_at(self, begin: int, times: Times) -> Slot | None:
        """Return the slot of a run that begins so; None where nobody clears the bed in the time looked ahead."""
        end = begin + times.printing
        cool = end + times.cooling
        if times.changing == 0:
            return Slot(begin, end, whole_minute(cool))
        limit = cool + SEARCH_DAYS * _DAY
        for start, stop in takewhile(lambda span: span[0] <= limit, self.attended.after(cool)):
            if max(start, cool) + times.changing <= stop:
                return Slot(begin, end, whole_minute(max(start, cool) + times.changing))
        return None


def _first_begin(printing: Hours, attended: Hours, times: Times, ready: int, limit: int) -> int | None:
    """Return the first moment from which a run lies within printing hours and its first layer in attended ones."""
    for start, end in printing.after(ready):
        first, last = max(start, ready), min(end - times.printing, limit)
        if first > limit:
            return None
        for there, gone in attended.after(first):
            begin = max(first, there)
            if begin > last:
                break
            # somebody is there at the very begin, even with no first layer to watch
            if begin <= gone - max(times.watched, 1):
                return begin
    return None
