"""The greedy assignments: runs in several orders, each into the earliest slot left; and the gap-aware one.

Times are whole Unix seconds, durations whole seconds.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Final, TypeAlias

from worker.printing.scheduling.goals import cost_of
from worker.printing.scheduling.occupancy import Occupancy, Slot
from worker.printing.scheduling.problem import Assignment, Placed, SchedulingProblem, Task, TimedPrinter
from worker.printing.scheduling.start_times import Pauses, StartTimes
from worker.printing.scheduling.week_hours import Hours

__all__ = ["earliest_slots", "greedy_assignment", "occupancies", "shifted_left"]

#: More runs than this are dated in their orders alone: the gap-aware greedy looks at every length for every slot.
_MOST_GAP_AWARE: Final = 400

#: Durations and pauses on each printer: runs that have them in common can change places.
_Times: TypeAlias = tuple[tuple[int, ...], tuple[Pauses, ...]]


def greedy_assignment(problem: SchedulingProblem) -> Assignment:
    """Return the best of several greedy assignments: most runs dated, then the lowest cost for the goal."""

    def value(assignment: Assignment) -> tuple[int, ...]:
        return len(problem.tasks) - len(assignment), *cost_of(problem, assignment)

    return min(_assignments(problem), key=value)


def _assignments(problem: SchedulingProblem) -> Iterator[Assignment]:
    for order in _orders(problem):
        yield earliest_slots(problem, order)
        if len(problem.tasks) <= _MOST_GAP_AWARE:
            yield _gap_aware(problem, _groups(problem, order))
    if problem.goal == "visits":
        for attended in (Hours.first_hours, Hours.outer_hours):
            few = _with_attended(problem, attended)
            for order in _orders(few):
                yield earliest_slots(few, order)


def _orders(problem: SchedulingProblem) -> list[list[Task]]:
    """Return the orders to try: as printed, longest first, shortest first; by drawer where drawers are the goal."""
    orders: list[list[Task]] = []
    keys: tuple[Callable[[Task], int], ...] = (
        lambda _: 0,
        lambda task: -min(task.durations),
        lambda task: min(task.durations),
    )
    for key in keys:
        order = sorted(sorted(problem.tasks, key=lambda task: task.rank), key=key)
        if problem.goal == "drawers":
            order.sort(key=lambda task: _first_drawer(problem, task))
        if order not in orders:
            orders.append(order)
    return orders


def _groups(problem: SchedulingProblem, order: Sequence[Task]) -> list[list[Task]]:
    """Return the runs in groups that follow each other: one for each drawer where drawers are the goal, else one."""
    if problem.goal != "drawers":
        return [list(order)]
    groups: dict[int, list[Task]] = {}
    for task in order:
        groups.setdefault(_first_drawer(problem, task), []).append(task)
    return [groups[key] for key in sorted(groups)]


def _first_drawer(problem: SchedulingProblem, task: Task) -> int:
    """Return the place of the run's first drawer by priority; runs of no drawer come last."""
    return next((place for place, name in enumerate(problem.drawers) if name in task.drawers), len(problem.drawers))


def occupancies(problem: SchedulingProblem) -> list[Occupancy]:
    """Return the printers, all of them free."""
    return [
        Occupancy(own.name, own.start_times, problem.since, problem.horizon, problem.shortest)
        for own in problem.printers
    ]


def earliest_slots(
    problem: SchedulingProblem, order: Sequence[Task], printers: Sequence[Occupancy] | None = None
) -> dict[int, Placed]:
    """Return each run in turn in the earliest slot left on any printer; runs without a slot are left out."""
    printers = occupancies(problem) if printers is None else printers
    assignment: dict[int, Placed] = {}
    for task in order:
        best: tuple[int, int, int, Slot] | None = None
        for index, printer in enumerate(printers):
            latest = printer.horizon if best is None else best[0]
            slot = printer.slot(task.durations[index], latest, task.pauses_on(index))
            if slot is not None and (best is None or (slot.start, slot.bed_free, index) < best[:3]):
                best = slot.start, slot.bed_free, index, slot
        if best is not None:
            printers[best[2]].reserve(best[3])
            assignment[task.number] = Placed(best[2], best[3])
    return assignment


def _gap_aware(problem: SchedulingProblem, groups: Sequence[Sequence[Task]]) -> Assignment:
    """Return each printer in turn, the one that is free first, with the run that prints most of the time it takes.

    The time runs from when the bed is free before the run to when it is free after it: a night is given to a run that
    fills it. The run with the least rank stands for all of its length.
    """
    printers = occupancies(problem)
    assignment: dict[int, Placed] = {}
    for group in groups:
        queues: dict[_Times, list[Task]] = {}
        for task in sorted(group, key=lambda task: -task.rank):
            queues.setdefault((task.durations, task.pauses), []).append(task)
        ready = set(range(len(printers)))
        while queues and ready:
            index = min(ready, key=lambda index: (printers[index].free_from, index))
            printer = printers[index]
            best: tuple[float, int, _Times, Slot] | None = None
            for times, queue in queues.items():
                durations = times[0]
                slot = printer.slot(durations[index], printer.horizon, queue[-1].pauses_on(index))
                if slot is not None:
                    share = durations[index] / (slot.bed_free - min(printer.free_from, slot.start))
                    if best is None or (-share, queue[-1].rank) < best[:2]:
                        best = -share, queue[-1].rank, times, slot
            if best is None:
                ready.remove(index)
                continue
            _, _, times, slot = best
            printer.reserve(slot)
            assignment[queues[times].pop().number] = Placed(index, slot)
            if not queues[times]:
                del queues[times]
    return assignment


def shifted_left(problem: SchedulingProblem, assignment: Assignment) -> Assignment:
    """Return the assignment with each run, by its start, in the earliest slot left on its printer."""
    tasks = {task.number: task for task in problem.tasks}
    printers = occupancies(problem)
    shifted: dict[int, Placed] = {}
    for number in sorted(assignment, key=lambda number: (assignment[number].slot.start, number)):
        index = assignment[number].printer
        task = tasks[number]
        slot = printers[index].slot(task.durations[index], problem.horizon, task.pauses_on(index))
        if slot is None:
            return assignment
        printers[index].reserve(slot)
        shifted[number] = Placed(index, slot)
    return shifted


def _with_attended(problem: SchedulingProblem, cut: Callable[[Hours], Hours]) -> SchedulingProblem:
    """Return the problem with less of the attended hours, for few visits."""
    start_times = {
        id(times): StartTimes(times.printing, cut(times.attended), times.handling)
        for times in (own.start_times for own in problem.printers)
    }
    printers = tuple(TimedPrinter(own.name, start_times[id(own.start_times)]) for own in problem.printers)
    return replace(problem, printers=printers)
