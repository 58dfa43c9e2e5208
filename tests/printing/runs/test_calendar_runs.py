"""Runs as long as the calendar has room for: what fits, what is gained, and what stays."""

from collections import Counter
from datetime import UTC, datetime

import pytest

from tests.printing.runs.test_work_plan import drawer, estimated, job, tray
from worker.layout.planner import lay_out
from worker.printing.runs.calendar_runs import with_run_hours
from worker.printing.runs.work_plan import runs_of
from worker.printing.scheduling.timetable import make_timetable
from worker.spec.printer.material import Material

_NOW = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
_EVENINGS = {"printing": [{"start": "17:00", "end": "22:30"}], "wait_for_coupon": False}


def _planned(schedule, **printing):
    """Return a job whose full beds of trays take over six hours, its runs and their totals."""
    spec = job(drawer("top", tray("a", quantity=16)), printing=printing, schedule=schedule)
    plan = lay_out(spec)
    estimates = estimated(spec, plan, laying=2600.0, layers=1.0)
    short = {"seconds": 7200.0, "laying_seconds": 6900.0}
    tiles = {part.mark: estimates[part.mark].model_copy(update=short) for part in plan.parts if part.kind != "tray"}
    return spec, *runs_of(spec, plan, estimates | tiles)


def _pieces(runs):
    return Counter((piece.mark, piece.drawer) for run in runs for piece in run.pieces)


def test_runs_too_long_for_any_evening_are_divided_so_that_all_are_dated():
    _, long, whole = _planned(None)
    spec, runs, work = _planned(_EVENINGS)
    assert max(run.seconds for run in long) > 5.5 * 3600.0 >= max(run.seconds for run in runs)
    assert _pieces(runs) == _pieces(long)
    assert (work.calendar_run_hours, whole.calendar_run_hours) == (5.5, None)
    assert work.least_runs == whole.least_runs <= len(long) < len(runs)
    assert work.long_pieces == ()
    assert make_timetable(spec.calendar, long, (Material(),), _NOW).waiting
    table = make_timetable(spec.calendar, runs, (Material(),), _NOW)
    assert not table.waiting
    assert _planned(_EVENINGS)[1:] == (runs, work)


@pytest.mark.parametrize("schedule", [{}, {"attended": [{"start": "07:00", "end": "22:00"}]}])
def test_runs_stay_as_few_as_they_are_where_shorter_ones_gain_nothing(schedule):
    _, long, _ = _planned(None)
    _, runs, work = _planned(schedule)
    assert runs == long
    assert work.calendar_run_hours is None


def test_the_jobs_own_limit_holds_as_well():
    _, runs, work = _planned(_EVENINGS, max_run_hours=3)
    assert max(run.seconds for run in runs if len(run.pieces) > 1) <= 3.0 * 3600.0
    assert work.calendar_run_hours is None
    assert with_run_hours(job(drawer("top")), 2.5).printing.max_run_hours == 2.5
