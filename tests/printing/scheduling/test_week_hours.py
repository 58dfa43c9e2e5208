"""Windows as stretches of real time: joined, over midnight, over the changes of the clocks."""

from datetime import datetime, timedelta
from itertools import pairwise, takewhile
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.printing.scheduling.week_hours import Hours, week_of
from worker.spec.printer.schedule import DAYS, Window

_clocks = st.integers(0, 95).map(lambda quarter: f"{quarter // 4:02d}:{quarter % 4 * 15:02d}") | st.just("24:00")
_windows = st.lists(
    st.builds(
        lambda days, start, end: Window(days=tuple(days), start=start, end=end),
        st.lists(st.sampled_from(DAYS), min_size=1, max_size=4),
        _clocks,
        _clocks,
    ),
    min_size=1,
    max_size=5,
)


def _spans(windows, zone, since, days):
    """Return the stretches as the clock on the wall shows them."""
    begin = datetime.fromisoformat(since).replace(tzinfo=ZoneInfo(zone))
    since, until = int(begin.timestamp()), int((begin + timedelta(days=days)).timestamp())
    hours = Hours([Window.model_validate(window) for window in windows], ZoneInfo(zone), since, until + 30 * 86400)
    spans = takewhile(lambda span: span[0] < until, hours.after(since))
    return [(*(_wall(moment, zone) for moment in span), (span[1] - span[0]) / 3600) for span in spans]


def _wall(moment, zone):
    return datetime.fromtimestamp(moment, ZoneInfo(zone)).strftime("%a %d %H:%M")


def test_windows_that_touch_or_overlap_join_and_24_is_midnight():
    windows = [
        {"days": ["mon"], "start": "20:00", "end": "24:00"},
        {"days": ["tue"], "start": "00:00", "end": "03:00"},
        {"days": ["tue"], "start": "02:00", "end": "06:00"},
        {"days": ["tue"], "start": "07:00", "end": "08:00"},
    ]
    assert _spans(windows, "UTC", "2026-03-02T00:00", 7) == [
        ("Mon 02 20:00", "Tue 03 06:00", 10.0),
        ("Tue 03 07:00", "Tue 03 08:00", 1.0),
    ]


def test_a_window_over_midnight_belongs_to_the_day_on_which_it_begins_and_sunday_s_to_the_week_before():
    windows = [{"days": ["sun"], "start": "22:00", "end": "06:00"}, {"days": ["mon"], "start": "06:00", "end": "07:00"}]
    # asked on a Monday at three: the stretch began the evening before
    assert _spans(windows, "UTC", "2026-03-02T03:00", 6.5) == [("Sun 01 22:00", "Mon 02 07:00", 9.0)]


def test_the_same_start_and_end_is_a_whole_day():
    assert week_of([Window(days=("mon",), start="07:30", end="07:30")]) == ((450, 450 + 1440),)
    assert week_of([Window(days=("mon",), start="24:00", end="24:00")]) == ((1440, 2880),)


def test_a_window_from_midnight_to_the_same_midnight_is_never_open_and_no_other_is_hurt_by_it():
    nothing = {"days": ["mon"], "start": "24:00", "end": "00:00"}
    assert _spans([nothing], "UTC", "2026-03-02T00:00", 20) == []
    window = {"days": ["tue"], "start": "00:00", "end": "01:00"}
    assert _spans([nothing, window], "UTC", "2026-03-02T00:00", 7) == _spans([window], "UTC", "2026-03-02T00:00", 7)


def test_windows_that_fill_the_week_are_all_hours():
    assert week_of([Window(start="00:00", end="24:00")]) == ()
    assert week_of([Window(start="07:00", end="19:00"), Window(start="19:00", end="07:00")]) == ()
    hours = Hours((), ZoneInfo("UTC"), 1_000_000, 2_000_000)
    (span,) = hours.after(1_500_000)
    assert span[0] <= 1_000_000
    assert span[1] > 2_000_000


# The clocks change: Lisbon on 2026-03-29 at 01:00 and 2026-10-25 at 02:00, St John's on 2026-03-08 and 2026-11-01 at
# 02:00 (rules of the European Union and of Newfoundland, as in the IANA database).
@pytest.mark.parametrize(
    ("zone", "since", "start", "end", "expected"),
    [
        ("Europe/Lisbon", "2026-03-28T12:00", "22:00", "06:00", ("Sat 28 22:00", "Sun 29 06:00", 7.0)),
        ("Europe/Lisbon", "2026-10-24T12:00", "22:00", "06:00", ("Sat 24 22:00", "Sun 25 06:00", 9.0)),
        ("America/St_Johns", "2026-03-07T12:00", "22:00", "06:00", ("Sat 07 22:00", "Sun 08 06:00", 7.0)),
        ("America/St_Johns", "2026-10-31T12:00", "22:00", "06:00", ("Sat 31 22:00", "Sun 01 06:00", 9.0)),
        # an end that is left out is read with the offset before the change; one that comes twice is the first
        ("Europe/Lisbon", "2026-03-28T12:00", "22:00", "01:30", ("Sat 28 22:00", "Sun 29 02:30", 3.5)),
        ("Europe/Lisbon", "2026-10-24T12:00", "22:00", "01:30", ("Sat 24 22:00", "Sun 25 01:30", 3.5)),
        ("America/St_Johns", "2026-10-31T12:00", "01:15", "03:00", ("Sun 01 01:15", "Sun 01 03:00", 2.75)),
        # a whole day is 23 or 25 hours long
        ("America/St_Johns", "2026-03-07T12:00", "12:00", "12:00", ("Sat 07 12:00", "Sun 08 12:00", 23.0)),
    ],
)
def test_windows_go_by_the_wall_and_their_lengths_are_real(zone, since, start, end, expected):
    days = ["sun"] if expected[0].startswith("Sun") else ["sat"]
    assert _spans([{"days": days, "start": start, "end": end}], zone, since, 2) == [expected]


def test_a_window_inside_the_hour_that_is_left_out_does_no_harm():
    window = {"days": ["sun"], "start": "01:30", "end": "02:15"}
    assert _spans([window], "Europe/Lisbon", "2026-03-28T12:00", 9) == [("Sun 05 01:30", "Sun 05 02:15", 0.75)]


def _open(windows, here):
    """Return whether a window is open by the clock on the wall: by its own words, with no stretches."""
    minute = here.hour * 60 + here.minute
    for window in windows:
        start, end = (int(clock[:2]) * 60 + int(clock[3:]) for clock in (window.start, window.end))
        end += 0 if end > start else 1440
        for back in (0, 1, 2):  # a day on which it may have begun
            day = DAYS[(here.weekday() - back) % 7]
            if day in window.days and start <= minute + 1440 * back < end:
                return True
    return False


@settings(max_examples=60, deadline=None)
@given(_windows, st.sampled_from(["UTC", "Europe/Lisbon", "America/St_Johns", "Asia/Kolkata"]), st.integers(0, 350))
def test_minute_by_minute_the_stretches_are_what_the_windows_say(windows, zone, day):
    zone = ZoneInfo(zone)
    since = int(datetime(2026, 1, 1, 5, 0, tzinfo=zone).timestamp()) + day * 86400
    hours = Hours(windows, zone, since, since + 20 * 86400)
    spans = list(takewhile(lambda span: span[0] < since + 8 * 86400, hours.after(since)))
    assert all(span[1] < other[0] for span, other in pairwise(spans))
    for moment in range(since, since + 8 * 86400, 900):
        here = datetime.fromtimestamp(moment, zone)
        if here.hour in {1, 2} and here.month in {3, 10, 11}:
            continue  # the clocks may change: told apart above
        assert _open(windows, here) == any(start <= moment < end for start, end in spans)


@settings(max_examples=30, deadline=None)
@given(_windows, st.integers(0, 40 * 24 * 60))
def test_asked_later_or_in_another_order_the_stretches_are_the_same(windows, minutes):
    zone = ZoneInfo("Europe/Lisbon")
    since = int(datetime(2026, 3, 1, tzinfo=zone).timestamp())
    until = since + 60 * 86400
    moment = since + minutes * 60
    fresh = list(takewhile(lambda span: span[0] < until, Hours(windows, zone, since, until).after(moment)))
    used = Hours(windows, zone, since, until)
    every = list(takewhile(lambda span: span[0] < until, used.after(since)))
    assert fresh == [span for span in every if span[1] > moment]
    assert fresh == list(takewhile(lambda span: span[0] < until, used.after(moment)))


@settings(max_examples=60, deadline=None)
@given(_windows, _windows)
def test_stretches_without_others_are_what_only_the_first_have(windows, others):
    zone, since = ZoneInfo("Europe/Lisbon"), 1_774_000_000
    until = since + 20 * 86400
    own, other = (Hours(each, zone, since, until) for each in (windows, others))
    left = own.without(other)
    last = max(other.starts.tolist(), default=until)
    for moment in range(since, min(since + 9 * 86400, last), 900):
        inside = [any(start <= moment < end for start, end in hours.after(moment)) for hours in (own, other, left)]
        assert inside[2] == (inside[0] and not inside[1])


def test_the_first_and_last_hours_of_a_stretch_end_and_begin_on_clock_hours():
    window = Window.model_validate({"days": ["mon"], "start": "17:30", "end": "23:00"})
    hours = Hours([window], ZoneInfo("UTC"), 1_772_409_600, 1_772_409_600 + 86400)  # Monday 2026-03-02

    def walls(own):
        return [tuple(_wall(moment, "UTC") for moment in span) for span in own.after(1_772_409_600)][:2]

    assert walls(hours.first_hours())[0] == ("Mon 02 17:30", "Mon 02 18:00")
    assert walls(hours.outer_hours()) == [("Mon 02 17:30", "Mon 02 18:00"), ("Mon 02 22:00", "Mon 02 23:00")]
