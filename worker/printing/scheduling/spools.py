"""Spools: what of the filament comes from which spool, where one runs out in a run, and what to buy. Grams."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Final, TypeAlias

from worker.spec.manifest.manifest import PurchaseEntry, RunEntry, StepEntry
from worker.spec.printer.material import Material

__all__ = ["Drawn", "Used", "draw_spools", "left_of", "purchases"]

#: By material and colour.
Key: TypeAlias = tuple[str, str | None]
Used: TypeAlias = Mapping[Key, float]

#: Less than this on a spool is nothing: rounding of sums.
_NOTHING: Final = 1e-6
_DECIMALS: Final = 2


@dataclass(slots=True)
class _Stock:
    """Spools of one filament: ``left`` ones in the order of their use, then new ones; ``on`` a printer each."""

    material: Material
    left: list[float]
    on: dict[str, float] = field(default_factory=dict)
    new: int = 0

    def draw(self, grams: float, printer: str) -> list[float]:
        """Take filament for a run; return after how many grams of it a spool runs out."""
        if printer not in self.on:
            self.on[printer] = self._next()
        swaps, drawn = [], 0.0
        while grams - drawn > self.on[printer] + _NOTHING:
            drawn += self.on[printer]
            swaps.append(round(drawn, _DECIMALS))
            self.on[printer] = self._next()
        self.on[printer] = max(self.on[printer] - (grams - drawn), 0.0)
        return swaps

    def _next(self) -> float:
        if self.left:
            return self.left.pop(0)
        self.new += 1
        return self.material.spool


@dataclass(frozen=True, slots=True)
class Drawn:
    """All runs' filament: by run after how many grams of it a spool runs out, and by filament the new spools."""

    swaps: Mapping[int, list[float]]
    new: Mapping[Key, int]


def draw_spools(runs: Iterable[tuple[RunEntry, str]], materials: Sequence[Material], used: Used) -> Drawn:
    """Return where the filament comes from, for runs in the order of their begin, each with its printer's name.

    A printer keeps its spool of a filament until it runs out, so two that print the same one take two spools.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    stocks: dict[Key, _Stock] = {}
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
    """Return what filament is needed and must be bought, in the order of the materials; nothing for runs unweighed.

    Args:
        runs: the runs to come.
        materials: the filaments with their spools.
        used: grams used before of a material and colour; what was needed beyond the spools there came off new ones,
            and what those still hold is there now.
        steps: the timetable's: printers at work side by side need a spool each. Without them one printer does all.

    Raises:
        ValueError: when a run's material is not among the materials.
    """
    used = used or {}
    of_number = {run.number: run for run in runs}
    dated = [(of_number[step.run], step.printer) for step in steps if step.run in of_number]
    known = {run.number for run, _ in dated}
    first = dated[0][1] if dated else ""
    new = draw_spools([*dated, *((run, first) for run in runs if run.number not in known)], materials, used).new
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


def _material_of(key: Key, materials: Sequence[Material]) -> Material:
    for material in materials:
        if (material.name, material.colour) == key:
            return material
    raise ValueError(f"There is no material {key[0]} {key[1] or 'of no colour'}.")


def left_of(material: Material, used: float) -> list[float]:
    """Return what the spools that are there still hold, the one in use first."""
    spools = list(material.left)
    while spools and used >= spools[0] - _NOTHING:
        used -= spools.pop(0)
    if used <= _NOTHING:
        return spools
    if spools:
        return [spools[0] - used, *spools[1:]]
    opened = ceil(used / material.spool - _NOTHING) * material.spool
    return [opened - used] if opened - used > _NOTHING else []
