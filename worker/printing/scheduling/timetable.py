"""The timetable: which run is printed when, and on which printer.

Times are whole Unix seconds, durations whole seconds.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from math import ceil, floor
from typing import Final
from zoneinfo import ZoneInfo

from worker.printing.print_order import Stage, stage_of_run
from worker.printing.scheduling.occupancy import Occupancy, Slot
from worker.printing.scheduling.spools import Used, draw_spools, purchases
from worker.printing.scheduling.start_times import SEARCH_SPAN, HandlingTimes, StartTimes, whole_minute
from worker.printing.scheduling.week_hours import Hours
from worker.spec.manifest import RunEntry, ScheduleEntry, StepEntry, SwapEntry, WaitingEntry
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule, Window

__all__ = ["HORIZON_DAYS", "make_timetable", "purchases"]

#: No run starts later than this many days after the schedule's start.
HORIZON_DAYS: Final = 365

_DAY: Final = 86_400
_HOUR: Final = 3600
_MINUTE: Final = 60
#: How far beyond the horizon hours are expanded: searches for a start and for a bed change reach there.
_MARGIN: Final = 4 * SEARCH_SPAN
#: The minimum of printing.max_run_hours.
_LEAST_MAX_RUN_HOURS: Final = 0.25


@dataclass(slots=True)
class _Candidate:
    """A candidate timetable: each run in turn takes the earliest slot left on any printer."""

    printers: list[Occupancy]
    handling: HandlingTimes
    slots: dict[int, tuple[int, Slot]] = field(default_factory=dict)
    waiting: dict[int, str] = field(default_factory=dict)

    def place(self, run: RunEntry) -> None:
        """Reserve a slot for the run, or record why it has none."""
        if run.seconds is None:
            self.waiting[run.number] = "Its print time is unknown: its pieces have not been measured yet."
            return
        duration = _duration(run.seconds)
        best: tuple[int, int, int, Slot] | None = None
        for index, printer in enumerate(self.printers):
            slot = printer.slot(duration, printer.horizon if best is None else best[0])
            if slot is not None and (best is None or (slot.start, slot.bed_free, index) < best[:3]):
                best = slot.start, slot.bed_free, index, slot
        if best is None:
            self.waiting[run.number] = self._reason(duration)
            return
        self.printers[best[2]].reserve(best[3])
        self.slots[run.number] = best[2], best[3]

    def wait_for_test_prints(self, test_prints: Sequence[RunEntry], others: Sequence[RunEntry]) -> bool:
        """Have the other runs start after the test prints; return whether these have no slot, so that all wait."""
        undated = [run.number for run in test_prints if run.number in self.waiting]
        if undated:
            reason = f"It waits for run {undated[0]}: the coupon shows which clearance all other parts need."
            self.waiting.update((run.number, reason) for run in others)
        free = max((slot.bed_free for _, slot in self.slots.values()), default=0)
        for printer in self.printers:
            printer.close_gaps(free)
        return bool(undated)

    @property
    def finish(self) -> int:
        """The end of the last run; 0 without runs."""
        return max((slot.end for _, slot in self.slots.values()), default=0)

    def _reason(self, duration: int) -> str:
        """Return why a run of this duration has no slot on any printer, and the remedy."""
        longest = max(printer.longest_run(duration) for printer in self.printers)
        need = f"It takes {ceil(duration / _MINUTE) / 60:.2f} hours"
        if longest == 0:
            return (
                f"{need}, but printing hours and attended hours never overlap long enough to watch the first layer. "
                "Widen either of them."
            )
        if longest < duration:
            most = floor(longest * 100 / _HOUR) / 100
            split = f"Set printing.max_run_hours to {most:.2f} or less, or " if most >= _LEAST_MAX_RUN_HOURS else ""
            remedy = f"{split}widen the printing or attended hours"
            return (
                f"{need}, but the longest stretch of printing hours with an attended start is {most:.2f} hours. "
                f"{remedy[0].upper()}{remedy[1:]}. A single piece that takes longer cannot be split."
            )
        if not any(printer.bed_is_changed(duration) for printer in self.printers):
            return (
                f"No attended hours last the {self.handling.bed_change // _MINUTE} minutes of a bed change. "
                "Widen the attended hours or lower bed_change_minutes."
            )
        return f"No printer has a slot for it within {HORIZON_DAYS} days of the start. Add printers or widen the hours."


def make_timetable(
    schedule: Schedule,
    runs: Sequence[RunEntry],
    materials: Sequence[Material],
    now: datetime,
    used: Used | None = None,
) -> ScheduleEntry:
    """Return when each run is printed, and on which printer.

    Runs are dated in the stages of `worker.printing.print_order`. All runs wait until the test prints are off the beds;
    on each printer the runs of one stage precede those of the next. Within a stage each run takes the earliest slot
    left by the runs before it. Runs of the floor are also tried longest first and shortest first, and the timetable
    with the fewest undated runs, then with the earliest finish, is kept. A bed is cleared in attended hours; one person
    may look after several printers at once.

    Args:
        schedule: printers and hours.
        runs: in the order of printing.
        materials: the filaments with their spools.
        now: no run starts earlier, even when the schedule's start is past.
        used: grams already used, by material and colour.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    zone = schedule.zone
    since = whole_minute(ceil(max(schedule.beginning(now).timestamp(), now.timestamp())))
    stages: dict[Stage, list[RunEntry]] = {stage: [] for stage in Stage}
    for run in runs:
        stages[stage_of_run(run)].append(run)
    test_prints, trays = stages[Stage.TEST_PRINTS], [*stages[Stage.PANELS], *stages[Stage.TRAYS]]
    handling = _handling_times(schedule)
    start_times = _start_times(schedule, handling, zone, since)
    shortest = min((_duration(run.seconds) for run in runs if run.seconds is not None), default=1)
    candidates = []
    for floor_runs in _orders(stages[Stage.FLOOR]):
        printers = [
            Occupancy(printer.name, own, since, since + HORIZON_DAYS * _DAY, shortest)
            for printer, own in zip(schedule.printers, start_times, strict=True)
        ]
        candidate = _Candidate(printers, handling)
        for stage in (test_prints, floor_runs, trays):
            for run in stage:
                candidate.place(run)
            for printer in printers:
                printer.close_gaps(since)
            if (
                stage is test_prints
                and test_prints
                and candidate.wait_for_test_prints(test_prints, [*floor_runs, *trays])
            ):
                break
        candidates.append(candidate)
    best = min(candidates, key=lambda candidate: (len(candidate.waiting), candidate.finish))
    return _entry(schedule, runs, materials, best, used or {})


def _orders(runs: Sequence[RunEntry]) -> list[list[RunEntry]]:
    """Return the orders to try: as given, longest first, shortest first; each once."""
    orders: list[list[RunEntry]] = []
    for sign in (0.0, -1.0, 1.0):
        order = sorted(runs, key=lambda run: sign * (run.seconds or 0.0))
        if order not in orders:
            orders.append(order)
    return orders


def _start_times(schedule: Schedule, handling: HandlingTimes, zone: ZoneInfo, since: int) -> list[StartTimes]:
    """Return the start times of each printer; printers with equal hours share them."""
    hours: dict[tuple[Window, ...], Hours] = {}
    pairs: dict[tuple[tuple[Window, ...], tuple[Window, ...]], StartTimes] = {}
    start_times = []
    for printer in schedule.printers:
        printing = schedule.printing if printer.printing is None else printer.printing
        attended = schedule.attended if printer.attended is None else printer.attended
        for windows in (printing, attended):
            if windows not in hours:
                hours[windows] = Hours(windows, zone, since, since + HORIZON_DAYS * _DAY + _MARGIN)
        if (printing, attended) not in pairs:
            pairs[printing, attended] = StartTimes(hours[printing], hours[attended], handling)
        start_times.append(pairs[printing, attended])
    return start_times


def _handling_times(schedule: Schedule) -> HandlingTimes:
    minutes = (schedule.first_layer_minutes, schedule.cool_down_minutes, schedule.bed_change_minutes)
    return HandlingTimes(*(ceil(length * _MINUTE) for length in minutes))


def _duration(seconds: float) -> int:
    """Return a run's duration in whole seconds, at least one."""
    return max(ceil(seconds), 1)


def _entry(
    schedule: Schedule, runs: Sequence[RunEntry], materials: Sequence[Material], best: _Candidate, used: Used
) -> ScheduleEntry:
    runs_by_number = {run.number: run for run in runs}
    order = sorted(best.slots, key=lambda number: (best.slots[number][1].start, number))
    printers = [(runs_by_number[number], best.printers[best.slots[number][0]].name) for number in order]
    swaps = draw_spools(printers, materials, used).swaps
    steps = []
    for number in order:
        index, slot = best.slots[number]
        watched = min(best.handling.first_layer, slot.end - slot.start)
        moments = (slot.start, slot.start + watched, slot.end, slot.bed_free)
        begin, attended_until, end, free = (_local(moment, schedule.zone) for moment in moments)
        steps.append(
            StepEntry(
                run=number,
                printer=best.printers[index].name,
                begin=begin,
                attended_until=attended_until,
                end=end,
                free=free,
                swaps=tuple(
                    SwapEntry(
                        material=runs_by_number[number].material,
                        colour=runs_by_number[number].colour,
                        after_grams=grams,
                    )
                    for grams in swaps[number]
                ),
            )
        )
    return ScheduleEntry(
        timezone=schedule.timezone,
        begin=steps[0].begin if steps else None,
        finish=_local(best.finish, schedule.zone) if steps else None,
        steps=tuple(steps),
        waiting=tuple(
            WaitingEntry(run=run.number, reason=best.waiting[run.number]) for run in runs if run.number in best.waiting
        ),
    )


def _local(moment: int, zone: ZoneInfo) -> datetime:
    """Return the moment with a fixed offset, since datetimes of one zone are subtracted by wall-clock time."""
    here = datetime.fromtimestamp(moment, zone)
    return here.replace(tzinfo=timezone(here.utcoffset() or timedelta()), fold=0)
