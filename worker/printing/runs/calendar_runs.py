"""Runs as long as the calendar has room for: packed again with less time for each, where the goal gains by it.

The fewest runs are long ones, and a run of 14 hours waits where a night has ten. For a few lengths that the hours of
the schedule have room for, all pieces are packed into runs no longer than that, and dated by a greedy timetable from
three moments of a week: the runs of a job do not depend on when it is submitted.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from itertools import pairwise
from math import floor
from typing import Final, TypeAlias

from worker.printing.scheduling.goals import finish_of, nights_of, visits_of
from worker.printing.scheduling.greedy import greedy_assignment
from worker.printing.scheduling.problem import SchedulingProblem
from worker.printing.scheduling.timetable import problem_of
from worker.spec import Spec
from worker.spec.manifest import RunEntry, WorkEntry

__all__ = ["fitted_to_calendar", "with_run_hours"]

_Packed: TypeAlias = tuple[tuple[RunEntry, ...], WorkEntry]

_HOUR: Final = 3600

#: Lengths that are tried, at most, and fewer for several printers: their shares are searched for each.
_MOST_LENGTHS: Final = 4
_MOST_WITH_SHARES: Final = 2

#: Runs of less than this many hours are not asked for, and lengths are multiples of a part of an hour.
_SHORTEST: Final = 1.0
_PARTS: Final = 4

#: An earlier finish has to gain this much for each additional run, s: about twice what one asks of a person.
_WORTH: Final = 3600

#: More runs than this are left as they are.
_MOST_RUNS: Final = 150

#: Moments to begin at: a morning, an evening and the last evening of a working week.
_BEGINNINGS: Final = (
    datetime(2001, 1, 1, 8, tzinfo=UTC),
    datetime(2001, 1, 3, 18, tzinfo=UTC),
    datetime(2001, 1, 5, 18, tzinfo=UTC),
)


def fitted_to_calendar(spec: Spec, pack: Callable[..., _Packed], packed: _Packed) -> _Packed:
    """Return the runs, packed with less time for each where the schedule's goal gains by it.

    The lower bound of the number of runs and the long pieces stay those of the job's own limit.

    Args:
        spec: the job, with a schedule or without.
        pack: returns the runs of a job; with ``exact`` as for `pack_runs`.
        packed: the runs as they are packed without the calendar.
    """
    runs, work = packed
    if spec.calendar is None or not 1 < len(runs) <= _MOST_RUNS or any(run.seconds is None for run in runs):
        return packed
    given = best = _value(spec, runs)
    limit, count = None, len(runs)
    longest = max(run.seconds or 0.0 for run in runs) / _HOUR
    lengths = [length for length in _lengths(spec) if length < longest]
    for length in lengths[: _MOST_WITH_SHARES if spec.printers else _MOST_LENGTHS]:
        shorter = pack(with_run_hours(spec, length), exact=False)[0]
        value = _value(spec, shorter)
        if _gains(value, best, len(shorter) - count):
            best, limit, count = value, length, len(shorter)
    if limit is None:
        return packed
    shorter, totals = pack(with_run_hours(spec, limit))
    if not _gains(_value(spec, shorter), given, len(shorter) - len(runs)):
        return packed
    kept = {"least_runs": work.least_runs, "long_pieces": work.long_pieces, "calendar_run_hours": limit}
    return shorter, totals.model_copy(update=kept)


def with_run_hours(spec: Spec, hours: float | None) -> Spec:
    """Return the job with runs of at most so many hours; for None, as it is."""
    if hours is None:
        return spec
    return spec.model_copy(update={"printing": spec.printing.model_copy(update={"max_run_hours": hours})})


def _lengths(spec: Spec) -> list[float]:
    """Return the lengths of runs that the hours have room for, the most frequent of a year first.

    From the last start of an attended stretch to the beginning of the next one, or to the end of printing hours; and
    between a start and a bed change within one stretch.
    """
    problem = _problem(spec, (), _BEGINNINGS[0])
    lengths: Counter[float] = Counter()
    for printer in problem.printers:
        times, (first_layer, cool_down, change) = printer.start_times, printer.start_times.handling
        spans = [span for span in times.attended.after(problem.since) if span[0] < problem.horizon]
        for (start, end), (following, _) in pairwise(spans):
            lengths[following - end + first_layer] += 1
            lengths[end - start - cool_down - change] += 1
        lengths.update(end - start for start, end in times.printable() if start < problem.horizon)
    most = spec.printing.max_run_hours
    hours: Counter[float] = Counter()
    for length, count in lengths.items():
        rounded = floor(length / _HOUR * _PARTS) / _PARTS
        if rounded >= _SHORTEST and (most is None or rounded < most):
            hours[rounded] += count
    return sorted(hours, key=lambda length: (-hours[length], -length))


def _problem(spec: Spec, runs: Sequence[RunEntry], beginning: datetime) -> SchedulingProblem:
    if spec.calendar is None:
        raise ValueError("The job has no schedule.")
    here = beginning.replace(tzinfo=spec.calendar.zone)
    return problem_of(spec.calendar.model_copy(update={"start": here}), runs, here)


#: Of each beginning: runs without a date, the goal's own measure, and the seconds to the finish.
_Value: TypeAlias = tuple[tuple[int, int, int], ...]


def _value(spec: Spec, runs: Sequence[RunEntry]) -> _Value:
    values = []
    for beginning in _BEGINNINGS:
        problem = _problem(spec, runs, beginning)
        assignment = greedy_assignment(problem)
        measure = 0
        if problem.goal == "visits":
            measure = visits_of(problem, assignment)
        elif problem.goal == "quiet_nights":
            measure = nights_of(assignment, problem.quiet)
        finish = max(finish_of(assignment) - problem.since, 0)
        values.append((len(problem.tasks) - len(assignment), measure, finish))
    return tuple(values)


def _gains(value: _Value, best: _Value, more: int) -> bool:
    """Return whether runs, so many more of them, are better than the best so far.

    They are if more of them are dated; or from no beginning is the goal met worse, and in all it is met better, or all
    is printed sooner by enough.
    """
    undated, measures, finishes = (
        [own[place] - other[place] for own, other in zip(value, best, strict=True)] for place in range(3)
    )
    if sum(undated):
        return sum(undated) < 0
    if max(measures) > 0 or (max(finishes) > 0 and not sum(measures)):
        return False
    enough = _WORTH * max(more, 0) + max(finish for _, _, finish in best) // 100
    return sum(measures) < 0 or -sum(finishes) > len(value) * enough
