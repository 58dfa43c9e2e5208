"""Printers by their recorded runs: how often they fail, how long they take, and what the timetable makes of it."""

from datetime import UTC, datetime, timedelta

import pytest

from worker.printing.progress.printer_history import histories_of, reliability_of
from worker.printing.progress.recorded_run import RecordedRun
from worker.printing.scheduling.reliability import Reliability
from worker.printing.scheduling.timetable import make_timetable
from worker.spec.manifest import RunEntry, RunPiece
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule

_NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def _run(number, hours):
    return RunEntry(
        number=number, material="PLA", colour=None, layer=0.2, line_width=0.44, seconds=hours * 3600.0, grams=10.0,
        pieces=(RunPiece(mark="T1", at=(0.0, 0.0), turn=0, drawer="top"),),
    )  # fmt: skip


def test_before_anything_is_recorded_one_run_in_twenty_fails():
    (history,) = histories_of([], ["left"])
    # mean and standard deviation of the beta distribution with 1 and 19: handbook formulas
    assert (history.runs, history.failed) == (0, 0)
    assert history.failure_rate == pytest.approx(1 / 20)
    assert history.failure_uncertainty == pytest.approx((1 * 19 / (20**2 * 21)) ** 0.5)
    assert (history.time.factor, history.time.uncertainty) == (1.0, 0.25)


def test_recorded_runs_count_for_their_printer_alone():
    bad = [RecordedRun("left", failed=True)] * 10
    good = [RecordedRun("right", failed=False, ratio=ratio) for ratio in (1.1, 1.2, 1.25)]
    left, right, other = histories_of([*bad, *good], ["left", "right", "other"])
    assert left.failure_rate == pytest.approx(11 / 30)
    assert right.failure_rate == pytest.approx(1 / 23)
    assert right.failure_uncertainty < other.failure_uncertainty
    assert right.time.factor == 1.2
    assert other.time.factor == 1.0
    reliability = reliability_of([left, right])
    assert reliability.time_factors == (("right", 1.2),)
    assert reliability.failure_rate == pytest.approx(left.failure_rate + left.failure_uncertainty, abs=1e-4)


def test_a_slow_printer_gets_longer_times_and_less_work():
    schedule = Schedule.model_validate({"printers": [{"name": "slow"}, {"name": "fast"}]})
    runs = [_run(number, 4) for number in range(1, 7)]
    table = make_timetable(schedule, runs, [Material()], _NOW, reliability=Reliability(0.1, 0.0, (("slow", 2.0),)))
    lengths = {step.printer: step.end - step.begin for step in table.steps}
    assert lengths == {"slow": timedelta(hours=8), "fast": timedelta(hours=4)}
    assert sum(step.printer == "slow" for step in table.steps) == 2
    assert table.late_finish > table.finish


def test_the_late_finish_repeats_runs_and_takes_longer():
    schedule = Schedule()
    runs = [_run(1, 2), _run(2, 4)]
    table = make_timetable(schedule, runs, [Material()], _NOW, reliability=Reliability(0.5, 0.5))
    # 3 and 6 h, half an hour between two runs, and one of them once more
    assert table.finish == _NOW + timedelta(hours=6.5)
    assert table.late_finish - _NOW in {timedelta(hours=13), timedelta(hours=16)}
    exact = make_timetable(schedule, runs, [Material()], _NOW, reliability=Reliability(0.0, 0.0))
    assert exact.late_finish == exact.finish
    assert make_timetable(schedule, runs, [Material()], _NOW).late_finish is None
