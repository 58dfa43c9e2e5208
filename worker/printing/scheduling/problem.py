"""The scheduling problem: runs to date, printers with their hours, and a goal; and an assignment that answers it.

Times are whole Unix seconds, durations whole seconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple, TypeAlias

from worker.printing.scheduling.occupancy import Slot
from worker.printing.scheduling.start_times import Pauses, StartTimes
from worker.printing.scheduling.week_hours import FAR, Hours
from worker.spec.printer.schedule import Goal

__all__ = [
    "HORIZON_DAYS",
    "HORIZON_SECONDS",
    "NEVER",
    "Assignment",
    "Placed",
    "SchedulingProblem",
    "Task",
    "TimedPrinter",
]

#: No run starts later than this many days after the schedule's start.
HORIZON_DAYS: Final = 365
HORIZON_SECONDS: Final = HORIZON_DAYS * 86_400

#: The duration of a run on a printer that cannot print it: no printing hours are as long.
NEVER: Final = 2 * FAR


@dataclass(frozen=True, slots=True)
class Task:
    """A run to date.

    ``durations`` holds its time on each printer, `NEVER` where it cannot be printed. ``rank`` is its place in the order
    of printing, from 0. ``drawers`` are the names of the drawers that its pieces are for. ``pauses`` holds its pauses
    on each printer; empty without any.
    """

    number: int
    rank: int
    durations: tuple[int, ...]
    drawers: frozenset[str] = frozenset()
    pauses: tuple[Pauses, ...] = ()

    def pauses_on(self, printer: int) -> Pauses:
        """Return the pauses on the printer with this index."""
        return self.pauses[printer] if self.pauses else ()


@dataclass(frozen=True, slots=True)
class TimedPrinter:
    """A printer with its hours. Printers with equal hours share their start times."""

    name: str
    start_times: StartTimes


class Placed(NamedTuple):
    """Where and when a run is printed: the index of its printer, and its slot."""

    printer: int
    slot: Slot


#: The printer and slot of each dated run, by the run's number.
Assignment: TypeAlias = Mapping[int, Placed]


@dataclass(frozen=True, slots=True)
class SchedulingProblem:
    """Runs without precedence among them, to be dated from ``since`` on.

    ``drawers`` are the names of all drawers, the one to be complete first in front. ``quiet`` are the hours in which
    the goal ``quiet_nights`` avoids printing.
    """

    printers: tuple[TimedPrinter, ...]
    tasks: tuple[Task, ...]
    since: int
    horizon: int
    goal: Goal
    quiet: Hours
    drawers: tuple[str, ...] = ()

    @property
    def shortest(self) -> int:
        """The shortest duration of a run; 1 without runs."""
        return min((min(task.durations) for task in self.tasks), default=1)
