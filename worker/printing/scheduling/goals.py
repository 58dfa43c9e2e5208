"""What an assignment of runs is worth for a goal: its costs, the least of which is best.

Times are whole Unix seconds.
"""

from collections.abc import Iterable
from typing import Final, TypeAlias

from worker.printing.scheduling.problem import Assignment, SchedulingProblem
from worker.printing.scheduling.week_hours import Hours

__all__ = [
    "VISIT",
    "Cost",
    "completions",
    "cost_of",
    "finish_of",
    "nights_of",
    "order_weights",
    "visited_hours",
    "visits_bound",
    "visits_of",
]

#: A visit: all beds cleared and runs started within one clock hour, s.
VISIT: Final = 3600

#: Costs in the order of their weight.
Cost: TypeAlias = tuple[int, ...]


def cost_of(problem: SchedulingProblem, assignment: Assignment) -> Cost:
    """Return the cost of an assignment for the problem's goal.

    Equal in the goal's own measure, the one that finishes earlier is better, then the one that keeps more of the order
    of printing: the floor first, then what is used often.
    """
    finish = finish_of(assignment)
    order = sum(
        weight * (assignment[number].slot.start - problem.since)
        for number, weight in order_weights(problem).items()
        if number in assignment
    )
    match problem.goal:
        case "drawers":
            return *completions(problem, assignment).values(), finish, order
        case "visits":
            return visits_of(problem, assignment), finish, order
        case "quiet_nights":
            return nights_of(assignment, problem.quiet), finish, order
        case _:
            return finish, order


def order_weights(problem: SchedulingProblem) -> dict[int, int]:
    """Return the weight of each run's start, in minutes of printing times places from the end of the order.

    Weights in proportion to the times keep the order without a preference for short runs (Smith's rule, 1956).
    """
    count = len(problem.tasks)
    places = {task.number: place for place, task in enumerate(sorted(problem.tasks, key=lambda task: task.rank))}
    return {task.number: (count - places[task.number]) * -(-min(task.durations) // 60) for task in problem.tasks}


def finish_of(assignment: Assignment) -> int:
    """Return the end of the last run; 0 without runs."""
    return max((placed.slot.end for placed in assignment.values()), default=0)


def completions(problem: SchedulingProblem, assignment: Assignment) -> dict[str, int]:
    """Return when the last run with a piece of each drawer ends, by the drawer's name; 0 for a drawer without runs."""
    ends = dict.fromkeys(problem.drawers, 0)
    for task in problem.tasks:
        for drawer in task.drawers if task.number in assignment else ():
            ends[drawer] = max(ends.get(drawer, 0), assignment[task.number].slot.end)
    return ends


def visits_of(problem: SchedulingProblem, assignment: Assignment) -> int:
    """Return the number of clock hours in which a run begins or pauses, or a bed is cleared."""
    return len(visited_hours(problem, assignment))


def visited_hours(problem: SchedulingProblem, assignment: Assignment) -> set[int]:
    """Return these hours, counted from the beginning of Unix time."""
    hours = {moment // VISIT for placed in assignment.values() for moment in _attended(placed.slot)}
    for task in problem.tasks if any(task.pauses for task in problem.tasks) else ():
        if (placed := assignment.get(task.number)) is not None:
            hours |= {(placed.slot.start + after) // VISIT for after, _ in task.pauses_on(placed.printer)}
    return hours


def visits_bound(problem: SchedulingProblem) -> int:
    """Return a number of visits of which no assignment has fewer.

    Where no run ends and is cleared within an hour, each printer begins at most one run in a visit, and the bed of the
    last run is cleared in another.
    """
    handling = problem.printers[0].start_times.handling
    brief = problem.shortest + handling.cool_down + handling.bed_change < VISIT
    if not problem.tasks or brief:
        return min(len(problem.tasks), 1)
    return -(-len(problem.tasks) // len(problem.printers)) + 1


def nights_of(assignment: Assignment, quiet: Hours) -> int:
    """Return the number of quiet stretches in which a printer prints."""
    nights = set()
    for placed in assignment.values():
        for start, end in quiet.after(placed.slot.start):
            if start >= placed.slot.end:
                break
            nights.add((start, end))
    return len(nights)


def _attended(slot: Iterable[int]) -> tuple[int, int]:
    start, _, bed_free = slot
    return start, bed_free
