"""Panels below trays: how a tray stands on their top edges.

A panel along a line between two feet of a tray, or along its side, carries it on the 45-degree shoulders of these feet,
as the wall between two sockets does, and keeps it from sliding. Any other one carries it flat, below its feet, where
only friction holds it. The edge of a panel that was on the bed is cut back by its first layers: there a shoulder may
be 0.4 mm above it, as far as these do not spread.
"""

from dataclasses import dataclass
from math import floor
from typing import Final, NamedTuple, TypeAlias

import shapely
from shapely.geometry.base import BaseGeometry

from worker.layout.model.plan import Lattice
from worker.layout.placement.bay import Spot
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.joint import Joint

__all__ = ["Obstruction", "PanelSeat", "PanelTop", "SeatMaker"]

#: Left, front, right, back in the drawer's frame, mm.
Box: TypeAlias = tuple[float, float, float, float]

#: Distance in mm of a panel's middle from a line between feet up to which it counts as in line (own choice: a tray
#: rests that much off its cells then).
_IN_LINE: Final = 0.1
#: Least air in mm between a panel and the feet beside it, below their shoulders.
_SEAT_AIR: Final = 0.05


class PanelTop(NamedTuple):
    """The top edge of a panel: its axis (0: along x), the rectangle that it covers, its height above the bottom; mm.

    ``listed`` is whether the drawer's list gives it its name, by which trays may be `on` it.
    """

    name: str
    axis: int
    box: Box
    height: float
    listed: bool = True


class Obstruction(NamedTuple):
    """What a tray on panels must be clear of, and how high it reaches, mm."""

    name: str
    box: Box
    top: float


class PanelSeat(NamedTuple):
    """How a panel carries a tray at a place: z of its feet, mm, and the contact in half cells of the drawer's grid.

    ``line`` is the half cell's line, across the panel, between whose feet it stands; None where it carries them flat.
    """

    level: float
    contact: BaseGeometry
    line: int | None


@dataclass(frozen=True)
class SeatMaker:
    """Works out seats of trays on panels, for one grid and joint."""

    lattice: Lattice
    joint: Joint

    def halves(self, box: Box) -> tuple[float, float, float, float]:
        """Return a rectangle of the drawer's frame in half cells of the grid."""
        left, front, right, back = box
        (x, y), half = self.lattice.origin, self.lattice.pitch / 2.0
        return (left - x) / half, (front - y) / half, (right - x) / half, (back - y) / half

    def seat(self, panel: PanelTop, at: Spot, size: Spot, *, half_feet: bool) -> PanelSeat | None:
        """Return how a panel would carry a tray; None where it is not below any foot or shoulder.

        Args:
            panel: the panel.
            at: front left half cell of the tray.
            size: of the tray, half cells.
            half_feet: whether it has a foot for each half cell; on a line through the middle of cells it is taken to.
        """
        half, across = self.lattice.pitch / 2.0, 1 - panel.axis
        box = self.halves(panel.box)
        under = shapely.box(*box) & shapely.box(*at, at[0] + size[0], at[1] + size[1])
        if under.area == 0.0:
            return None
        middle, thick = (box[across] + box[across + 2]) / 2.0, (box[across + 2] - box[across]) * half
        line = floor(middle + 0.5)
        off = (middle - line) * half
        if abs(off) <= _IN_LINE and at[across] <= line <= at[across] + size[across]:
            *_, (guide, _), (inset, top) = self.joint.foot_levels()
            # beside a tray's outermost feet there is one shoulder only
            sides = [off] * (line < at[across] + size[across]) + [-off] * (line > at[across])
            edge = thick / 2.0 + max(sides)
            if inset <= edge <= guide - _SEAT_AIR:
                return PanelSeat(on_grid(panel.height - (top - (edge - inset))), under, line)
        contact = under & self._feet(at, size, half_feet=half_feet)
        return PanelSeat(on_grid(panel.height), contact, None) if contact.area > 0.0 else None

    def _feet(self, at: Spot, size: Spot, *, half_feet: bool) -> BaseGeometry:
        """Return the flat undersides of a tray's feet, in half cells."""
        inset = self.joint.foot_levels()[0][0] / (self.lattice.pitch / 2.0)
        step = 1 if half_feet or any(along % 2 for along in size) else 2
        return shapely.union_all(
            [
                shapely.box(x + inset, y + inset, x + step - inset, y + step - inset)
                for x in range(at[0], at[0] + size[0], step)
                for y in range(at[1], at[1] + size[1], step)
            ]
        )
