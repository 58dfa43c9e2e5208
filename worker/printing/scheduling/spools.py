"""Spools: which spool feeds each run, where it runs out, and how many to buy. Amounts are in grams."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import ceil
from typing import Final, TypeAlias

from worker.printing.scheduling.printers import attended_hours
from worker.printing.scheduling.week_hours import Hours
from worker.spec.manifest import PurchaseEntry, RunEntry, StepEntry
from worker.spec.printer.material import Material
from worker.spec.printer.schedule import Schedule, SchedulePrinter

__all__ = [
    "Drawn",
    "Feed",
    "SpoolChange",
    "SpoolRun",
    "Used",
    "draw_spools",
    "filaments_of",
    "purchases",
    "spools_left",
]

#: A filament: its material and colour.
FilamentKey: TypeAlias = tuple[str, str | None]
#: Grams already used of each filament.
Used: TypeAlias = Mapping[FilamentKey, float]

#: A spool with less than this counts as empty: rounding of sums.
_EMPTY: Final = 1e-6
_DECIMALS: Final = 2


#: A change of spools is attended if somebody is there this share of the run earlier and later, too: estimates err.
_TIME_MARGIN: Final = 0.05


@dataclass(frozen=True, slots=True)
class SpoolRun:
    """A run to be fed: its printer, and when it begins and ends in Unix seconds; None of an undated run."""

    run: RunEntry
    printer: str
    begin: int | None = None
    end: int | None = None


@dataclass(frozen=True, slots=True)
class SpoolChange:
    """A change of spools: after how many grams of the run, when, whether somebody is there, and grams on the next."""

    after: float
    at: int | None
    attended: bool
    onto: float


@dataclass(frozen=True, slots=True)
class Feed:
    """What feeds a run: the grams on its first spool, and its changes of spools."""

    spool: float
    changes: tuple[SpoolChange, ...]


@dataclass(slots=True)
class _Stock:
    """The spools of one filament, in grams: on printers, at hand in the order of their use, and new ones."""

    material: Material
    at_hand: list[float]
    #: What the spool on each printer still holds, by the printer's name.
    mounted: dict[str, float] = field(default_factory=dict)
    new: int = 0
    first_new: int | None = None

    def draw(self, dated: SpoolRun, grams: float, attended: Hours | None) -> Feed:
        """Take the filament of a run; return what feeds it.

        Where a spool would run out while nobody is there, the run starts on the smallest spool that lasts. The one that
        was on the printer is used first again after it. An undated run is printed where most of its filament is.
        """
        printer = dated.printer
        if dated.begin is None and self.mounted:
            printer = max(sorted(self.mounted), key=lambda name: self.mounted[name])
        before = self.mounted.get(printer)
        if before is None:
            self.mounted[printer] = self._next(dated)
        left = self.mounted[printer]
        changes: list[SpoolChange] = []
        if grams > left + _EMPTY and not self._is_attended(left, dated, grams, attended):
            self.at_hand.insert(0, left)
            mounted, left = left, self._lasting(grams, dated)
            if before is not None and left != mounted:
                changes.append(SpoolChange(0.0, dated.begin, attended=True, onto=left))
        first, drawn = left, 0.0
        while grams - drawn > left + _EMPTY:
            drawn += left
            moment = _moment(dated, drawn / grams)
            left = self._next(dated)
            is_attended = _attended(dated, drawn / grams, attended)
            changes.append(SpoolChange(round(drawn, _DECIMALS), moment, is_attended, left))
        self.mounted[printer] = max(left - (grams - drawn), 0.0)
        return Feed(first, tuple(changes))

    def _is_attended(self, left: float, dated: SpoolRun, grams: float, attended: Hours | None) -> bool:
        """Return whether somebody is there at every change of spools of a run that starts on this one."""
        drawn, waiting = left, iter(self.at_hand)
        while grams - drawn > _EMPTY:
            if not _attended(dated, drawn / grams, attended):
                return False
            drawn += next(waiting, self.material.spool)
        return True

    def _lasting(self, grams: float, dated: SpoolRun) -> float:
        """Return the smallest spool that lasts for the run, a new one if none at hand does, or else the fullest."""
        fitting = [spool for spool in self.at_hand if spool >= grams - _EMPTY]
        if not fitting and self.material.spool < grams - _EMPTY and max(self.at_hand) >= self.material.spool:
            fitting = [max(self.at_hand)]
        if fitting:
            self.at_hand.remove(min(fitting))
            return min(fitting)
        return self._open(dated)

    def _next(self, dated: SpoolRun) -> float:
        self.at_hand = [spool for spool in self.at_hand if spool > _EMPTY]
        return self.at_hand.pop(0) if self.at_hand else self._open(dated)

    def _open(self, dated: SpoolRun) -> float:
        self.new += 1
        if self.first_new is None:
            self.first_new = dated.begin
        return self.material.spool


def _moment(dated: SpoolRun, share: float) -> int | None:
    """Return when this share of a run's filament is extruded, taken in proportion to its time."""
    if dated.begin is None or dated.end is None:
        return None
    return dated.begin + round(share * (dated.end - dated.begin))


def _attended(dated: SpoolRun, share: float, attended: Hours | None) -> bool:
    """Return whether somebody is there when this share of a run is printed, and a little earlier and later."""
    moment = _moment(dated, share)
    if moment is None or attended is None or dated.begin is None or dated.end is None:
        return True
    margin = round(_TIME_MARGIN * (dated.end - dated.begin))
    return attended.cover(max(moment - margin, dated.begin), moment + margin)


@dataclass(frozen=True, slots=True)
class Drawn:
    """What feeds each run; of each filament the number of new spools, and when the first of them is needed."""

    feeds: Mapping[int, Feed]
    new: Mapping[FilamentKey, int]
    first_new: Mapping[FilamentKey, int | None]


def draw_spools(
    runs: Iterable[SpoolRun],
    materials: Sequence[Material],
    used: Used,
    printers: Sequence[SchedulePrinter] = (),
    attended: Mapping[str, Hours] | None = None,
) -> Drawn:
    """Return what feeds each run.

    A printer keeps its spool of a filament until it runs out or does not last for a run in unattended hours, so two
    printers with one filament take two spools.

    Args:
        runs: in the order of their starts.
        materials: the filaments with their spools.
        used: grams already used: of the spools on printers first, then of those at hand.
        printers: with the spools on them.
        attended: the attended hours of each printer by its name; without them all hours are attended.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    stocks: dict[FilamentKey, _Stock] = {}
    feeds: dict[int, Feed] = {}
    for dated in runs:
        run = dated.run
        for key, grams in filaments_of(run):
            if key not in stocks:
                stocks[key] = _stock(_material_of(key, materials), used.get(key, 0.0), printers)
            feed = stocks[key].draw(dated, grams, (attended or {}).get(dated.printer))
            feeds.setdefault(run.number, feed)  # that of the run's own filament, which comes first
    return Drawn(
        feeds,
        {key: stock.new for key, stock in stocks.items()},
        {key: stock.first_new for key, stock in stocks.items()},
    )


def filaments_of(run: RunEntry) -> Iterator[tuple[FilamentKey, float]]:
    """Yield the filaments of a run with their grams, its own first; none of a run without an estimate."""
    if run.own_grams is not None:
        yield (run.material, run.colour), run.own_grams
    if run.lettering is not None:
        yield (run.lettering.material, run.lettering.colour), run.lettering.grams


def spools_left(material: Material, used: float, schedule: Schedule | None) -> list[float]:
    """Return what each spool of a filament still holds, in grams: those on printers, then those at hand."""
    stock = _stock(material, used, () if schedule is None else schedule.printers)
    return [*stock.mounted.values(), *stock.at_hand]


def _stock(material: Material, used: float, printers: Sequence[SchedulePrinter]) -> _Stock:
    """Return the spools of a filament, what was used of them taken off."""
    mounted: dict[str, float] = {}
    for printer, left in _loaded(material, printers):
        rest = left - used
        used = max(used - left, 0.0)
        if rest > _EMPTY:
            mounted[printer] = rest
    return _Stock(material, _left_of(material, used), mounted)


def _loaded(material: Material, printers: Sequence[SchedulePrinter]) -> list[tuple[str, float]]:
    """Return the spools of a filament that are on printers: the printer's name and the grams."""
    return [
        (printer.name, spool.left)
        for printer in printers
        for spool in printer.spools
        if spool.material == material.name and spool.colour in {None, material.colour}
    ]


def purchases(
    runs: Sequence[RunEntry],
    materials: Sequence[Material],
    used: Used | None = None,
    steps: Sequence[StepEntry] = (),
    schedule: Schedule | None = None,
) -> tuple[PurchaseEntry, ...]:
    """Return the filament that is needed and the spools to buy, in the order of the materials.

    Runs without a weight are left out.

    Args:
        runs: the runs to come.
        materials: the filaments with their spools.
        used: grams already used. What exceeded the spools at hand came off new ones, whose rest is at hand now.
        steps: the timetable's; printers that work side by side need a spool each. Without them one printer does all.
        schedule: with the spools on its printers and their attended hours.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    used = used or {}
    runs_by_number = {run.number: run for run in runs}
    dated = [
        SpoolRun(runs_by_number[step.run], step.printer, int(step.begin.timestamp()), int(step.end.timestamp()))
        for step in steps
        if step.run in runs_by_number
    ]
    dated_numbers = {each.run.number for each in dated}
    printers = () if schedule is None else schedule.printers
    printer = dated[0].printer if dated else printers[0].name if printers else ""
    undated = [SpoolRun(run, printer) for run in runs if run.number not in dated_numbers]
    attended = None
    if schedule is not None and dated:
        attended = attended_hours(schedule, min(each.begin or 0 for each in dated))
    drawn = draw_spools([*dated, *undated], materials, used, printers, attended)
    entries = []
    for key in dict.fromkeys((material.name, material.colour) for material in materials):
        grams = sum(amount for run in runs for filament, amount in filaments_of(run) if filament == key)
        if grams <= 0.0:
            continue
        material = _material_of(key, materials)
        price, by = material.cost_per_kg, drawn.first_new[key]
        entries.append(
            PurchaseEntry(
                material=material.name,
                colour=material.colour,
                grams=round(grams, _DECIMALS),
                left=round(sum(spools_left(material, used.get(key, 0.0), schedule)), _DECIMALS),
                spools=drawn.new[key],
                cost=None if price is None else round(drawn.new[key] * material.spool * price / 1000.0, _DECIMALS),
                by=None if by is None or schedule is None else datetime.fromtimestamp(by, schedule.zone),
            )
        )
    return tuple(entries)


def _material_of(key: FilamentKey, materials: Sequence[Material]) -> Material:
    for material in materials:
        if (material.name, material.colour) == key:
            return material
    raise ValueError(f"There is no material {key[0]} {key[1] or 'of no colour'}.")


def _left_of(material: Material, used: float) -> list[float]:
    """Return what each spool at hand still holds after ``used`` grams, in grams, the one in use first."""
    spools = list(material.left)
    while spools and used >= spools[0] - _EMPTY:
        used -= spools.pop(0)
    if used <= _EMPTY:
        return spools
    if spools:
        return [spools[0] - used, *spools[1:]]
    opened = ceil(used / material.spool - _EMPTY) * material.spool
    return [opened - used] if opened - used > _EMPTY else []
