"""The timetable: which run is printed when, and on which printer. Moments and times are whole seconds."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from math import ceil, floor
from typing import Final
from zoneinfo import ZoneInfo

from worker.layout.model.part_registry import LETTERS
from worker.printing.scheduling.occupancy import Occupancy, Slot
from worker.printing.scheduling.spools import Used, draw_spools, purchases
from worker.printing.scheduling.start_times import SEARCH, Begins, Care, whole_minute
from worker.printing.scheduling.week_hours import Hours
from worker.spec.manifest.manifest import RunEntry, ScheduleEntry, StepEntry, SwapEntry, WaitingEntry
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule, Window

__all__ = ["HORIZON_DAYS", "make_timetable", "purchases"]

#: No run begins later than this after the first moment.
HORIZON_DAYS: Final = 365

_DAY: Final = 86_400
_HOUR: Final = 3600
_MINUTE: Final = 60
#: What a search for one stretch may reach beyond the horizon.
_BEYOND: Final = 4 * SEARCH
#: The least that printing.max_run_hours may be.
_LEAST_MAX: Final = 0.25
_FLOOR: Final = frozenset({LETTERS["tile"], LETTERS["key"]})


@dataclass(slots=True)
class _Try:
    """One timetable: every run in the order given, each in the earliest slot that is left."""

    beds: list[Occupancy]
    care: Care
    slots: dict[int, tuple[int, Slot]] = field(default_factory=dict)
    waiting: dict[int, str] = field(default_factory=dict)

    def place(self, run: RunEntry) -> None:
        """Give the run its slot, or the reason why it has none."""
        if run.seconds is None:
            self.waiting[run.number] = "How long it takes is not known: its pieces are not measured yet."
            return
        printing = _printing(run.seconds)
        best: tuple[int, int, int, Slot] | None = None
        for index, bed in enumerate(self.beds):
            slot = bed.slot(printing, bed.horizon if best is None else best[0])
            if slot is not None and (best is None or (slot.begin, slot.free, index) < best[:3]):
                best = slot.begin, slot.free, index, slot
        if best is None:
            self.waiting[run.number] = self._reason(printing)
            return
        self.beds[best[2]].take(best[3])
        self.slots[run.number] = best[2], best[3]

    def hold(self, trial: Sequence[RunEntry], rest: Sequence[RunEntry]) -> bool:
        """Let the rest begin after the coupon's runs, or have it wait with them; return whether it waits."""
        held = [run.number for run in trial if run.number in self.waiting]
        if held:
            reason = f"It waits for run {held[0]}: the coupon shows which clearance all other parts need."
            self.waiting.update((run.number, reason) for run in rest)
        free = max((slot.free for _, slot in self.slots.values()), default=0)
        for bed in self.beds:
            bed.close_gaps(free)
        return bool(held)

    @property
    def finish(self) -> int:
        """The end of the last run."""
        return max((slot.end for _, slot in self.slots.values()), default=0)

    def _reason(self, printing: int) -> str:
        longest = max(bed.longest(printing) for bed in self.beds)
        need = f"It takes {ceil(printing / _MINUTE) / 60:.2f} hours of printing"
        if longest == 0:
            return f"{need}, and a printer never may print while somebody is there to watch the first layer."
        if longest < printing:
            most = floor(longest * 100 / _HOUR) / 100
            shorter = f"Set printing.max_run_hours to {most:.2f} or less, or give" if most >= _LEAST_MAX else "Give"
            return (
                f"{need}, and the longest stretch that begins while somebody is there has {most:.2f}. {shorter} wider "
                "hours; a single piece that takes longer is not split."
            )
        if not any(bed.is_cleared(printing) for bed in self.beds):
            return (
                f"Nobody is there for the {self.care.changing // _MINUTE} minutes of a bed change at a stretch. Give "
                "wider attended hours, or a lower bed_change_minutes."
            )
        return f"There is no time for it within {HORIZON_DAYS} days of the start."


def make_timetable(
    schedule: Schedule,
    runs: Sequence[RunEntry],
    materials: Sequence[Material],
    now: datetime,
    used: Used | None = None,
) -> ScheduleEntry:
    """Return when which run is printed on which printer.

    The coupon's runs come first, and all others begin when their pieces are off the beds. On each printer runs of the
    floor come before those of trays alone. Within these stages a run takes the earliest slot that the runs before it
    leave; a later one may go ahead of an earlier one only where that begins no later for it. Runs of the floor are
    tried longest first and shortest first as well, and of all tries the earliest finish counts. A run's ``free`` is
    in attended hours; somebody may see to several printers at once.

    Args:
        schedule: printers and hours.
        runs: in the order of work.
        materials: the filaments with their spools.
        now: no run begins earlier, even where the schedule's start is past.
        used: grams used before of a material and colour.
    """
    zone = schedule.zone
    since = whole_minute(ceil(max(schedule.beginning(now).timestamp(), now.timestamp())))
    stages: tuple[list[RunEntry], ...] = ([], [], [])
    for run in runs:
        stages[_stage(run)].append(run)
    trial, ground, trays = stages
    care = _care(schedule)
    begins = _begins(schedule, care, zone, since)
    least = min((_printing(run.seconds) for run in runs if run.seconds is not None), default=1)
    tries = []
    for order in _orders(ground):
        beds = [
            Occupancy(printer.name, one, since, since + HORIZON_DAYS * _DAY, least)
            for printer, one in zip(schedule.printers, begins, strict=True)
        ]
        one = _Try(beds, care)
        for stage in (trial, order, trays):
            for run in stage:
                one.place(run)
            for bed in beds:
                bed.close_gaps(since)
            if stage is trial and trial and one.hold(trial, [*ground, *trays]):
                break
        tries.append(one)
    best = min(tries, key=lambda one: (len(one.waiting), one.finish))
    return _entry(schedule, runs, materials, best, used or {})


def _stage(run: RunEntry) -> int:
    """Return 0 for the coupon's runs, 1 for those with pieces of the floor, 2 for all others."""
    letters = {piece.mark[0] for piece in run.pieces}
    return 0 if LETTERS["coupon"] in letters else 1 if letters & _FLOOR else 2


def _orders(runs: Sequence[RunEntry]) -> list[list[RunEntry]]:
    """Return the orders to try: as given, longest first, shortest first; each once."""
    orders: list[list[RunEntry]] = []
    for sign in (0.0, -1.0, 1.0):
        order = sorted(runs, key=lambda run: sign * (run.seconds or 0.0))
        if order not in orders:
            orders.append(order)
    return orders


def _begins(schedule: Schedule, care: Care, zone: ZoneInfo, since: int) -> list[Begins]:
    """Return when runs may begin on each printer; those with the same hours share it."""
    hours: dict[tuple[Window, ...], Hours] = {}
    pairs: dict[tuple[tuple[Window, ...], tuple[Window, ...]], Begins] = {}
    every = []
    for one in schedule.printers:
        printing = schedule.printing if one.printing is None else one.printing
        attended = schedule.attended if one.attended is None else one.attended
        for windows in (printing, attended):
            if windows not in hours:
                hours[windows] = Hours(windows, zone, since, since + HORIZON_DAYS * _DAY + _BEYOND)
        if (printing, attended) not in pairs:
            pairs[printing, attended] = Begins(hours[printing], hours[attended], care)
        every.append(pairs[printing, attended])
    return every


def _care(schedule: Schedule) -> Care:
    minutes = (schedule.first_layer_minutes, schedule.cool_down_minutes, schedule.bed_change_minutes)
    return Care(*(ceil(one * _MINUTE) for one in minutes))


def _printing(seconds: float) -> int:
    return max(ceil(seconds), 1)


def _entry(
    schedule: Schedule, runs: Sequence[RunEntry], materials: Sequence[Material], best: _Try, used: Used
) -> ScheduleEntry:
    of_number = {run.number: run for run in runs}
    order = sorted(best.slots, key=lambda number: (best.slots[number][1].begin, number))
    printers = [(of_number[number], best.beds[best.slots[number][0]].name) for number in order]
    swaps = draw_spools(printers, materials, used).swaps
    steps = []
    for number in order:
        index, slot = best.slots[number]
        watched = min(best.care.watching, slot.end - slot.begin)
        moments = (slot.begin, slot.begin + watched, slot.end, slot.free)
        begin, attended_until, end, free = (_local(moment, schedule.zone) for moment in moments)
        steps.append(
            StepEntry(
                run=number,
                printer=best.beds[index].name,
                begin=begin,
                attended_until=attended_until,
                end=end,
                free=free,
                swaps=tuple(
                    SwapEntry(material=of_number[number].material, colour=of_number[number].colour, after_grams=grams)
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
    """Return the moment with a fixed offset: two of one zone would be subtracted by the clock on the wall."""
    here = datetime.fromtimestamp(moment, zone)
    return here.replace(tzinfo=timezone(here.utcoffset() or timedelta()), fold=0)
