"""Filament: what a volume of plastic is in grams, metres and money."""

from math import pi
from typing import Final

__all__ = ["FILAMENT_AREA", "cost", "length", "mass"]

#: mm2 of a filament 1.75 mm across (trade standard size): pi d^2 / 4.
FILAMENT_AREA: Final = pi * 1.75**2 / 4.0


def mass(volume: float, density: float) -> float:
    """Return the grams of ``volume`` mm3 at ``density`` g/cm3."""
    return volume * density / 1000.0


def length(volume: float) -> float:
    """Return the metres of filament that hold ``volume`` mm3."""
    return volume / FILAMENT_AREA / 1000.0


def cost(grams: float, cost_per_kg: float | None) -> float | None:
    """Return the price of so many grams in the currency of ``cost_per_kg``, None when that is not known."""
    return None if cost_per_kg is None else grams * cost_per_kg / 1000.0
