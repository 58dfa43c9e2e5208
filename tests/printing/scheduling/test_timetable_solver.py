"""The solver's timetables against exhaustive search, and what each goal gives."""

import random
from datetime import UTC, datetime

import pytest

from tests.printing.scheduling.exhaustive import every_assignment
from worker.printing.scheduling.finish_bound import finish_bound
from worker.printing.scheduling.goals import completions, cost_of, finish_of, nights_of, visits_bound, visits_of
from worker.printing.scheduling.greedy import greedy_assignment
from worker.printing.scheduling.timetable import make_timetable, problem_of
from worker.printing.scheduling.timetable_solver import solve_timetable
from worker.spec.manifest import RunEntry, RunPiece
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule

_NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)  # a Monday
_EVENINGS = [
    {"days": ["mon", "tue", "wed", "thu", "fri"], "start": "17:30", "end": "23:00"},
    {"days": ["sat", "sun"], "start": "09:00", "end": "20:00"},
]


def _run(number, hours, drawer="top", mark="T1"):
    return RunEntry(
        number=number, material="PLA", colour=None, layer=0.2, line_width=0.44, seconds=hours * 3600.0, grams=10.0,
        pieces=(RunPiece(mark=mark, at=(0.0, 0.0), turn=0, drawer=drawer),),
    )  # fmt: skip


def _schedule(printers, **fields):
    return Schedule.model_validate({"printers": [{"name": f"p{number}"} for number in range(printers)], **fields})


def _problem(schedule, runs):
    return problem_of(schedule, runs, _NOW)


def _random_case(seed):
    """Return up to five runs on one or two printers, with hours that leave gaps."""
    random_ = random.Random(seed)
    runs = [
        _run(number, random_.choice([0.5, 1.5, 2.75, 4, 7, 9, 13]), random_.choice(["top", "low"]))
        for number in range(1, random_.randint(3, 5) + 1)
    ]
    hours = random_.choice(
        [
            {"attended": _EVENINGS},
            {"attended": [{"start": "07:00", "end": "08:30"}, {"start": "18:00", "end": "22:00"}]},
            {"printing": [{"start": "06:00", "end": "22:00"}], "attended": _EVENINGS},
            {
                "attended": [{"start": "10:00", "end": "16:00"}],
                "printers": [{"name": "a"}, {"name": "b", "attended": []}],
            },
        ]
    )
    return {"printers": [{"name": f"p{number}"} for number in range(random_.randint(1, 2))], **hours}, runs


@pytest.mark.parametrize("hours", [[1.0], [2.0, 5.0, 3.5], [0.5] * 6])
def test_of_one_printer_that_is_always_attended_the_bound_is_the_finish(hours):
    """All runs one after the other, with cooling and clearing between any two."""
    schedule = _schedule(1, cool_down_minutes=20, bed_change_minutes=10)
    problem = _problem(schedule, [_run(number, own) for number, own in enumerate(hours, start=1)])
    end = problem.since + int(3600 * sum(hours)) + 1800 * (len(hours) - 1)
    greedy = finish_of(greedy_assignment(problem))
    assert greedy == pytest.approx(end, abs=60)
    assert finish_bound(problem, greedy) == pytest.approx(end, abs=60 * (len(hours) + 1))


@pytest.mark.parametrize(("hours", "count"), [(1.5, 4), (3.0, 4), (1.5, 6)])
def test_of_runs_longer_than_somebody_is_there_one_begins_a_day(hours, count):
    """Somebody is there from 8 to 9, so the last run begins as many days after the first as there are others."""
    schedule = _schedule(1, cool_down_minutes=20, bed_change_minutes=10, attended=[{"start": "08:00", "end": "09:00"}])
    problem = _problem(schedule, [_run(number, hours) for number in range(1, count + 1)])
    days = (count - 1) * 86_400
    greedy = finish_of(greedy_assignment(problem))
    assert days <= greedy - problem.since <= days + 3600 * (hours + 1.0)
    assert days - 60 <= finish_bound(problem, greedy) - problem.since <= greedy - problem.since


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("goal", ["finish", "drawers"])
def test_a_few_runs_are_dated_as_well_as_by_exhaustive_search(seed, goal):
    rules, runs = _random_case(seed)
    problem = _problem(Schedule.model_validate(rules | {"goal": goal, "priority": ["low"]}), runs)
    every = [assignment for assignment in every_assignment(problem) if len(assignment) == len(problem.tasks)]
    solved = solve_timetable(problem, greedy_assignment(problem))
    if goal == "finish":
        best = min(map(finish_of, every))
        assert finish_of(solved.assignment) == best
        assert solved.proven
        assert best - solved.earliest_finish < 60
    else:
        assert list(completions(problem, solved.assignment).values()) == min(
            list(completions(problem, assignment).values()) for assignment in every
        )
    best = min(map(finish_of, every))
    for finish in (finish_of(greedy_assignment(problem)), max(map(finish_of, every)), problem.horizon):
        assert finish_bound(problem, finish) <= best


@pytest.mark.parametrize("seed", range(3))
def test_the_solver_never_does_worse_than_the_greedy_assignment(seed):
    rules, runs = _random_case(seed)
    more = [_run(number, (number * 7 % 11) + 0.5, f"d{number % 3}") for number in range(10, 22)]
    for goal in ("finish", "drawers", "visits", "quiet_nights"):
        problem = _problem(Schedule.model_validate(rules | {"goal": goal}), [*runs, *more])
        greedy = greedy_assignment(problem)
        solved = solve_timetable(problem, greedy)
        assert cost_of(problem, solved.assignment) <= cost_of(problem, greedy)
        if goal == "drawers":
            assert solved == solve_timetable(problem, greedy)
        assert solved.earliest_finish <= finish_of(solved.assignment)
        if goal == "visits":
            assert visits_bound(problem) <= visits_of(problem, solved.assignment)


def test_nights_go_to_the_runs_that_fill_them():
    # in printing order the short runs take the nights, and the long ones wait for the evenings after
    runs = [_run(number, hours) for number, hours in enumerate([2, 2, 2, 9, 9, 9], start=1)]
    table = make_timetable(_schedule(1, attended=[{"start": "18:00", "end": "23:00"}]), runs, [Material()], _NOW)
    long = {step.run: step for step in table.steps if step.run > 3}
    assert all(step.end.day == step.begin.day + 1 for step in long.values())
    # each evening ten minutes to clear the bed, a run of two hours, half an hour, then one of nine overnight
    assert table.finish == datetime(2026, 3, 5, 5, 40, tzinfo=UTC)
    assert table.proven


def test_drawers_are_completed_by_priority():
    runs = [_run(1, 5, "a"), _run(2, 5, "b"), _run(3, 5, "c")]
    plain = make_timetable(_schedule(1, goal="drawers"), runs, [Material()], _NOW)
    assert [entry.drawer for entry in plain.drawers] == ["a", "b", "c"]
    first = make_timetable(_schedule(1, goal="drawers", priority=["c", "unknown"]), runs, [Material()], _NOW)
    assert [step.run for step in first.steps] == [3, 1, 2]
    assert [entry.drawer for entry in first.drawers] == ["c", "a", "b"]
    assert first.drawers[0].complete == datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


def test_few_visits_start_printers_together():
    runs = [_run(number, 3 + number % 2) for number in range(1, 9)]
    rules = {"attended": [{"start": "08:00", "end": "22:00"}]}
    soon = make_timetable(_schedule(2, **rules), runs, [Material()], _NOW)
    few = make_timetable(_schedule(2, goal="visits", **rules), runs, [Material()], _NOW)
    # four runs on each printer: four visits to start them, and one to clear the last
    assert few.visits == 5
    assert few.proven
    assert soon.visits > few.visits
    assert soon.finish <= few.finish


def test_nights_are_quiet_but_for_runs_that_no_day_holds():
    runs = [_run(1, 20), _run(2, 4), _run(3, 14), _run(4, 6)]
    table = make_timetable(_schedule(1, goal="quiet_nights"), runs, [Material()], _NOW)
    # only the run of 20 hours cannot lie between 07:00 and 22:00
    assert table.nights == 1
    assert all(
        step.begin.hour >= 7 and (step.end.hour, step.end.minute) <= (22, 0) for step in table.steps if step.run != 1
    )
    assert make_timetable(_schedule(1), runs, [Material()], _NOW).nights > 1


def test_own_quiet_hours_are_kept():
    rules = {"quiet": [{"start": "12:00", "end": "15:00"}], "goal": "quiet_nights"}
    table = make_timetable(_schedule(1, **rules), [_run(1, 5)], [Material()], _NOW)
    assert table.begin == datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
    assert table.nights == 0


def test_printers_with_hours_of_their_own_are_no_pool():
    printers = [{"name": "night"}, {"name": "day", "printing": [{"start": "08:00", "end": "20:00"}]}]
    runs = [_run(number, hours) for number, hours in enumerate([11, 11, 11, 6, 6], start=1)]
    schedule = Schedule.model_validate({"printers": printers, "attended": [{"start": "08:00", "end": "20:00"}]})
    problem = _problem(schedule, runs)
    best = min(finish_of(each) for each in every_assignment(problem) if len(each) == len(runs))
    table = make_timetable(schedule, runs, [Material()], _NOW)
    assert table.finish.timestamp() == best
    assert all(step.end.hour <= 20 and step.begin.hour >= 8 for step in table.steps if step.printer == "day")


def test_of_very_many_runs_the_greedy_assignment_is_kept():
    runs = [_run(number, 1 + number % 5) for number in range(1, 200)]
    table = make_timetable(_schedule(3, attended=_EVENINGS), runs, [Material()], _NOW)
    assert len(table.steps) == len(runs)
    assert table.earliest_finish < table.finish
    assert not table.proven


def test_quiet_spells_are_counted_once_for_all_printers():
    problem = _problem(_schedule(2), [_run(1, 20), _run(2, 20)])
    assert nights_of(greedy_assignment(problem), problem.quiet) == 1
