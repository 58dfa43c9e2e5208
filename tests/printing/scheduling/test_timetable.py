"""Which run is printed when: by rules that hold for every timetable, and by cases."""

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import ceil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.printing.scheduling.spools import purchases
from worker.printing.scheduling.timetable import make_timetable
from worker.spec.manifest import PauseEntry, RunEntry, RunLettering, RunPiece
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import DAYS, Schedule

_NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)  # a Monday
_PLA = Material()
_DAYTIME = [{"start": "08:00", "end": "20:00"}]


def _run(number, hours, mark="T1", *, grams=100.0, material="PLA", colour=None, pause=None):
    """Return a run; ``pause`` is the part of its time after which it pauses for a change of filament."""
    pauses = () if pause is None else (
        PauseEntry(height=2.6, layers=13, material="PLA", colour=None, seconds=pause * hours * 3600.0),
    )  # fmt: skip
    return RunEntry(
        number=number,
        material=material,
        colour=colour,
        layer=0.2,
        line_width=0.44,
        pieces=(RunPiece(mark=mark, at=(0.0, 0.0), turn=0, drawer="top"),),
        seconds=None if hours is None else hours * 3600.0,
        grams=None if hours is None else grams,
        lettering=RunLettering(material="PLA", colour=None, method="pauses", changes=1, grams=1.0, waste=1.0,
                               seconds=300.0, pauses=pauses) if pauses else None,
    )  # fmt: skip


def _runs(*hours, mark="T1"):
    return [_run(number, each, mark) for number, each in enumerate(hours, start=1)]


def _table(runs, materials=(_PLA,), now=_NOW, **schedule):
    return make_timetable(Schedule.model_validate(schedule), runs, materials, now)


def _when(table):
    return {step.run: f"{step.printer} {step.begin:%a %H:%M}-{step.end:%a %H:%M}" for step in table.steps}


def test_with_no_hours_said_runs_follow_each_other_with_cooling_and_clearing_between():
    table = _table(_runs(2, 3))
    assert _when(table) == {1: "printer Mon 08:00-Mon 10:00", 2: "printer Mon 10:30-Mon 13:30"}
    assert table.steps[0].attended_until - table.steps[0].begin == timedelta(minutes=15)
    assert table.steps[1].free == datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
    assert (table.begin, table.finish) == (table.steps[0].begin, table.steps[1].end)


def test_an_empty_job_has_an_empty_timetable():
    table = _table([])
    assert (table.begin, table.finish, table.steps, table.waiting) == (None, None, (), ())
    assert purchases([], [_PLA]) == ()


def test_a_run_begins_on_a_whole_minute_and_not_before_now():
    now = _NOW.replace(second=1, microsecond=5)
    assert _table(_runs(1), now=now).begin == _NOW + timedelta(minutes=1)
    assert _table(_runs(1), now=now, start="2026-03-01T10:00").begin == _NOW + timedelta(minutes=1)
    assert _table(_runs(1), now=now, start="2026-03-03T10:00", timezone="Europe/Berlin").begin.hour == 10


def test_everything_waits_until_the_coupon_is_off_its_bed():
    runs = [_run(1, 1, "C1"), _run(2, 4, "F1"), _run(3, 2), _run(4, 2)]
    table = _table(runs, printers=[{"name": "left"}, {"name": "right"}])
    assert _when(table)[1] == "left Mon 08:00-Mon 09:00"
    assert min(step.begin for step in table.steps[1:]) == table.steps[0].free


def test_without_a_time_for_the_coupon_the_rest_waits_with_it():
    table = _table([_run(1, 20, "C1"), _run(2, 1, "F1"), _run(3, 1)], printing=_DAYTIME)
    assert table.steps == ()
    assert [undated.run for undated in table.waiting] == [1, 2, 3]
    assert "20.00 hours" in table.waiting[0].reason
    assert "12.00" in table.waiting[0].reason
    assert "printing.max_run_hours" in table.waiting[0].reason
    assert "waits for run 1" in table.waiting[2].reason


def test_runs_are_done_in_the_order_that_leaves_fewest_undated():
    weekly = [{"days": ["mon"], "start": "08:00", "end": "20:00"}]
    short, long = [4] * 53, [7] * 53
    table = _table(_runs(*short, *long, mark="F1"), printing=weekly)
    # as given, two short runs fill each of 26 Mondays, and 26 long ones find none; longest first, each has its own
    assert not table.waiting
    assert len(table.steps) == 106


def test_a_tray_may_be_printed_before_the_floor_where_that_saves_time():
    # a day holds one run of the floor and the tray, so the tray waits for no second run of the floor
    runs = [_run(1, 8, "F1"), _run(2, 8, "F2"), _run(3, 2)]
    assert _when(_table(runs, printing=_DAYTIME)) == {
        1: "printer Mon 08:00-Mon 16:00",
        3: "printer Mon 16:30-Mon 18:30",
        2: "printer Tue 08:00-Tue 16:00",
    }


def test_a_bed_is_cleared_when_somebody_is_there():
    attended = [{"start": "18:00", "end": "22:00"}]
    table = _table(_runs(6, 6), attended=attended)
    first, second = table.steps
    assert (first.begin.hour, first.end.day) == (18, 3)
    assert first.free == datetime(2026, 3, 3, 18, 10, tzinfo=UTC)
    assert second.begin == first.free


def test_the_first_layer_is_seen_down_and_a_short_run_to_its_end():
    attended = [{"start": "08:00", "end": "08:20"}, {"start": "12:00", "end": "12:31"}]
    table = _table(_runs(1, 0.1), attended=attended, first_layer_minutes=30, bed_change_minutes=0)
    assert _when(table) == {1: "printer Mon 12:00-Mon 13:00", 2: "printer Mon 08:00-Mon 08:06"}
    assert table.steps[0].attended_until == table.steps[0].end


def test_with_no_first_layer_to_watch_somebody_is_there_at_the_begin_all_the_same():
    table = _table(_runs(1), now=_NOW, attended=[{"start": "07:00", "end": "08:00"}], first_layer_minutes=0)
    assert table.begin == _NOW.replace(day=3, hour=7)


def test_printers_have_hours_of_their_own():
    printers = [{"name": "quiet"}, {"name": "loud", "printing": [{"start": "09:00", "end": "12:00"}], "attended": []}]
    table = _table(_runs(4, 3), printers=printers, attended=[{"start": "10:00", "end": "20:00"}])
    assert _when(table) == {1: "quiet Mon 10:00-Mon 14:00", 2: "loud Mon 09:00-Mon 12:00"}


@pytest.mark.parametrize(
    ("hours", "schedule", "words"),
    [
        (None, {}, "print time is unknown"),
        (
            13,
            {"printing": _DAYTIME},
            "13.00 hours, but the longest stretch of printing hours with an attended start is 12.00",
        ),
        (
            3,
            {"printing": _DAYTIME, "attended": [{"start": "20:00", "end": "23:00"}]},
            "never overlap long enough to watch the first layer",
        ),
        (1, {"attended": _DAYTIME, "bed_change_minutes": 800}, "800 minutes of a bed change"),
        (
            0.2,
            {"printing": [{"start": "08:00", "end": "08:10"}], "first_layer_minutes": 1},
            "0.16 hours. Widen the printing or attended hours",
        ),
    ],
)
def test_a_run_with_no_time_says_why(hours, schedule, words):
    table = _table([_run(1, hours), _run(2, 0.1)], **schedule)
    assert words in {undated.run: undated.reason for undated in table.waiting}[1]


def test_what_lies_beyond_a_year_waits():
    weekly = [{"days": ["mon"], "start": "08:00", "end": "20:00"}]
    table = _table(_runs(*[11] * 60), printing=weekly)
    assert len(table.steps) == 53
    assert "within 365 days" in table.waiting[0].reason


# Lisbon changes its clocks on 2026-03-29 and 2026-10-25, St John's on 2026-03-08 and 2026-11-01.
@pytest.mark.parametrize(
    ("zone", "start", "night"),
    [
        ("Europe/Lisbon", "2026-03-28T22:00", 7),
        ("Europe/Lisbon", "2026-10-24T22:00", 9),
        ("America/St_Johns", "2026-03-07T22:00", 7),
        ("America/St_Johns", "2026-10-31T22:00", 9),
    ],
)
def test_the_night_of_the_change_is_as_long_as_it_is(zone, start, night):
    rules = {
        "timezone": zone,
        "start": start,
        "printing": [{"start": "22:00", "end": "06:00"}],
        "attended": [{"start": "21:00", "end": "23:00"}],
    }
    now = datetime(2026, 1, 1, tzinfo=UTC)
    fits, over = _table(_runs(night), now=now, **rules), _table(_runs(night + 0.01), now=now, **rules)
    assert fits.steps[0].begin.strftime("%Y-%m-%dT%H:%M") == start
    assert fits.steps[0].end.strftime("%H:%M") == "06:00"
    assert fits.steps[0].end - fits.steps[0].begin == timedelta(hours=night)
    if night < 8:
        assert over.begin - fits.begin == timedelta(hours=23)
    else:
        assert len(over.waiting) == 1


def test_spools_that_are_there_go_first_and_a_swap_is_told_in_grams():
    pla = Material(left=(150.0, 60.0), spool=500.0, cost_per_kg=20.0)
    runs = [_run(1, 1, grams=100.0), _run(2, 1, grams=140.0), _run(3, 1, grams=470.0), _run(4, 1, grams=700.0)]
    table = _table(runs, [pla])
    assert [[swap.after_grams for swap in step.swaps] for step in table.steps] == [[], [50.0, 110.0], [], [0.0, 500.0]]
    (bought,) = purchases(runs, [pla], steps=table.steps)
    assert (bought.grams, bought.left, bought.spools, bought.cost) == (1410.0, 210.0, 3, 30.0)
    assert purchases(runs, [pla]) == (bought,)


def test_printers_side_by_side_need_a_spool_each():
    pla = Material(left=(900.0,))
    runs = _runs(2, 2)
    table = _table(runs, [pla], printers=[{"name": "left"}, {"name": "right"}])
    assert purchases(runs, [pla], steps=table.steps)[0].spools == 1
    assert purchases(runs, [pla])[0].spools == 0


def test_a_run_without_a_date_takes_the_spool_that_is_on_a_printer():
    """A run of PLA waits for the coupon: there is a spool of it on the printer that prints its coupon, not another."""
    petg, red = (_run(number, 1, material=name) for number, name in ((1, "PETG"), (2, "PLA")))
    table = _table([petg, red], [Material(name="PETG"), _PLA], printers=[{"name": "left"}, {"name": "right"}])
    assert {step.printer for step in table.steps} == {"left", "right"}
    bought = purchases([petg, red, _run(3, 2)], [Material(name="PETG"), _PLA], steps=table.steps)
    assert [(entry.material, entry.spools) for entry in bought] == [("PETG", 1), ("PLA", 1)]


def test_filaments_are_bought_apart_in_the_order_of_the_materials():
    red = Material(name="PETG", colour="#ff0000", cost_per_kg=30.0)
    runs = [_run(1, 1, material="PETG", colour="#ff0000"), _run(2, 1), _run(3, None)]
    entries = purchases(runs, [_PLA, red, Material(name="TPU")])
    assert [(purchase.material, purchase.colour, purchase.spools, purchase.cost) for purchase in entries] == [
        ("PLA", None, 1, None),
        ("PETG", "#ff0000", 1, 30.0),
    ]
    with pytest.raises(ValueError, match="PETG #ff0000"):
        purchases(runs, [_PLA])


@pytest.mark.parametrize(
    ("left", "used", "there", "spools"),
    [
        ((300.0, 200.0), 0.0, 500.0, 1),
        ((300.0, 200.0), 250.0, 250.0, 1),
        ((300.0, 200.0), 300.0, 200.0, 1),
        # beyond what was there a new spool was opened, and the rest of it is there
        ((300.0, 200.0), 700.0, 800.0, 0),
        ((), 1000.0, 0.0, 1),
    ],
)
def test_what_was_used_before_is_gone(left, used, there, spools):
    (entry,) = purchases([_run(1, 1, grams=600.0)], [Material(left=left)], {("PLA", None): used})
    assert (entry.left, entry.spools) == (there, spools)


_clocks = st.integers(0, 23).map(lambda hour: f"{hour:02d}:00")
_sets = st.lists(
    st.fixed_dictionaries(
        {"start": _clocks, "end": _clocks}, optional={"days": st.lists(st.sampled_from(DAYS), min_size=1, max_size=5)}
    ),
    max_size=3,
)
_schedules = st.fixed_dictionaries(
    {
        "timezone": st.sampled_from(["UTC", "Europe/Lisbon", "America/St_Johns"]),
        "printing": _sets,
        "attended": _sets,
        "printers": st.lists(st.fixed_dictionaries({}, optional={"printing": _sets, "attended": _sets}), min_size=1,
                             max_size=3).map(lambda ones: [{"name": f"p{i}", **hours} for i, hours in enumerate(ones)]),
        "first_layer_minutes": st.sampled_from([0, 15, 40]),
        "cool_down_minutes": st.sampled_from([0, 20]),
        "bed_change_minutes": st.sampled_from([0, 10, 70]),
        "goal": st.sampled_from(["finish", "drawers", "visits", "quiet_nights"]),
    }
)  # fmt: skip
_jobs = st.tuples(
    st.lists(st.just("C1"), max_size=1),
    st.lists(st.just("F1"), max_size=4),
    st.lists(st.just("T1"), max_size=4),
    st.lists(
        st.tuples(st.integers(1, 900), st.floats(1.0, 900.0), st.sampled_from([None, None, 0.2, 0.8])),
        min_size=9,
        max_size=9,
    ),
).map(
    lambda job: [
        _run(number, minutes / 60, mark, grams=grams, pause=pause)
        for number, (mark, (minutes, grams, pause)) in enumerate(
            zip([*job[0], *job[1], *job[2]], job[3], strict=False), 1
        )
    ]
)
#: Around both changes of the clocks, and in between.
_moments = st.sampled_from(
    [datetime(2026, month, day, 9, 7, tzinfo=UTC) for month, day in ((3, 6), (3, 27), (7, 1), (10, 23))]
)


def _open(windows, here):
    if not windows:
        return True
    minute = here.hour * 60 + here.minute
    for window in windows:
        start, end = int(window.start[:2]) * 60, int(window.end[:2]) * 60
        end += 0 if end > start else 1440
        if any(
            DAYS[(here.weekday() - back) % 7] in window.days and start <= minute + 1440 * back < end for back in (0, 1)
        ):
            return True
    return False


def _minutes(begin, end, zone):
    """Yield the minutes of a stretch by the clock on the wall, but those near a change of the clocks."""
    moment = begin.timestamp()
    while moment < end.timestamp():
        here = datetime.fromtimestamp(moment, zone)
        if not (here.hour in {0, 1, 2, 3} and here.month in {3, 10, 11}):
            yield here
        moment += 60


@settings(max_examples=35, deadline=None)
@given(_schedules, _jobs, _moments)
def test_rules_that_hold_for_every_timetable(rules, runs, now):
    schedule, pla = Schedule.model_validate(rules), Material(left=(120.0, 333.0), spool=750.0)
    table = make_timetable(schedule, runs, [pla], now)
    assert table == make_timetable(schedule, runs, [pla], now)
    assert sorted([step.run for step in table.steps] + [undated.run for undated in table.waiting]) == [
        run.number for run in runs
    ]

    printers = {printer.name: printer for printer in schedule.printers}
    of_printer = defaultdict(list)
    for step in table.steps:
        of_printer[step.printer].append(step)
        run, printer = runs[step.run - 1], printers[step.printer]
        printing = schedule.printing if printer.printing is None else printer.printing
        attended = schedule.attended if printer.attended is None else printer.attended
        assert step.begin >= now
        assert 0 <= (step.end - step.begin).total_seconds() - run.seconds < 1
        assert step.attended_until == min(step.begin + timedelta(minutes=schedule.first_layer_minutes), step.end)
        assert all(_open(printing, here) for here in _minutes(step.begin, step.end, schedule.zone))
        watched = max(step.attended_until, step.begin + timedelta(minutes=1))
        assert all(_open(attended, here) for here in _minutes(step.begin, watched, schedule.zone))
        pauses = [] if run.lettering is None else run.lettering.pauses
        assert [(at - step.begin).total_seconds() for at in step.pauses] == [ceil(pause.seconds) for pause in pauses]
        for at in step.pauses:
            assert all(_open(attended, here) for here in _minutes(at, at + timedelta(minutes=5), schedule.zone))
        change = timedelta(minutes=schedule.bed_change_minutes)
        assert step.free >= step.end + timedelta(minutes=schedule.cool_down_minutes) + change
        assert all(_open(attended, here) for here in _minutes(step.free - change, step.free, schedule.zone))

    letters = {run.number: run.pieces[0].mark[0] for run in runs}
    for steps in of_printer.values():
        assert all(step.free <= other.begin for step, other in pairwise(steps))
    coupon = [step.free for step in table.steps if letters[step.run] == "C"]
    assert all(step.begin >= coupon[0] for step in table.steps if coupon and letters[step.run] != "C")
    assert table.finish == max((step.end for step in table.steps), default=None)

    if table.earliest_finish is not None:
        assert now <= table.earliest_finish <= table.finish
    _spools_balance(table, runs, pla)


def _spools_balance(table, runs, pla):
    """No more is drawn than spools hold, and a spool runs out unattended only where none lasts."""
    full = pla.spool
    held = sum((120.0, 333.0))
    for step in table.steps:
        grams = runs[step.run - 1].grams
        within = [swap for swap in step.swaps if swap.after_grams > 0.0]
        onto = [step.spool, *(swap.onto for swap in within)]
        assert sum(onto) >= grams - 0.05
        assert all(spool <= full + 0.05 for spool in onto)
        # every spool but the last is used up where it is changed
        changes = [0.0, *(swap.after_grams for swap in within)]
        assert [later - earlier for earlier, later in pairwise(changes)] == pytest.approx(onto[:-1], abs=0.05)
        if any(not swap.attended for swap in within):
            assert grams > full - 0.05
    taken = [run for run in runs if run.number in {step.run for step in table.steps}]
    grams = sum(run.grams for run in taken)
    bought = purchases(taken, [pla], steps=table.steps)
    assert sum(purchase.spools for purchase in bought) * full + held >= grams - 0.05


def test_a_spool_is_changed_before_a_night_for_which_it_does_not_last():
    # 150 g last for the first run and not for the second, which prints 140 g over the night
    pla = Material(left=(150.0, 60.0), spool=500.0)
    runs = [_run(1, 1, grams=100.0), _run(2, 9, grams=140.0), _run(3, 1, grams=40.0)]
    evening = [{"start": "18:00", "end": "23:00"}]
    table = _table(runs, [pla], attended=evening)
    steps = {step.run: step for step in table.steps}
    assert [(swap.after_grams, swap.onto) for swap in steps[2].swaps] == [(0.0, 500.0)]
    assert steps[2].spool == 500.0
    assert all(swap.attended for step in table.steps for swap in step.swaps)
    (bought,) = purchases(runs, [pla], steps=table.steps, schedule=Schedule.model_validate({"attended": evening}))
    assert (bought.spools, bought.by) == (1, steps[2].begin)
    # by day the spool is used up, and changed during the run
    day = {step.run: step for step in _table(runs, [pla]).steps}
    assert [swap.after_grams for swap in day[2].swaps if swap.after_grams] != []


def test_a_run_for_which_no_spool_lasts_says_so():
    (step,) = (table := _table([_run(1, 10, grams=700.0)], [Material(spool=500.0)],
                               attended=[{"start": "18:00", "end": "20:00"}])).steps  # fmt: skip
    (swap,) = step.swaps
    assert (swap.after_grams, swap.attended) == (500.0, False)
    assert abs(swap.at - (step.begin + (step.end - step.begin) * 5 / 7)) < timedelta(seconds=1)
    assert any("when nobody is present" in caution for caution in table.cautions)
    assert any("sensor" in caution for caution in table.cautions)


def test_the_spool_on_a_printer_is_used_there():
    spools = {"spools": [{"left": 90}]}
    printers = [{"name": "left"}, {"name": "right", **spools}]
    table = _table(_runs(2, 2), printers=printers)
    assert {step.printer: step.spool for step in table.steps} == {"left": 1000.0, "right": 90.0}
    schedule = Schedule.model_validate({"printers": printers})
    (bought,) = purchases(_runs(2, 2), [_PLA], {("PLA", None): 40.0}, table.steps, schedule)
    assert bought.left == 50.0


@settings(max_examples=60, deadline=None)
@given(_schedules, st.integers(1, 900), st.integers(1, 7), _moments, st.data())
def test_fewer_hours_never_finish_equal_runs_earlier(rules, minutes, count, now, data):
    # Of unequal runs on several printers a list rule can finish earlier with less (Graham's anomalies, from memory).
    runs = _runs(*[minutes / 60] * count)
    name = data.draw(st.sampled_from(["printing", "attended"]))
    rules = {**rules, "goal": "finish", "printers": [{"name": "only"}]}
    windows = rules[name] or [{"start": "00:00", "end": "24:00"}, {"start": "06:00", "end": "18:00"}]
    fewer = data.draw(st.lists(st.sampled_from(windows), min_size=1, max_size=2))
    more, less = _table(runs, now=now, **rules), _table(runs, now=now, **{**rules, name: fewer})
    assert len(less.steps) <= len(more.steps)
    if less.steps and len(less.steps) == len(more.steps):
        assert less.finish >= more.finish


def test_a_run_starts_so_that_somebody_is_there_for_its_pause():
    attended = [{"start": "07:00", "end": "08:00"}, {"start": "18:00", "end": "22:00"}]
    late = _NOW.replace(hour=20)
    plain, pausing = _run(1, 9.0), _run(1, 9.0, pause=3.0 / 9.0)
    assert _when(_table([plain], now=late, attended=attended)) == {1: "printer Mon 20:00-Tue 05:00"}
    # three hours from 20:00 nobody is there, and from 18:00 on Tuesday somebody is until 22:00
    table = _table([pausing], now=late, attended=attended)
    assert _when(table) == {1: "printer Tue 18:00-Wed 03:00"}
    assert [f"{at:%a %H:%M}" for at in table.steps[0].pauses] == ["Tue 21:00"]
    waiting = _table([_run(1, 9.0, pause=5.0 / 9.0)], now=late, attended=attended).waiting
    assert "pauses" in waiting[0].reason


@pytest.mark.parametrize("goal", ["finish", "visits"])
def test_the_solver_keeps_pauses_in_attended_hours(goal):
    attended = [{"start": "07:00", "end": "09:00"}, {"start": "17:00", "end": "22:00"}]
    runs = [_run(number, 2.0 + number / 3.0, pause=0.4 if number % 2 else None) for number in range(1, 7)]
    table = _table(runs, attended=attended, goal=goal, printers=[{"name": "left"}, {"name": "right"}])
    moments = [at for step in table.steps for at in step.pauses]
    assert len(table.steps) == 6
    assert len(moments) == 3
    assert all(at.hour in {7, 8, *range(17, 22)} for at in moments)
    seen = {at.replace(minute=0, second=0) for at in moments}
    assert table.visits >= len(seen)
