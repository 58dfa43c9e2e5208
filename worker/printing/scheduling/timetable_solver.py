"""The timetable solver: assignments of runs to slots by constraint programming, from a greedy one.

A run is an interval from its start to when its bed is free, and both moments lie in the hours that allow them. Printers
with equal hours and speeds form one pool, of which at most so many are in use at once: which of them prints a run is
settled afterwards. The solver runs on one thread under its own deterministic clock, so that the same problem gives the
same answer. Inside the model times are whole minutes from the problem's start.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from worker.printing.scheduling.finish_bound import finish_bound
from worker.printing.scheduling.goals import (
    VISIT,
    cost_of,
    finish_of,
    order_weights,
    visited_hours,
    visits_bound,
    visits_of,
)
from worker.printing.scheduling.greedy import shifted_left
from worker.printing.scheduling.occupancy import Slot
from worker.printing.scheduling.problem import NEVER, Assignment, Placed, SchedulingProblem, Task
from worker.printing.scheduling.week_hours import Span

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["Solved", "solve_timetable"]

_MINUTE: Final = 60
_DAY: Final = 86_400

#: Larger problems keep the greedy assignment: the solver improves none of them within its limits.
_MOST_TASKS: Final = 150
_MOST_VISIT_HOURS: Final = 400

#: Deterministic time of the solver for the goal's own measure, and for each further one; less where drawers are many
#: measures. With that, and without a measure for the finish, which is the last drawer's completion, the goal takes 0.75
#: of the CPU time for 60 runs on 4 printers, and the first drawer is complete as early (nine random cases). With
#: 0.4 for the first no timetable of eight ended earlier, and they took up to 2.0 instead of 1.7 s.
_FIRST_LIMIT: Final = 0.3
_NEXT_LIMIT: Final = 0.12
_NEXT_DRAWER_LIMIT: Final = 0.08

#: For drawers by priority: how many of them are minimised one after the other; all others together.
_MOST_DRAWERS: Final = 3

#: How much later than the greedy assignment a goal other than an early finish may end.
_ROOM: Final = 2 * _DAY


@dataclass(frozen=True, slots=True)
class Solved:
    """An assignment; a moment before which none ends; and whether none is better in what the goal counts first."""

    assignment: Assignment
    earliest_finish: int
    proven: bool


def solve_timetable(problem: SchedulingProblem, greedy: Assignment) -> Solved:
    """Return the better of a greedy assignment of all runs and the solver's.

    Args:
        problem: runs, printers and goal.
        greedy: the solver's first answer, of all runs of the problem.
    """
    bound = finish_bound(problem, finish_of(greedy))
    if not problem.tasks or (problem.goal == "finish" and finish_of(greedy) - bound < _MINUTE):
        return Solved(greedy, bound, proven=True)
    if len(problem.tasks) > _MOST_TASKS:
        return Solved(greedy, bound, proven=False)
    if problem.goal == "visits" and len(problem.printers) == 1:
        # one printer is visited about as often whatever the order: of 30 runs the earliest finish is 25 % sooner
        early = solve_timetable(replace(problem, goal="finish"), greedy).assignment
        greedy = min(early, greedy, key=partial(cost_of, problem))
        if visits_of(problem, greedy) == visits_bound(problem):
            return Solved(greedy, bound, proven=True)
    model = _Model(problem, greedy, bound)
    best = model.solved()
    if problem.goal in ("finish", "drawers"):
        best = shifted_left(problem, best)
    if cost_of(problem, greedy) < cost_of(problem, best):
        best = greedy
    if problem.goal == "finish":
        bound = max(bound, min(problem.since + model.bound * _MINUTE, finish_of(best)))
    return Solved(best, bound, model.proven or (problem.goal == "finish" and finish_of(best) - bound < _MINUTE))


@dataclass(slots=True)
class _Pool:
    """Printers with equal hours and speeds, and the intervals that may be theirs."""

    printers: list[int]
    intervals: list["cp_model.IntervalVar"] = field(default_factory=list)


class _Model:
    """The choice of slots as a constraint model."""

    def __init__(self, problem: SchedulingProblem, greedy: Assignment, bound: int) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - a third of a second, for those who need it only

        self.cp, self.problem = cp_model, problem
        self.model, self.solver = cp_model.CpModel(), cp_model.CpSolver()
        latest = finish_of(greedy) + (0 if problem.goal == "finish" else _ROOM)
        self.until = min(latest, problem.horizon)
        self.current: dict[int, Placed] = dict(greedy)
        self.proven, self.bound = False, 0
        handling = problem.printers[0].start_times.handling
        self.cool_down, self.change = handling.cool_down, handling.bed_change
        self.starts: dict[int, cp_model.IntVar] = {}
        self.frees: dict[int, cp_model.IntVar] = {}
        self.ends: dict[int, cp_model.IntVar] = {}
        self.pool_of: dict[tuple[int, int], cp_model.IntVar] = {}
        self.durations = {task.number: task.durations for task in problem.tasks}
        self.pools = self._pools()
        self.last = self._minutes_up(latest)
        changes = [own.start_times.bed_free(latest) or 0 for own in problem.printers]
        self.far = self._minutes_up(max(*changes, *(placed.slot.bed_free for placed in greedy.values())))
        self.visit_hours: list[tuple[int, cp_model.IntVar]] = []
        for task in problem.tasks:
            self._add(task)
        for pool in self.pools:
            if len(pool.printers) == 1:
                self.model.add_no_overlap(pool.intervals)
            else:
                self.model.add_cumulative(pool.intervals, [1] * len(pool.intervals), len(pool.printers))
        self._order_equal_runs()
        self.finish = self.model.new_int_var(self._minutes_down(bound), self.last, "")
        self.model.add_max_equality(self.finish, list(self.ends.values()))

    def solved(self) -> Assignment:
        """Minimise one measure after the other; return the last assignment."""
        limit = _FIRST_LIMIT
        for number, measure in enumerate(self._measures()):
            if number == 0 and self._is_least():
                self.proven = True
                self.model.add(measure <= visits_of(self.problem, self.current))
                continue
            self._hint()
            self.model.minimize(measure)
            parameters = self.solver.parameters
            parameters.num_workers = 1
            parameters.random_seed = 1
            parameters.interleave_search = (
                True  # neighbourhood search in turn with the tree: 17 % sooner on one of five
            )
            parameters.max_deterministic_time = limit
            limit = _NEXT_DRAWER_LIMIT if self.problem.goal == "drawers" else _NEXT_LIMIT
            status = self.solver.solve(self.model)
            if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
                break
            if number == 0:
                self.proven = status == self.cp.OPTIMAL
                self.bound = int(self.solver.best_objective_bound)
            self.current = self._read()
            self.model.add(measure <= round(self.solver.objective_value))
        return self.current

    def _is_least(self) -> bool:
        """Return whether the current assignment has the fewest visits, for the goal of few visits."""
        return self.problem.goal == "visits" and visits_of(self.problem, self.current) == visits_bound(self.problem)

    def _pools(self) -> list[_Pool]:
        by_key: dict[tuple[object, ...], list[int]] = defaultdict(list)
        for index, printer in enumerate(self.problem.printers):
            speed = tuple((task.durations[index], task.pauses_on(index)) for task in self.problem.tasks)
            by_key[id(printer.start_times), speed].append(index)
        return [_Pool(printers) for printers in by_key.values()]

    def _add(self, task: Task) -> None:
        """Add a run: an interval in each pool, one of which is present."""
        model, since = self.model, self.problem.since
        start = model.new_int_var(0, self.last, "")
        free = model.new_int_var(0, self.far, "")
        end = model.new_int_var(0, self.last, "")
        size = model.new_int_var(0, self.far, "")
        self.starts[task.number], self.frees[task.number], self.ends[task.number] = start, free, end
        literals = []
        for number, pool in enumerate(self.pools):
            printer, duration = pool.printers[0], task.durations[pool.printers[0]]
            if duration >= NEVER:
                self.pool_of[task.number, number] = model.new_constant(0)
                continue
            times = self.problem.printers[printer].start_times
            starts = self._domain(times.attended_start_spans(duration, since, self.until, task.pauses_on(printer)))
            frees = self._domain(times.change_spans(since, since + self.far * _MINUTE))
            literal = model.new_bool_var("") if len(self.pools) > 1 else model.new_constant(1)
            literals.append(literal)
            self.pool_of[task.number, number] = literal
            model.add_linear_expression_in_domain(start, starts).only_enforce_if(literal)
            model.add_linear_expression_in_domain(free, frees).only_enforce_if(literal)
            model.add(end == start + duration // _MINUTE).only_enforce_if(literal)
            least = -(-(duration + self.cool_down) // _MINUTE) + -(-self.change // _MINUTE)
            model.add(free >= start + least).only_enforce_if(literal)
            pool.intervals.append(model.new_optional_interval_var(start, size, free, literal, ""))
        model.add_exactly_one(literals)

    def _domain(self, spans: Sequence[Span]) -> "cp_model.Domain":
        since = self.problem.since
        minutes = [[-(-(first - since) // _MINUTE), (last - since) // _MINUTE] for first, last in spans]
        return self.cp.Domain.from_intervals([span for span in minutes if span[0] <= span[1]])

    def _minutes_up(self, moment: int) -> int:
        return -(-(moment - self.problem.since) // _MINUTE)

    def _minutes_down(self, moment: int) -> int:
        return (moment - self.problem.since) // _MINUTE

    def _order_equal_runs(self) -> None:
        """Have equal runs start in the order of printing: one of many equal assignments is enough."""
        equal: dict[tuple[object, ...], list[Task]] = defaultdict(list)
        for task in sorted(self.problem.tasks, key=lambda task: task.rank):
            equal[task.durations, task.pauses, task.drawers if self.problem.goal == "drawers" else None].append(task)
        for tasks in equal.values():
            slots = sorted((self.current[task.number] for task in tasks), key=lambda placed: placed.slot)
            self.current.update({task.number: placed for task, placed in zip(tasks, slots, strict=True)})
            for task, other in pairwise(tasks):
                self.model.add(self.starts[task.number] <= self.starts[other.number])

    def _measures(self) -> list["cp_model.LinearExprT"]:
        """Return what is minimised, in turn."""
        goal = self.problem.goal
        own: list[cp_model.LinearExprT] = []
        if goal == "drawers":
            own = self._completions()
        elif goal == "visits":
            own = self._visits()
        elif goal == "quiet_nights":
            own = self._nights()
        order = sum(weight * self.starts[number] for number, weight in order_weights(self.problem).items())
        if goal == "drawers" and all(task.drawers for task in self.problem.tasks):
            return [*own, order]
        return [*own, self.finish, order]

    def _completions(self) -> list["cp_model.LinearExprT"]:
        """Return the completion of the first drawers, and the sum of all others."""
        own: list[cp_model.LinearExprT] = []
        for name in self.problem.drawers:
            ends = [self.ends[task.number] for task in self.problem.tasks if name in task.drawers]
            if ends:
                complete = self.model.new_int_var(0, self.last, "")
                self.model.add_max_equality(complete, ends)
                own.append(complete)
        return own[:_MOST_DRAWERS] + ([sum(own[_MOST_DRAWERS:])] if own[_MOST_DRAWERS:] else [])

    def _visits(self) -> list["cp_model.LinearExprT"]:
        """Return the number of clock hours in which a run starts or a bed is cleared."""
        hours = self._hours_at_work()
        if len(hours) > _MOST_VISIT_HOURS:
            return []
        for hour in hours:
            span = [self._minutes_up(hour * VISIT), self._minutes_up((hour + 1) * VISIT) - 1]
            outside = self.cp.Domain.from_intervals([span]).complement()
            literal = self.model.new_bool_var("")
            self.visit_hours.append((hour, literal))
            for moment in (*self.starts.values(), *self.frees.values()):
                self.model.add_linear_expression_in_domain(moment, outside).only_enforce_if(~literal)
            for task, number, after in self._pauses():
                pause, present = self.starts[task.number] + after // _MINUTE, self.pool_of[task.number, number]
                self.model.add_linear_expression_in_domain(pause, outside).only_enforce_if([~literal, present])
        return [sum(literal for _, literal in self.visit_hours)]

    def _pauses(self) -> Iterator[tuple[Task, int, int]]:
        """Yield each pause: its run, the index of a pool that can print it, and the seconds from the start."""
        for task in self.problem.tasks:
            for number, pool in enumerate(self.pools):
                if task.durations[pool.printers[0]] < NEVER:
                    yield from ((task, number, after) for after, _ in task.pauses_on(pool.printers[0]))

    def _hours_at_work(self) -> list[int]:
        """Return the clock hours in which anything can start or be cleared."""
        until = self.problem.since + self.far * _MINUTE
        spans = [
            span
            for printer in self.problem.printers
            for start, end in printer.start_times.attended.after(self.problem.since)
            for span in [(max(start, self.problem.since), min(end, until))]
            if span[0] <= span[1]
        ]
        return sorted({hour for start, end in spans for hour in range(start // VISIT, end // VISIT + 1)})

    def _nights(self) -> list["cp_model.LinearExprT"]:
        """Return the number of quiet stretches with a printer at work."""
        used = []
        for first, last in self.problem.quiet.after(self.problem.since):
            if first >= self.problem.since + self.last * _MINUTE:
                break
            literal = self.model.new_bool_var("")
            used.append(literal)
            for task in self.problem.tasks:
                for number, pool in enumerate(self.pools):
                    duration = task.durations[pool.printers[0]]
                    if duration >= NEVER:
                        continue
                    span = [self._minutes_down(first - duration) + 1, self._minutes_up(last) - 1]
                    outside = self.cp.Domain.from_intervals([span]).complement()
                    present = self.pool_of[task.number, number]
                    self.model.add_linear_expression_in_domain(self.starts[task.number], outside).only_enforce_if(
                        [~literal, present]
                    )
        return [sum(used)] if used else []

    def _hint(self) -> None:
        """Hint the current assignment."""
        self.model.clear_hints()  # type: ignore[no-untyped-call] # the library leaves it untyped
        for number, placed in self.current.items():
            self.model.add_hint(self.starts[number], self._minutes_down(placed.slot.start))
            self.model.add_hint(self.frees[number], self._minutes_up(placed.slot.bed_free))
            durations = self.durations[number]
            for index, pool in enumerate(self.pools if len(self.pools) > 1 else ()):
                if durations[pool.printers[0]] >= NEVER:
                    continue
                self.model.add_hint(self.pool_of[number, index], placed.printer in pool.printers)
        visited = visited_hours(self.problem, self.current)
        for hour, literal in self.visit_hours:
            self.model.add_hint(literal, hour in visited)

    def _read(self) -> dict[int, Placed]:
        """Return the solver's assignment, its runs shared out among the printers of each pool."""
        tasks: Mapping[int, Task] = {task.number: task for task in self.problem.tasks}
        assignment: dict[int, Placed] = {}
        for index, pool in enumerate(self.pools):
            free = dict.fromkeys(pool.printers, 0)
            numbers = [number for number in tasks if self.solver.boolean_value(self.pool_of[number, index])]
            for number in sorted(numbers, key=lambda number: (self.solver.value(self.starts[number]), number)):
                start = self.solver.value(self.starts[number])
                printer = next(own for own, until in free.items() if until <= start)
                free[printer] = self.solver.value(self.frees[number])
                begin = self.problem.since + start * _MINUTE
                bed_free = self.problem.since + free[printer] * _MINUTE
                assignment[number] = Placed(printer, Slot(begin, begin + tasks[number].durations[printer], bed_free))
        return assignment
