"""The occupancy gives the same timetables as the plain one, which searches gap by gap and stretch by stretch."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.printing.scheduling.occupancy_oracle import PlainOccupancy
from worker.printing.scheduling import greedy
from worker.printing.scheduling.occupancy import Occupancy
from worker.printing.scheduling.timetable import problem_of
from worker.spec.manifest import PauseEntry, RunEntry, RunLettering, RunPiece
from worker.spec.printer.schedule import DAYS, Schedule

_clocks = st.integers(0, 96).map(lambda quarter: f"{quarter // 4:02d}:{quarter % 4 * 15:02d}")
_sets = st.lists(
    st.fixed_dictionaries(
        {"start": _clocks, "end": _clocks}, optional={"days": st.lists(st.sampled_from(DAYS), min_size=1, max_size=5)}
    ),
    max_size=5,
)
_printers = st.lists(st.fixed_dictionaries({}, optional={"printing": _sets, "attended": _sets}), min_size=1, max_size=4)
_schedules = st.fixed_dictionaries(
    {
        "timezone": st.sampled_from(["UTC", "Europe/Lisbon", "America/St_Johns", "Australia/Lord_Howe"]),
        "printing": _sets,
        "attended": _sets,
        "printers": _printers.map(
            lambda printers: [{"name": f"p{index}", **hours} for index, hours in enumerate(printers)]
        ),
        "first_layer_minutes": st.sampled_from([0, 0.5, 15, 40, 300]),
        "cool_down_minutes": st.sampled_from([0, 20, 700]),
        "bed_change_minutes": st.sampled_from([0, 10, 70, 1440]),
    }
)
#: Seconds: some short, some that few windows take, some longer than a week.
_seconds = st.integers(1, 4 * 3600) | st.integers(1, 90_000) | st.sampled_from([600.5, 86_400.0, 700_000.0])
_runs = st.lists(st.tuples(st.sampled_from("FFTTTTC"), _seconds | st.none()), max_size=30)
_moments = st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1)).map(lambda moment: moment.replace(tzinfo=UTC))  # noqa: DTZ001


def _run(number, letter, seconds):
    """Return a run; every third one pauses after a third of its time, every fourth one after two thirds, too."""
    parts = [part / 3.0 for part, every in ((1, 3), (2, 4)) if number % every == 0 and seconds is not None]
    pauses = [PauseEntry(height=1.0, layers=5, material="PLA", colour=None, seconds=part * seconds) for part in parts]
    lettering = RunLettering(
        material="PLA", colour=None, method="pauses", changes=1, grams=1.0, waste=1.0, seconds=300.0, pauses=pauses
    )
    piece = RunPiece(mark=f"{letter}1", at=(0.0, 0.0), turn=0, drawer="top")
    return RunEntry(
        number=number, material="PLA", colour=None, layer=0.2, line_width=0.44, pieces=(piece,), seconds=seconds,
        grams=None if seconds is None else 10.0, lettering=lettering if pauses else None,
    )  # fmt: skip


def _assignment(schedule, runs, now, occupancy):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(greedy, "Occupancy", occupancy)
        return greedy.greedy_assignment(problem_of(schedule, runs, now))


@settings(max_examples=250)
@given(_schedules, _runs, _moments)
def test_the_timetable_is_that_of_the_plain_occupancy(rules, runs, now):
    schedule = Schedule.model_validate(rules)
    runs = [_run(number, letter, seconds) for number, (letter, seconds) in enumerate(runs, 1)]
    assert _assignment(schedule, runs, now, Occupancy) == _assignment(schedule, runs, now, PlainOccupancy)


def test_a_year_that_fills_up_ends_as_with_the_plain_occupancy():
    weekly = [{"days": ["mon"], "start": "08:00", "end": "20:00"}, {"days": ["thu"], "start": "06:00", "end": "11:00"}]
    schedule = Schedule.model_validate({"timezone": "Europe/Lisbon", "printing": weekly})
    runs = [_run(number, "T", 3600.0 * (1 + number % 11)) for number in range(1, 150)]
    now = datetime(2026, 1, 1, tzinfo=UTC)
    assignment = _assignment(schedule, runs, now, Occupancy)
    assert len(assignment) < len(runs)
    assert assignment == _assignment(schedule, runs, now, PlainOccupancy)
