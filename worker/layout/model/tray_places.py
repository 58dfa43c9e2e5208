"""Tray places: where the trays of a job stand, and the parts of the tray at each place."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple, Self, TypeAlias

from worker.layout.model.plan import Plan
from worker.layout.model.shapes import Part, Point

__all__ = ["AS_ALL", "MadeFor", "TrayPlace", "trays_of"]


class TrayPlace(NamedTuple):
    """Where a tray stands: the index of its drawer, its cell, and the height of its feet over the bottom, mm."""

    drawer: int
    cell: Point
    z: float

    @classmethod
    def of(cls, drawer: int, spot: tuple[int, int], z: float) -> Self:
        """Return the place of a tray whose front left half cell is given."""
        return cls(drawer, (spot[0] / 2.0, spot[1] / 2.0), z)


#: Names of the printers that the trays at some places are made for; None, or no name, for that of all other trays.
MadeFor: TypeAlias = Mapping[TrayPlace, str | None]

AS_ALL: Final[MadeFor] = MappingProxyType({})


def trays_of(plan: Plan) -> dict[TrayPlace, tuple[Part, ...]]:
    """Return the parts of each tray of a plan, those of a jointed one in the order in which they are joined."""
    parts = {part.mark: part for part in plan.parts if part.kind == "tray"}
    trays: dict[TrayPlace, tuple[Part, ...]] = {}
    for index, drawer in enumerate(plan.drawers):
        for placement in drawer.placements:
            if placement.mark in parts and placement.cell is not None:
                place = TrayPlace(index, placement.cell, placement.at[2])
                trays[place] = (*trays.get(place, ()), parts[placement.mark])
    return trays
