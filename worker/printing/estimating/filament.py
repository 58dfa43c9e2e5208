"""Filament: mass, length and cost of a volume of plastic."""

from math import pi
from typing import Final

__all__ = ["FILAMENT_AREA", "cost", "length", "mass"]

#: Cross-section of filament of 1.75 mm (trade standard diameter), mm2: pi d^2 / 4.
FILAMENT_AREA: Final = pi * 1.75**2 / 4.0


def mass(volume: float, density: float) -> float:
    """Return the mass in g of ``volume`` mm3 at ``density`` g/cm3."""
    return volume * density / 1000.0


def length(volume: float) -> float:
    """Return the length in m of filament of ``volume`` mm3."""
    return volume / FILAMENT_AREA / 1000.0


def cost(grams: float, cost_per_kg: float | None) -> float | None:
    """Return the cost of ``grams`` g of filament in the currency of ``cost_per_kg``; None without a price."""
    return None if cost_per_kg is None else grams * cost_per_kg / 1000.0
