"""A lower bound of the finish: no timetable of the same runs ends earlier.

Times are whole Unix seconds, durations whole seconds.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Final

from worker.printing.scheduling.problem import SchedulingProblem
from worker.printing.scheduling.start_times import StartTimes
from worker.printing.scheduling.week_hours import Span

__all__ = ["finish_bound"]

_MINUTE: Final = 60


def finish_bound(problem: SchedulingProblem, finish: int) -> int:
    """Return a moment before which not all runs can end, no later than ``finish``; ``since`` without runs.

    Each run is taken at its shortest time on any printer. Three counts hold for every timetable that ends at a moment:

    - No run ends before its own first start allows.
    - In each unattended stretch a printer has at most one run. All others begin and are cleared within an attended
      stretch, and the shortest of them take no more than the attended time.
    - All runs print within printing hours after an attended start, and a printer cools down and is cleared between two
      runs in one such stretch.

    Args:
        problem: runs and printers.
        finish: when some timetable of all runs ends. Later moments need no search, and no stretches beyond are listed.
    """
    if not problem.tasks:
        return problem.since
    durations = sorted(min(task.durations) for task in problem.tasks)
    firsts = []
    for task in problem.tasks:
        ends = [
            start + duration
            for printer, duration in zip(problem.printers, task.durations, strict=True)
            if (start := printer.start_times.first_start(duration, problem.since, problem.horizon)) is not None
        ]
        firsts.append(min(ends, default=problem.since))
    low, high = max(firsts), finish
    hours = [_Stretches.of(printer.start_times, problem.since, high) for printer in problem.printers]
    handling = problem.printers[0].start_times.handling
    change = handling.cool_down + handling.bed_change
    demands = list(accumulate((duration + change for duration in durations), initial=0))

    def possible(moment: int) -> bool:
        attended = [_before(own.attended, moment) for own in hours]
        unattended = sum(gaps for _, _, gaps in attended)
        within = max(len(durations) - unattended, 0)
        if within and durations[within - 1] > max(longest for _, longest, _ in attended):
            return False
        if demands[within] > sum(total for total, _, _ in attended) + change * len(hours):
            return False
        printing = [_before(own.printing, moment) for own in hours]
        begun = sum(gaps for _, _, gaps in printing) + len(hours)
        between = max(len(durations) - begun, 0) * change
        return sum(durations) + between <= sum(total for total, _, _ in printing)

    if possible(low):
        return low
    while high - low > _MINUTE:
        middle = (low + high) // 2
        low, high = (low, middle) if possible(middle) else (middle, high)
    return low


@dataclass(frozen=True, slots=True)
class _Stretches:
    """The attended stretches of a printer, and those in which it can print after an attended start."""

    attended: Sequence[Span]
    printing: Sequence[Span]

    @classmethod
    def of(cls, start_times: StartTimes, since: int, until: int) -> "_Stretches":
        def cut(spans: Sequence[Span]) -> list[Span]:
            return [(max(start, since), end) for start, end in spans if end > since and start < until]

        return cls(cut(list(start_times.attended.after(since))), cut(start_times.printable()))


def _before(stretches: Sequence[Span], moment: int) -> tuple[int, int, int]:
    """Return the total and the longest time of the stretches before a moment, and how many of them end before it."""
    total, longest, ended = 0, 0, 0
    for start, end in stretches:
        if start >= moment:
            break
        length = min(end, moment) - start
        total, longest, ended = total + length, max(longest, length), ended + (end < moment)
    return total, longest, ended
