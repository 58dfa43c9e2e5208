"""The calendar feed, read back by its library and by the raw rules (numbers of ../shared/reference: RFC 5545)."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from icalendar import Calendar

from worker.output.bundle.calendar_feed import write_feed
from worker.printing.scheduling.timetable import make_timetable
from worker.spec.manifest import RunEntry, RunPiece, ScheduleEntry
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule

_MADE = datetime(2026, 3, 1, 12, 0, 0, 250_000, tzinfo=UTC)
_NAME = "Werkbank; oben, links \\ ä🧰 " * 2


def _run(number, marks, grams=100.0, file=None):
    pieces = tuple(RunPiece(mark=mark, at=(0.0, 0.0), turn=0, drawer="top") for mark in marks)
    return RunEntry(
        number=number, material="PETG", colour="#FF8000", layer=0.2, line_width=0.44, pieces=pieces,
        seconds=7200.0 * number, grams=grams, file=file,
    )  # fmt: skip


_RUNS = (_run(1, ["C1", "C2"]), _run(2, ["F1", "F2", "F1"], 700.0, "run-02.3mf"), _run(3, ["T1"] * 40))


@pytest.fixture
def schedule():
    # the clocks change in the night of the second run
    rules = {"timezone": "Europe/Lisbon", "start": "2026-03-28T20:00", "printers": [{"name": "left, attic"}]}
    filament = Material(name="PETG", colour="#FF8000", left=(300.0,))
    return make_timetable(Schedule.model_validate(rules), _RUNS, [filament], _MADE)


def _feed(schedule, made=_MADE, name=_NAME):
    return write_feed(schedule, _RUNS, name=name, uid_base="job-7f", made=made)


def _lines(feed):
    """Return the content lines, unfolded before they are decoded (ical-2, ical-3)."""
    return feed.replace(b"\r\n ", b"").decode().split("\r\n")[:-1]


def test_lines_end_and_fold_as_they_must(schedule):
    feed = _feed(schedule)
    assert feed.endswith(b"END:VCALENDAR\r\n")
    assert feed.count(b"\r") == feed.count(b"\n") == feed.count(b"\r\n")  # ical-1
    for line in feed.split(b"\r\n"):
        assert len(line) <= 75  # ical-2
        line.decode()  # no fold inside a character (ical-3)


def test_required_properties_are_there_once_each(schedule):
    lines = _lines(_feed(schedule))
    names = [re.split("[:;]", line, maxsplit=1)[0] for line in lines]
    head = names[: names.index("BEGIN", 1)]
    for name in ("PRODID", "VERSION", "METHOD", "REFRESH-INTERVAL", "NAME"):  # ical-4
        assert head.count(name) == 1
    assert "VERSION:2.0" in lines  # ical-5
    assert "METHOD:PUBLISH" in lines
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H" in lines  # RFC 7986, section 5.7
    events = "\n".join(names).split("BEGIN\nSUMMARY")
    assert len(events) == 1 + len(_RUNS)
    for event in events[1:]:
        own = event.split("\n")
        for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "LAST-MODIFIED"):  # ical-6, ical-7
            assert own.count(name) == 1
        assert "DURATION" not in own  # ical-8
    assert all(re.fullmatch("DT(STAMP|START|END):[0-9]{8}T[0-9]{6}Z", line) for line in lines if line[:2] == "DT")  # 11


def test_text_is_escaped(schedule):
    lines = _lines(_feed(schedule))
    escaped = _NAME.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")  # ical-10
    assert f"NAME:{escaped}" in lines
    assert "LOCATION:left\\, attic" in lines


def test_its_library_reads_back_what_was_planned(schedule):
    calendar = Calendar.from_ical(_feed(schedule))
    events = calendar.walk("VEVENT")
    assert [(event.decoded("dtstart"), event.decoded("dtend")) for event in events] == [
        (step.begin, step.end) for step in schedule.steps
    ]
    assert [event.decoded("dtend") - event.decoded("dtstart") for event in events] == [
        timedelta(hours=hours) for hours in (2, 4, 6)
    ]
    assert len({event["uid"] for event in events}) == len(_RUNS)
    assert not [error for part in calendar.walk() for error in part.errors]


def test_an_event_says_what_somebody_at_the_printer_needs(schedule):
    first, second, third = (str(event["description"]) for event in Calendar.from_ical(_feed(schedule)).walk("VEVENT"))
    assert "Pieces: C1, C2" in first
    assert "Attend the printer until 20:15" in first
    assert "Pieces: 2 x F1, F2" in second
    assert "Filament: PETG #FF8000, 700 g; layer 0.2 mm" in second
    assert "File: run-02.3mf" in second
    assert "The spool runs out after about 200 g, at about " in second
    assert "Pieces: 40 x T1" in third
    for text in (first, second, third):
        assert "unattended" in text
        assert "manufacturer's instructions" in text
        assert "local regulations" in text


def test_an_alarm_at_the_begin_asks_for_somebody(schedule):
    for event in Calendar.from_ical(_feed(schedule)).walk("VEVENT"):
        (alarm,) = event.walk("VALARM")
        assert alarm["action"] == "DISPLAY"
        assert alarm.decoded("trigger") == timedelta(0)
        assert "Attend" in str(alarm["description"])


def test_a_later_feed_moves_an_event_and_does_not_double_it(schedule):
    later = make_timetable(Schedule(), _RUNS, [Material(name="PETG", colour="#FF8000")], _MADE + timedelta(days=60))
    old = Calendar.from_ical(_feed(schedule)).walk("VEVENT")
    new = Calendar.from_ical(_feed(later, _MADE + timedelta(seconds=1))).walk("VEVENT")
    assert [event["uid"] for event in old] == [event["uid"] for event in new]
    assert all(earlier["sequence"] < other["sequence"] for earlier, other in zip(old, new, strict=True))
    assert all(earlier.decoded("dtstamp") < other.decoded("dtstamp") for earlier, other in zip(old, new, strict=True))
    for year in (1999, 2200):
        (event, *_) = Calendar.from_ical(_feed(schedule, _MADE.replace(year=year))).walk("VEVENT")
        assert 0 <= event["sequence"] < 2**31  # a signed integer of 32 bits (section 3.3.8)


def test_the_same_timetable_is_the_same_bytes(schedule):
    assert _feed(schedule) == _feed(ScheduleEntry.model_validate_json(schedule.model_dump_json()))


def test_without_a_dated_run_it_is_an_empty_calendar():
    empty = ScheduleEntry(timezone="UTC", begin=None, finish=None, steps=())
    assert Calendar.from_ical(_feed(empty)).walk("VEVENT") == []
    assert _feed(empty).endswith(b"END:VCALENDAR\r\n")


def test_a_name_cannot_break_out_of_its_line(schedule):
    feed = _feed(schedule, name="a\r\nBEGIN:VEVENT\r\nUID:x\u2028\x85")
    assert feed.count(b"\r\nBEGIN:VEVENT\r\n") == len(_RUNS)
