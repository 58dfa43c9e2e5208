"""The loads of printers that are not alike: which of them can print a part, how long it takes, and when all would end.

Without runs and dates: what a run takes besides its lines is shared out among the pieces that would fill a bed.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import cached_property
from typing import Final, TypeAlias

from worker.printing.packing.bed_surface import Surface
from worker.printing.part_printers import printer_classes
from worker.printing.runs.demand import PartSize
from worker.printing.scheduling.problem import SchedulingProblem
from worker.printing.scheduling.timetable import problem_of
from worker.spec import Schedule, Spec
from worker.spec.errors import LayoutError
from worker.spec.manifest import EstimateEntry, RunEntry

__all__ = ["EstimatesByPrinter", "PrinterLoads", "nominal_problem"]

#: Estimates by the first name of a class of printers, then by mark.
EstimatesByPrinter: TypeAlias = Mapping[str, Mapping[str, EstimateEntry]]

#: Part of a bed that pieces fill in the mean, to share out what a run takes besides their lines.
_FILLED: Final = 0.6

#: The least share of a year in which printers print, as far as shares go.
_LEAST_HOURS: Final = 0.001

#: When work begins where the schedule does not say: shares do not depend on the clock. A Monday.
_NOMINAL: Final = datetime(2001, 1, 1, 8, tzinfo=UTC)


class PrinterLoads:
    """What printers can print, and how long it takes them; ``parts`` are by mark."""

    def __init__(
        self,
        spec: Spec,
        parts: Mapping[str, PartSize],
        estimates: Mapping[str, EstimateEntry] | None,
        others: EstimatesByPrinter,
    ) -> None:
        """Find the classes of printers.

        Args:
            spec: the job for the printer that its parts are made for.
            parts: by mark.
            estimates: see `worker.printing.runs.work_plan.runs_of`.
            others: estimates on other printers.
        """
        self.spec, self.parts, self.estimates = spec, parts, estimates
        self.classes = printer_classes(spec)
        self.surfaces = [Surface.of(own.bed, spec.printing.spacing) for own in self.classes]
        self._estimates = [{**(estimates or {}), **others.get(own.names[0], {})} for own in self.classes]
        self._able: dict[str, tuple[int, ...]] = {}
        self._weights: dict[tuple[int, str], float] = {}

    def estimates_on(self, index: int) -> Mapping[str, EstimateEntry] | None:
        """Return the estimates of parts on a class of printers, by mark; None where there are none."""
        return None if self.estimates is None else self._estimates[index]

    def able(self, mark: str) -> tuple[int, ...]:
        """Return the classes that can print a part.

        Raises:
            LayoutError: when none can.
        """
        if mark in self._able:
            return self._able[mark]
        part, estimate = self.parts[mark], (self.estimates or {}).get(mark)
        reasons = [list(own.refusals(self.spec, part, estimate)) for own in self.classes]
        able = tuple(index for index, refusals in enumerate(reasons) if not refusals)
        if not able:
            raise LayoutError(
                f"No printer can print {mark}.",
                pointer="/printers",
                value=part.size,
                limit="; ".join(
                    f"{own.names[0]}: {' and '.join(refusals)}"
                    for own, refusals in zip(self.classes, reasons, strict=True)
                ),
                remedy="Add a printer that can, or widen the materials of one that it fits.",
                part=mark,
            )
        self._able[mark] = able
        return able

    def printing_hours(self, names: Sequence[str]) -> float:
        """Return the share of a year in which these printers may print, summed over them; never 0."""
        return max(sum(self._hours[name] for name in names), _LEAST_HOURS)

    @cached_property
    def _hours(self) -> dict[str, float]:
        """The share of a year in which each printer may print."""
        problem = nominal_problem(self.spec, ())
        since, until = problem.since, problem.horizon
        return {
            own.name: sum(max(0, min(end, until) - max(start, since)) for start, end in own.start_times.printable())
            / (until - since)
            for own in problem.printers
        }

    def weight(self, index: int, mark: str) -> float:
        """Return the seconds of one piece with its share of what a run takes besides its lines."""
        if (index, mark) not in self._weights:
            surface, (width, depth, _) = self.surfaces[index], self.parts[mark].size
            across, deep = surface.grown(width, depth)
            schedule = self.spec.schedule or Schedule()
            change = 60.0 * (schedule.cool_down_minutes + schedule.bed_change_minutes)
            estimate = self._estimates[index].get(mark)
            setup = 0.0 if estimate is None else estimate.seconds - estimate.laying_seconds
            laying = 0.0 if estimate is None else estimate.laying_seconds
            share = min(1.0, across * deep / surface.area / _FILLED)
            self._weights[index, mark] = laying + share * (setup + change)
        return self._weights[index, mark]

    def longest(self, mark: str) -> float:
        """Return the seconds of one piece on the slowest class that can print it."""
        return max(self.weight(index, mark) for index in self.able(mark))

    def finish(self, counts: Mapping[str, int]) -> float:
        """Return when all of these pieces are printed, s: each goes where it ends soonest, the longest first.

        Args:
            counts: numbers of pieces by mark.

        Raises:
            LayoutError: when no printer can print one of them.
        """
        hours = [[max(self._hours[name], _LEAST_HOURS) for name in own.names] for own in self.classes]
        ends = [[0.0] * len(own) for own in hours]
        marks = [mark for mark, count in counts.items() if count > 0]
        for mark in sorted(marks, key=lambda mark: (len(self.able(mark)) > 1, -self.longest(mark), mark)):
            of_classes = [(index, self.weight(index, mark)) for index in self.able(mark)]
            for _ in range(counts[mark]):
                end, index, number = min(
                    (end + weight / share, index, number)
                    for index, weight in of_classes
                    for number, (end, share) in enumerate(zip(ends[index], hours[index], strict=True))
                )
                ends[index][number] = end
        return max((end for own in ends for end in own), default=0.0)


def nominal_problem(spec: Spec, runs: Sequence[RunEntry]) -> SchedulingProblem:
    """Return the runs to date; without a schedule at any time."""
    given = spec.calendar or spec.model_copy(update={"schedule": Schedule()}).calendar or Schedule()
    schedule = given.model_copy(update={"goal": "finish", "start": given.start or _NOMINAL})
    timed = [run if run.seconds is not None else run.model_copy(update={"seconds": 3600.0}) for run in runs]
    return problem_of(schedule, timed, _NOMINAL if given.start is None else schedule.beginning(_NOMINAL))
