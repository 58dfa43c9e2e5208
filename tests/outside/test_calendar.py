"""Hours and feeds against readers and reckoners that are not ours."""

from datetime import datetime, timedelta
from itertools import takewhile
from zoneinfo import ZoneInfo

import pytest
from dateutil import rrule
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.printing.scheduling.timetable import make_timetable
from worker.printing.scheduling.week_hours import Hours
from worker.spec.manifest import RunEntry, RunPiece
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import DAYS, Schedule, Window

pytestmark = pytest.mark.outside

_quarters = st.integers(0, 95)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.sampled_from(DAYS), min_size=1, max_size=7, unique=True),
    _quarters,
    _quarters,
    st.sampled_from(["Europe/Lisbon", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"]),
    st.datetimes(datetime(2024, 1, 1), datetime(2029, 1, 1)),  # noqa: DTZ001 - hypothesis takes them without a zone
)
def test_a_window_comes_again_as_a_recurrence_rule_says(days, start, end, zone, since):
    # Oracle: dateutil's WEEKLY rules (RFC 5545, section 3.3.10) on the wall, zoneinfo for the offset of both ends.
    window = Window(
        days=tuple(days), start=f"{start // 4:02d}:{start % 4 * 15:02d}", end=f"{end // 4:02d}:{end % 4 * 15:02d}"
    )
    zone, since = ZoneInfo(zone), since.replace(hour=0, minute=0, second=0, microsecond=0)
    rule = rrule.rrule(
        rrule.WEEKLY,
        dtstart=since - timedelta(days=14),
        byweekday=[getattr(rrule, day[:2].upper()) for day in days],
        byhour=start // 4,
        byminute=start % 4 * 15,
        bysecond=0,
    )
    length = timedelta(minutes=15 * (end - start) if end > start else 15 * (end - start) + 1440)
    expected = []
    for begin in rule.between(since - timedelta(days=8), since + timedelta(days=40)):
        stretch = [int(moment.replace(tzinfo=zone).timestamp()) for moment in (begin, begin + length)]
        if expected and stretch[0] <= expected[-1][1]:
            expected[-1][1] = max(expected[-1][1], stretch[1])
        elif stretch[1] > stretch[0]:
            expected.append(stretch)
    first = int(since.replace(tzinfo=zone).timestamp())
    last = first + 30 * 86400
    spans = list(takewhile(lambda span: span[0] < last, Hours([window], zone, first, last + 30 * 86400).after(first)))
    if len(spans) == 1 and spans[0][1] - first > 30 * 86400:
        assert len(days) == 7  # a day's length on every day: no gap
        assert start == end
    else:
        assert spans == [tuple(span) for span in expected if span[1] > first and span[0] < last]


def test_a_worked_example_by_hand():
    # Common practice, reckoned by hand: printing 07:00-23:00, somebody there on weekdays 07:00-08:00 and 18:00-22:00
    # and at weekends 09:00-21:00; one printer; a coupon of 1 h, tiles of 9 h, two trays of 3 h. Friday 2026-03-27,
    # 18:00, in Lisbon, where the clocks go forward on Sunday at 01:00.
    schedule = Schedule.model_validate(
        {
            "timezone": "Europe/Lisbon",
            "start": "2026-03-27T18:00",
            "printing": [{"start": "07:00", "end": "23:00"}],
            "attended": [
                {"days": ["mon", "tue", "wed", "thu", "fri"], "start": "07:00", "end": "08:00"},
                {"days": ["mon", "tue", "wed", "thu", "fri"], "start": "18:00", "end": "22:00"},
                {"days": ["sat", "sun"], "start": "09:00", "end": "21:00"},
            ],
        }
    )
    runs = [_run(1, "C1", 1), _run(2, "F1", 9), _run(3, "T1", 3), _run(4, "T2", 3)]
    table = make_timetable(schedule, runs, [Material()], datetime(2026, 1, 1, tzinfo=ZoneInfo("UTC")))
    assert [
        (step.run, step.begin.isoformat(), step.end.isoformat(), step.free.isoformat()) for step in table.steps
    ] == [
        # 19:00 plus 20 minutes of cooling plus 10 to clear the bed
        (1, "2026-03-27T18:00:00+00:00", "2026-03-27T19:00:00+00:00", "2026-03-27T19:30:00+00:00"),
        # a tray of 3 h ends before 23:00, when nobody is there: the bed is cleared on Saturday from nine
        (3, "2026-03-27T19:30:00+00:00", "2026-03-27T22:30:00+00:00", "2026-03-28T09:10:00+00:00"),
        (2, "2026-03-28T09:10:00+00:00", "2026-03-28T18:10:00+00:00", "2026-03-28T18:40:00+00:00"),
        # ends at 21:40: cleared on Sunday from nine, summer time
        (4, "2026-03-28T18:40:00+00:00", "2026-03-28T21:40:00+00:00", "2026-03-29T09:10:00+01:00"),
    ]
    assert table.finish.isoformat() == "2026-03-28T21:40:00+00:00"


def _run(number, mark, hours):
    piece = RunPiece(mark=mark, at=(0.0, 0.0), turn=0, drawer=None)
    return RunEntry(
        number=number, material="PLA", colour=None, layer=0.2, line_width=0.44, pieces=(piece,), seconds=hours * 3600.0
    )
