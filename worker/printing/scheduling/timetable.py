"""The timetable: which run is printed when, and on which printer.

Times are whole Unix seconds, durations whole seconds.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from math import ceil
from typing import Final
from zoneinfo import ZoneInfo

from worker.printing.print_order import Stage, stage_of_run
from worker.printing.scheduling.goals import completions, finish_of, nights_of, visits_of
from worker.printing.scheduling.greedy import earliest_slots, greedy_assignment, occupancies
from worker.printing.scheduling.printers import printers_of
from worker.printing.scheduling.problem import HORIZON_SECONDS, NEVER, SchedulingProblem, Task
from worker.printing.scheduling.reliability import Reliability
from worker.printing.scheduling.spools import Feed, SpoolRun, Used, draw_spools
from worker.printing.scheduling.start_times import Pauses, whole_minute
from worker.printing.scheduling.timetable_solver import Solved, solve_timetable
from worker.printing.scheduling.waiting import reason_of
from worker.spec.manifest import DrawerFinishEntry, RunEntry, ScheduleEntry, StepEntry, SwapEntry, WaitingEntry
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule

__all__ = ["make_timetable", "problem_of"]


def make_timetable(
    schedule: Schedule,
    runs: Sequence[RunEntry],
    materials: Sequence[Material],
    now: datetime,
    used: Used | None = None,
    *,
    gate: Mapping[tuple[str, ...], str] | None = None,
    reliability: Reliability | None = None,
) -> ScheduleEntry:
    """Return when each run is printed, and on which printer.

    All runs wait until the test prints are off the beds; no other run has to precede another, for a tray may be
    printed before its tile. The best of several greedy assignments is the solver's first answer, and the better of the
    two is kept. A bed is cleared in attended hours; one person may look after several printers at once.

    Args:
        schedule: printers and hours.
        runs: in the order of printing.
        materials: the filaments with their spools.
        now: no run starts earlier, even when the schedule's start is past.
        used: grams already used, by material and colour.
        gate: why all runs but the test prints wait, by their printers; none of printers whose runs need not.
        reliability: of the printers; without it no late finish is given.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    problem = problem_of(schedule, runs, now, {} if reliability is None else dict(reliability.time_factors))
    test_numbers = {run.number for run in runs if stage_of_run(run) is Stage.TEST_PRINTS}
    test_prints = [task for task in problem.tasks if task.number in test_numbers]
    others = [task for task in problem.tasks if task.number not in test_numbers]
    waiting = {run.number: _UNTIMED for run in runs if run.seconds is None}
    tests = _dated(replace(problem, tasks=tuple(test_prints), goal="finish"), waiting)
    undated = [number for number in test_numbers if number in waiting]
    gated = {run.number: gate[run.printers] for run in runs if gate and run.printers in gate}
    waiting.update((task.number, gated[task.number]) for task in others if task.number in gated)
    others = [task for task in others if task.number not in gated]
    if undated:
        reason = f"It waits for run {min(undated)}: the coupon shows which clearance all other parts need."
        waiting.update((task.number, reason) for task in others)
        others = []
    rest = _dated(replace(problem, tasks=tuple(others), since=_after(problem, tests)), waiting)
    solved = Solved(
        {**tests.assignment, **rest.assignment},
        rest.earliest_finish if others else tests.earliest_finish,
        proven=tests.proven and rest.proven,
    )
    late = None if reliability is None or waiting else _late_finish(problem, tests, tuple(others), reliability)
    return _entry(schedule, runs, materials, _Dates(problem, solved, waiting, late), used or {})


@dataclass(frozen=True, slots=True)
class _Dates:
    """The dated runs of a problem, and why the others wait."""

    problem: SchedulingProblem
    solved: Solved
    waiting: Mapping[int, str]
    late_finish: int | None


def _late_finish(
    problem: SchedulingProblem, tests: Solved, others: tuple[Task, ...], reliability: Reliability
) -> int | None:
    """Return the end if all runs take longer by the uncertainty, and as many as may fail are printed again.

    The runs that are repeated are those in the middle of all by their time. None when not all of them have a slot.
    """
    count = len(problem.tasks)
    again = ceil(reliability.failure_rate * count)
    by_time = sorted(problem.tasks, key=lambda task: (min(task.durations), task.rank))
    first = (count - again) // 2
    longer = 1.0 + reliability.time_uncertainty
    tasks = [
        replace(
            task,
            number=number,
            rank=number,
            durations=tuple(ceil(longer * each) for each in task.durations),
            pauses=tuple(tuple((ceil(longer * after), length) for after, length in own) for own in task.pauses),
        )
        for number, task in enumerate([*(others or problem.tasks), *by_time[first : first + again]], start=1)
    ]
    since = _after(problem, tests) if others else problem.since
    late = replace(problem, tasks=tuple(tasks), since=since, goal="finish")
    assignment = greedy_assignment(late)
    return finish_of(assignment) if len(assignment) == len(tasks) else None


def _after(problem: SchedulingProblem, tests: Solved) -> int:
    """Return the moment from which the test prints are off the beds."""
    return max([problem.since, *(placed.slot.bed_free for placed in tests.assignment.values())])


_UNTIMED: Final = "Its print time is unknown: its pieces have not been measured yet."


def problem_of(
    schedule: Schedule, runs: Sequence[RunEntry], now: datetime, factors: Mapping[str, float] | None = None
) -> SchedulingProblem:
    """Return the runs that have a time and the printers, to be dated from the schedule's start or from now on.

    ``factors`` are measured over estimated times by the printer's name; 1 of those that are missing.
    """
    since = whole_minute(ceil(max(schedule.beginning(now).timestamp(), now.timestamp())))
    printers, quiet = printers_of(schedule, since)
    tasks = tuple(
        Task(
            run.number,
            rank,
            tuple(
                NEVER
                if run.printers and printer.name not in run.printers
                else max(ceil(run.seconds * (factors or {}).get(printer.name, 1.0)), 1)
                for printer in printers
            ),
            frozenset(piece.drawer for piece in run.pieces if piece.drawer is not None),
            _pauses(run, [(factors or {}).get(printer.name, 1.0) for printer in printers]),
        )
        for rank, run in enumerate(runs)
        if run.seconds is not None
    )
    named = dict.fromkeys(piece.drawer for run in runs for piece in run.pieces if piece.drawer is not None)
    drawers = tuple(dict.fromkeys([*(name for name in schedule.priority if name in named), *named]))
    return SchedulingProblem(printers, tasks, since, since + HORIZON_SECONDS, schedule.goal, quiet, drawers)


def _pauses(run: RunEntry, factors: Sequence[float]) -> tuple[Pauses, ...]:
    """Return the pauses of a run on each printer by its time factor; empty without pauses after the start."""
    lettering = run.lettering
    if lettering is None or not any(pause.seconds for pause in lettering.pauses):
        return ()
    length = ceil(lettering.seconds / lettering.changes)
    return tuple(
        tuple((ceil(pause.seconds * factor), length) for pause in lettering.pauses if pause.seconds)
        for factor in factors
    )


def _dated(problem: SchedulingProblem, waiting: dict[int, str]) -> Solved:
    """Return the dated runs; add the reasons of those without a slot to ``waiting``."""
    greedy = greedy_assignment(problem)
    undated = [task for task in problem.tasks if task.number not in greedy]
    if undated:
        printers = occupancies(problem)
        earliest_slots(problem, [task for task in problem.tasks if task.number in greedy], printers)
        for task in undated:
            able = [own for own, duration in zip(printers, task.durations, strict=True) if duration < NEVER]
            waiting[task.number] = reason_of(task, able)
    dated = replace(problem, tasks=tuple(task for task in problem.tasks if task.number in greedy))
    return solve_timetable(dated, greedy)


def _entry(
    schedule: Schedule,
    runs: Sequence[RunEntry],
    materials: Sequence[Material],
    dates: _Dates,
    used: Used,
) -> ScheduleEntry:
    runs_by_number = {run.number: run for run in runs}
    problem, solved, waiting = dates.problem, dates.solved, dates.waiting
    assignment = solved.assignment
    order = sorted(assignment, key=lambda number: (assignment[number].slot.start, number))
    names = {number: problem.printers[assignment[number].printer].name for number in order}
    fed = [
        SpoolRun(runs_by_number[number], names[number], assignment[number].slot.start, assignment[number].slot.end)
        for number in order
    ]
    attended = {own.name: own.start_times.attended for own in problem.printers}
    feeds = draw_spools(fed, materials, used, schedule.printers, attended).feeds
    first_layer = problem.printers[0].start_times.handling.first_layer
    tasks = {task.number: task for task in problem.tasks}
    steps = []
    for number in order:
        pauses = tasks[number].pauses_on(assignment[number].printer)
        slot, run = assignment[number].slot, runs_by_number[number]
        watched = min(first_layer, slot.end - slot.start)
        moments = (slot.start, slot.start + watched, slot.end, slot.bed_free)
        begin, attended_until, end, free = (_local(moment, schedule.zone) for moment in moments)
        steps.append(
            StepEntry(
                run=number,
                printer=names[number],
                begin=begin,
                attended_until=attended_until,
                end=end,
                free=free,
                swaps=_swaps(run, feeds[number], schedule.zone) if number in feeds else (),
                spool=round(feeds[number].spool, 2) if number in feeds else None,
                pauses=tuple(_local(slot.start + after, schedule.zone) for after, _ in pauses),
            )
        )
    ends = completions(problem, assignment)
    return ScheduleEntry(
        timezone=schedule.timezone,
        begin=steps[0].begin if steps else None,
        finish=_local(finish_of(assignment), schedule.zone) if steps else None,
        steps=tuple(steps),
        waiting=tuple(
            WaitingEntry(run=run.number, reason=waiting[run.number]) for run in runs if run.number in waiting
        ),
        goal=schedule.goal,
        earliest_finish=_local(solved.earliest_finish, schedule.zone) if steps and not waiting else None,
        late_finish=None
        if dates.late_finish is None or not steps
        else _local(max(dates.late_finish, finish_of(assignment)), schedule.zone),
        proven=bool(steps) and not waiting and solved.proven,
        visits=visits_of(problem, assignment),
        nights=nights_of(assignment, problem.quiet),
        drawers=tuple(
            DrawerFinishEntry(drawer=name, complete=_local(end, schedule.zone))
            for name, end in ends.items()
            if end and not _waits(name, runs, waiting)
        ),
        cautions=tuple(_cautions(steps)),
    )


def _swaps(run: RunEntry, feed: Feed, zone: ZoneInfo) -> tuple[SwapEntry, ...]:
    return tuple(
        SwapEntry(
            material=run.material,
            colour=run.colour,
            after_grams=change.after,
            at=None if change.at is None else _local(change.at, zone),
            attended=change.attended,
            onto=round(change.onto, 2),
        )
        for change in feed.changes
    )


def _cautions(steps: Sequence[StepEntry]) -> Iterator[str]:
    """Yield what can go wrong with spools that run out during a run."""
    within = [(step, swap) for step in steps for swap in step.swaps if swap.after_grams > 0.0]
    if within:
        numbers = ", ".join(dict.fromkeys(str(step.run) for step, _ in within))
        yield (
            f"A spool runs out during these runs: {numbers}. Without a filament sensor the printer goes on without "
            "filament. Be there for the change: times and grams are estimates."
        )
    for step, swap in within:
        if not swap.attended and swap.at is not None:
            yield (
                f"Run {step.run} runs out of {swap.material} at about {swap.at:%a %H:%M}, when nobody is present, and "
                "no spool lasts for all of it. Split it by printing.max_run_hours, or widen the attended hours."
            )


def _waits(drawer: str, runs: Sequence[RunEntry], waiting: Mapping[int, str]) -> bool:
    """Return whether a run with a piece for the drawer has no slot."""
    return any(run.number in waiting and any(piece.drawer == drawer for piece in run.pieces) for run in runs)


def _local(moment: int, zone: ZoneInfo) -> datetime:
    """Return the moment with a fixed offset, since datetimes of one zone are subtracted by wall-clock time."""
    here = datetime.fromtimestamp(moment, zone)
    return here.replace(tzinfo=timezone(here.utcoffset() or timedelta()), fold=0)
