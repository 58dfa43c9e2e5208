"""The sockets of a floor that panels stand on: where a panel's feet have room in them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import ceil, floor
from typing import NamedTuple, TypeAlias

from worker.layout.model.plan import Lattice
from worker.layout.placement.bay import Spot
from worker.spec.drawer.joint import Joint
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["FloorSockets", "PanelSocket"]

#: Left, front, right, back, mm.
Box: TypeAlias = tuple[float, float, float, float]


class PanelSocket(NamedTuple):
    """A socket that a panel runs over: where its cell begins and ends along the panel, and across it, mm."""

    start: float
    end: float
    low: float
    high: float

    @property
    def middle(self) -> float:
        """Its middle along the panel, mm."""
        return (self.start + self.end) / 2.0


@dataclass(frozen=True)
class FloorSockets:
    """The floor of a drawer as far as panels go: its grid, and the joint of its sockets."""

    lattice: Lattice
    joint: Joint

    @property
    def top(self) -> float:
        """Height of the lands between sockets, which panels stand on, mm."""
        return self.joint.height

    def along(self, axis: int, at: float, reach: float) -> list[PanelSocket]:
        """Return the sockets below a panel in which there is room to both sides of it, in order along it.

        Args:
            axis: 0 for a panel along x, 1 along y.
            at: its middle across, mm.
            reach: least distance of its middle from a cell's edge, mm.
        """
        origin, half = self.lattice.origin, self.lattice.pitch / 2.0
        sockets: list[PanelSocket] = []
        for cell in self.lattice.cells:
            spans = [(cell.x, cell.x + cell.width), (cell.y, cell.y + cell.depth)]
            (start, end), (low, high) = (
                tuple(origin[along] + step * half for step in spans[along]) for along in (axis, 1 - axis)
            )
            if low + reach <= at + LENGTH_EPSILON and at <= high - reach + LENGTH_EPSILON:
                sockets.append(PanelSocket(start, end, low, high))
        return sorted(sockets)

    def carries(self, box: Box) -> bool:
        """Return whether something on a rectangle rests on tiles: it does not fit into a single socket."""
        origin, half, land = self.lattice.origin, self.lattice.pitch / 2.0, self.joint.land
        for cell in self.lattice.cells:
            left, front = origin[0] + cell.x * half + land, origin[1] + cell.y * half + land
            right, back = left + cell.width * half - 2.0 * land, front + cell.depth * half - 2.0 * land
            if left < box[0] and front < box[1] and box[2] < right and box[3] < back:
                return False
        return True

    def covered(self, boxes: Iterable[Box]) -> frozenset[Spot]:
        """Return the half cells in which no tray can stand because of what covers these rectangles, mm."""
        there = self.lattice.half_cells
        return frozenset(spot for box in boxes for spot in self._under(box) if spot in there)

    def _under(self, box: Box) -> Iterator[Spot]:
        """Yield the half cells where a tray's body, inside its cell, would meet a rectangle."""
        half, inset = self.lattice.pitch / 2.0, self.joint.body_inset
        (first, end), (low, high) = (
            (
                floor((box[axis] + inset - self.lattice.origin[axis]) / half + LENGTH_EPSILON),
                ceil((box[axis + 2] - inset - self.lattice.origin[axis]) / half - LENGTH_EPSILON),
            )
            for axis in (0, 1)
        )
        yield from ((x, y) for x in range(first, end) for y in range(low, high))
