"""A printer's occupancy: which time its runs take, and what is left. Moments and times are whole seconds."""

from bisect import bisect_right
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from worker.printing.scheduling.start_times import SEARCH, Begins, whole_minute
from worker.printing.scheduling.week_hours import FAR, Span

__all__ = ["Occupancy", "Slot"]

_MINUTE: Final = 60


class Slot(NamedTuple):
    """When a run is printed, and from when on its bed is free."""

    begin: int
    end: int
    free: int


@dataclass(slots=True)
class Occupancy:
    """A printer as it fills: gaps between runs and after them, the last without an end."""

    name: str
    begins: Begins
    #: From when on runs may begin, and until when.
    since: int
    horizon: int
    #: The shortest run: what has no room for it is forgotten.
    least: int
    _gaps: list[Span] = field(init=False)
    #: For each gap the longest run that it has a slot for.
    _rooms: list[int] = field(init=False)
    _known: dict[int, Slot] = field(default_factory=dict)
    _longest: dict[tuple[int, int], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Begin with one gap without an end."""
        self._gaps = [(self.since, FAR)]
        self._rooms = [self.begins.room(self._gaps[0], self.horizon)]

    def slot(self, printing: int, within: int) -> Slot | None:
        """Return the earliest slot of a run; none is needed where it begins after ``within``."""
        if printing in self._known:
            return self._known[printing]
        for index, room in enumerate(self._rooms):
            if room < printing:
                continue
            ready, end = self._gaps[index]
            most = min(end - printing, ready + SEARCH, self.horizon)
            if ready > within:
                return None
            begin = self.begins.first(printing, ready, min(most, within))
            free = None if begin is None else self.begins.cleared(begin + printing)
            if begin is not None and free is not None and free <= end:
                self._known[printing] = Slot(begin, begin + printing, free)
                return self._known[printing]
            if within < most:
                return None
            self._rooms[index] = printing - 1
        return None

    def take(self, slot: Slot) -> None:
        """Keep the slot."""
        index = bisect_right(self._gaps, (slot.begin, FAR)) - 1
        start, end = self._gaps[index]
        parts = [(start, slot.begin), (slot.free, end)]
        parts = [part for part in parts if part[1] - part[0] >= _MINUTE]
        rooms = [self.begins.room(part, self.horizon) for part in parts]
        kept = [(part, room) for part, room in zip(parts, rooms, strict=True) if room >= self.least or part[1] == FAR]
        self._gaps[index : index + 1] = [part for part, _ in kept]
        self._rooms[index : index + 1] = [room for _, room in kept]
        self._known.clear()

    def close_gaps(self, since: int) -> None:
        """Let what comes now begin after all that has a slot, and from ``since`` on."""
        self.since = max(since, self._gaps[-1][0])
        self._gaps = [(self.since, FAR)]
        self._rooms = [self.begins.room(self._gaps[0], self.horizon)]
        self._known.clear()

    @property
    def ready(self) -> int:
        """From when on nothing is planned."""
        return self._gaps[-1][0]

    def longest(self, printing: int) -> int:
        """Return the longest run that could begin in the time looked ahead, in seconds; 0 where none could.

        It is watched as long as a run of so many seconds.
        """
        key = self.ready, whole_minute(min(self.begins.care.watching, printing))
        if key not in self._longest:
            self._longest[key] = self.begins.longest(key[1], key[0])
        return self._longest[key]

    def is_cleared(self, printing: int) -> bool:
        """Return whether somebody would clear the bed after a run that begins when nothing is planned."""
        return self.begins.cleared(self.ready + printing) is not None
