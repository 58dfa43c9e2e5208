"""Windows, zones, start forms: what is taken, and what is refused where."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.spec import load
from worker.spec.errors import SpecError
from worker.spec.printer.schedule import DAYS, Schedule

_NOW = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def _refused(minimal, schedule):
    with pytest.raises(SpecError) as caught:
        load({**minimal, "schedule": schedule})
    return [(error.pointer, error.limit) for error in caught.value.errors or (caught.value,)]


def test_all_has_a_default(minimal):
    schedule = load({**minimal, "schedule": {}}).schedule
    assert [printer.name for printer in schedule.printers] == ["printer"]
    assert (schedule.timezone, schedule.printing, schedule.attended, schedule.start) == ("UTC", (), (), None)
    assert load(minimal).schedule is None


def test_a_window_is_every_day_s_unless_days_are_said(minimal):
    schedule = {"printing": [{"start": "22:00", "end": "06:30"}, {"days": ["sat"], "start": "00:00", "end": "24:00"}]}
    every, saturday = load({**minimal, "schedule": schedule}).schedule.printing
    assert every.days == DAYS
    assert (saturday.days, saturday.end) == (("sat",), "24:00")


@pytest.mark.parametrize(
    "clock",
    ["24:01", "25:00", "7:30", "07:60", "0730", "07:30:00", "", "\u0660\u0667:\u0663\u0660", " 07:30", "07:30\n"],
)
def test_what_is_no_time_of_day_is_refused_where_it_stands(minimal, clock):
    window = {"start": clock, "end": "08:00"}
    ((pointer, _),) = _refused(minimal, {"attended": [{"start": "07:00", "end": "08:00"}, window]})
    assert pointer == "/schedule/attended/1/start"


@pytest.mark.parametrize("clock", [730, None, True, ["07:30"]])
def test_a_time_of_day_is_text(minimal, clock):
    ((pointer, _),) = _refused(minimal, {"printing": [{"start": "07:00", "end": clock}]})
    assert pointer == "/schedule/printing/0/end"


@pytest.mark.parametrize(
    "zone",
    [
        "Mars/Olympus",
        "",
        "../../etc/passwd",
        "/etc/localtime",
        "Europe",
        "Europe/Lisbon\x00",
        "a" * 65,
        "europe//lisbon",
    ],
)
def test_what_is_no_zone_is_refused(minimal, zone):
    ((pointer, _),) = _refused(minimal, {"timezone": zone})
    assert pointer == "/schedule/timezone"


@pytest.mark.parametrize(
    ("start", "zone", "moment"),
    [
        ("2026-03-01T18:00", "Europe/Lisbon", "2026-03-01T18:00+00:00"),
        ("2026-07-01T18:00", "Europe/Lisbon", "2026-07-01T17:00+00:00"),
        ("2026-07-01T18:00", "America/St_Johns", "2026-07-01T20:30+00:00"),
        ("2026-07-01T18:00+05:30", "Europe/Lisbon", "2026-07-01T12:30+00:00"),
        ("2026-07-01T18:00:30Z", "UTC", "2026-07-01T18:00:30+00:00"),
        # left out by the clocks: read with the offset before the change, so 02:30 as an hour later
        ("2026-03-29T01:30", "Europe/Lisbon", "2026-03-29T01:30+00:00"),
        # twice: the first
        ("2026-10-25T01:30", "Europe/Lisbon", "2026-10-25T00:30+00:00"),
    ],
)
def test_a_start_without_an_offset_is_by_the_zone(minimal, start, zone, moment):
    schedule = load({**minimal, "schedule": {"start": start, "timezone": zone}}).schedule
    assert schedule.beginning(_NOW).timestamp() == datetime.fromisoformat(moment).timestamp()


def test_without_a_start_now_counts(minimal):
    schedule = load({**minimal, "schedule": {"timezone": "America/St_Johns"}}).schedule
    assert schedule.beginning(_NOW) == _NOW
    assert schedule.beginning(_NOW).hour == 8


@pytest.mark.parametrize(
    "start",
    ["2026-03-01", "tomorrow", "2026-02-30T10:00", "2026-03-01 18:00", "2026-03-01T25:00", 1772388000, True, "T", "",
     "0001-01-01T00:00", "9999-12-31T23:59-12:00", "1999-12-31T23:59", "2200-01-01T00:00"],
)  # fmt: skip
def test_what_is_no_moment_to_print_is_refused(minimal, start):
    ((pointer, limit),) = _refused(minimal, {"start": start})
    assert pointer == "/schedule/start"
    assert limit


def test_two_printers_of_one_name_are_refused(minimal):
    printers = [{"name": "left"}, {"name": "right"}, {"name": "left"}]
    ((pointer, _),) = _refused(minimal, {"printers": printers})
    assert pointer == "/schedule/printers/2/name"


@pytest.mark.parametrize(
    ("schedule", "pointer"),
    [
        ({"printers": []}, "/schedule/printers"),
        ({"printing": [{"days": [], "start": "07:00", "end": "08:00"}]}, "/schedule/printing/0/days"),
        ({"printing": [{"days": ["monday"], "start": "07:00", "end": "08:00"}]}, "/schedule/printing/0/days/0"),
        ({"printing": [{"start": "07:00"}]}, "/schedule/printing/0/end"),
        ({"first_layer_minutes": -1}, "/schedule/first_layer_minutes"),
        ({"cool_down_minutes": 1441}, "/schedule/cool_down_minutes"),
        ({"bed_change_minutes": "10"}, "/schedule/bed_change_minutes"),
        ({"printers": [{"name": "left", "hours": []}]}, "/schedule/printers/0/hours"),
    ],
)
def test_other_faults_have_their_pointer(minimal, schedule, pointer):
    assert [at for at, _ in _refused(minimal, schedule)] == [pointer]


def test_all_faults_are_told_at_once(minimal):
    schedule = {"timezone": "Nowhere", "start": "soon", "printing": [{"start": "1", "end": "2"}]}
    assert {pointer for pointer, _ in _refused(minimal, schedule)} == {
        "/schedule/timezone",
        "/schedule/start",
        "/schedule/printing/0/start",
        "/schedule/printing/0/end",
    }


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=30) | st.datetimes().map(str) | st.datetimes(timezones=st.timezones()).map(datetime.isoformat))
def test_any_start_is_taken_or_refused_and_what_is_taken_can_be_reckoned_with(start):
    try:
        schedule = Schedule.model_validate({"start": start, "timezone": "Pacific/Apia"})
    except ValueError:
        return
    assert 946_000_000 < schedule.beginning(_NOW).timestamp() < 7_260_000_000
