"""Spools: which spool feeds each run, where it runs out, and how many to buy. Amounts are in grams."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Final, TypeAlias

from worker.spec.manifest import PurchaseEntry, RunEntry, StepEntry
from worker.spec.printer.material import Material

__all__ = ["Drawn", "Used", "draw_spools", "left_of", "purchases"]

#: A filament: its material and colour.
FilamentKey: TypeAlias = tuple[str, str | None]
#: Grams already used of each filament.
Used: TypeAlias = Mapping[FilamentKey, float]

#: A spool with less than this counts as empty: rounding of sums.
_EMPTY: Final = 1e-6
_DECIMALS: Final = 2


@dataclass(slots=True)
class _Stock:
    """The spools of one filament, in grams: those at hand in the order of their use, then new ones."""

    material: Material
    at_hand: list[float]
    #: What the spool on each printer still holds, by the printer's name.
    mounted: dict[str, float] = field(default_factory=dict)
    new: int = 0

    def draw(self, grams: float, printer: str) -> list[float]:
        """Take the filament of a run; return after how many grams of the run a spool runs out."""
        if printer not in self.mounted:
            self.mounted[printer] = self._next()
        swaps, drawn = [], 0.0
        while grams - drawn > self.mounted[printer] + _EMPTY:
            drawn += self.mounted[printer]
            swaps.append(round(drawn, _DECIMALS))
            self.mounted[printer] = self._next()
        self.mounted[printer] = max(self.mounted[printer] - (grams - drawn), 0.0)
        return swaps

    def _next(self) -> float:
        if self.at_hand:
            return self.at_hand.pop(0)
        self.new += 1
        return self.material.spool


@dataclass(frozen=True, slots=True)
class Drawn:
    """The spool changes of each run, in grams from its start, and the number of new spools of each filament."""

    swaps: Mapping[int, list[float]]
    new: Mapping[FilamentKey, int]


def draw_spools(runs: Iterable[tuple[RunEntry, str]], materials: Sequence[Material], used: Used) -> Drawn:
    """Return the spool changes of runs in the order of their starts, each with its printer's name.

    A printer keeps its spool of a filament until it runs out, so two printers with one filament take two spools.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    stocks: dict[FilamentKey, _Stock] = {}
    swaps: dict[int, list[float]] = {}
    for run, printer in runs:
        if run.grams is None:
            swaps[run.number] = []
            continue
        key = run.material, run.colour
        if key not in stocks:
            material = _material_of(key, materials)
            stocks[key] = _Stock(material, left_of(material, used.get(key, 0.0)))
        swaps[run.number] = stocks[key].draw(run.grams, printer)
    return Drawn(swaps, {key: stock.new for key, stock in stocks.items()})


def purchases(
    runs: Sequence[RunEntry],
    materials: Sequence[Material],
    used: Used | None = None,
    steps: Sequence[StepEntry] = (),
) -> tuple[PurchaseEntry, ...]:
    """Return the filament that is needed and the spools to buy, in the order of the materials.

    Runs without a weight are left out.

    Args:
        runs: the runs to come.
        materials: the filaments with their spools.
        used: grams already used. What exceeded the spools at hand came off new ones, whose rest is at hand now.
        steps: the timetable's; printers that work side by side need a spool each. Without them one printer does all.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    used = used or {}
    runs_by_number = {run.number: run for run in runs}
    dated = [(runs_by_number[step.run], step.printer) for step in steps if step.run in runs_by_number]
    dated_numbers = {run.number for run, _ in dated}
    printer = dated[0][1] if dated else ""
    new = draw_spools(
        [*dated, *((run, printer) for run in runs if run.number not in dated_numbers)], materials, used
    ).new
    entries = []
    for key in dict.fromkeys((material.name, material.colour) for material in materials):
        grams = sum(run.grams for run in runs if (run.material, run.colour) == key and run.grams is not None)
        if grams <= 0.0:
            continue
        material = _material_of(key, materials)
        price = material.cost_per_kg
        entries.append(
            PurchaseEntry(
                material=material.name,
                colour=material.colour,
                grams=round(grams, _DECIMALS),
                left=round(sum(left_of(material, used.get(key, 0.0))), _DECIMALS),
                spools=new[key],
                cost=None if price is None else round(new[key] * material.spool * price / 1000.0, _DECIMALS),
            )
        )
    return tuple(entries)


def _material_of(key: FilamentKey, materials: Sequence[Material]) -> Material:
    for material in materials:
        if (material.name, material.colour) == key:
            return material
    raise ValueError(f"There is no material {key[0]} {key[1] or 'of no colour'}.")


def left_of(material: Material, used: float) -> list[float]:
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
