"""Trays on others: what carries them, and when they tip.

The feet of an upper tray stand in stacking rims of one height, which its lower edges of 45 degrees rest on, as they do
in the sockets of tiles. What carries it are the walls of lower trays below its footprint, and panels.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

import shapely
from shapely.geometry import LinearRing, LineString, MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.placement.bay import Spot
from worker.layout.placement.tray_placement import PlacedTray, tray_halves
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.tray import Rim, Tray
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = [
    "LEAST_BALANCE",
    "LayeredTray",
    "Support",
    "carriers",
    "ceilings",
    "layered",
    "on_half_feet",
    "support",
]

#: Least ratio of the distances of an upper tray's middle and of its furthest corner from the line that it would tip
#: over: with 1, a load at that corner as heavy as the tray tips it (own choice).
LEAST_BALANCE: Final = 1.0

#: So much of a footprint, in half cells, lies beside what it overlaps.
_BESIDE: Final = 1e-6


class LayeredTray(NamedTuple):
    """A tray in its place: front left half cell, size in half cells, z of its feet, height and rim; mm."""

    at: Spot
    halves: Spot
    z: float
    height: float
    rim: Rim

    @property
    def top(self) -> float:
        """Height of its rim above the drawer's bottom."""
        return self.z + self.height

    def overlaps(self, other: "LayeredTray") -> bool:
        """Return whether both stand over some of the same half cells."""
        return all(
            self.at[axis] < other.at[axis] + other.halves[axis] and other.at[axis] < self.at[axis] + self.halves[axis]
            for axis in (0, 1)
        )


@dataclass(frozen=True, slots=True)
class Support:
    """How an upper tray stands: ``balance`` is the load at its outermost corner that tips it, in masses of its own.

    None where nothing tips it: it is carried below all of its corners.
    """

    balance: float | None

    @property
    def holds(self) -> bool:
        """Whether it takes `LEAST_BALANCE` at a corner without tipping."""
        return self.balance is None or self.balance >= LEAST_BALANCE


def carriers(upper: LayeredTray, trays: Sequence[LayeredTray], depth: float) -> tuple[int, ...]:
    """Return which trays carry another one, by their indices.

    Args:
        upper: the tray on others.
        trays: those of its drawer.
        depth: by how much a foot stands in a rim (`Joint.nesting_depth`), mm.
    """
    return tuple(
        index
        for index, tray in enumerate(trays)
        if tray.rim == "stacking" and tray.overlaps(upper) and abs(tray.top - depth - upper.z) < LENGTH_EPSILON
    )


def support(upper: LayeredTray, below: Sequence[LayeredTray], contacts: Sequence[BaseGeometry] = ()) -> Support | None:
    """Return how a tray stands on others; None where it tips by itself.

    It is carried along the walls of the lower trays within its own footprint; its mass counts as in its middle.

    Args:
        upper: the tray.
        below: the trays that carry it.
        contacts: where panels carry it, half cells.
    """
    (x, y), (wide, deep) = upper.at, upper.halves
    footprint = Polygon(_corners(upper))
    outlines = [LinearRing(_corners(tray)) for tray in below]
    walls = shapely.union_all([*(outline.intersection(footprint) for outline in outlines), *contacts])
    hull = shapely.convex_hull(walls)
    middle = Point(x + wide / 2.0, y + deep / 2.0)
    if not isinstance(hull, Polygon) or not hull.contains(middle):
        return None
    corners = MultiPoint(_corners(upper))
    least: float | None = None
    ring = list(hull.exterior.coords)
    for start, end in pairwise(ring):
        edge = _line(start, end)
        inside = edge.distance(middle)
        for corner in corners.geoms:
            beyond = edge.distance(corner)
            if beyond > _BESIDE and not _same_side(start, end, corner, middle):
                least = inside / beyond if least is None else min(least, inside / beyond)
    return Support(least)


def on_half_feet(upper: LayeredTray, below: Sequence[LayeredTray]) -> bool:
    """Return whether a tray on others has half feet: where a wall below runs along the middle of its cells."""
    odd = any(along % 2 for along in upper.halves)
    for tray in below:
        for axis in (0, 1):
            low, high = upper.at[axis], upper.at[axis] + upper.halves[axis]
            for line in (tray.at[axis], tray.at[axis] + tray.halves[axis]):
                odd = odd or (low < line < high and (line - low) % 2 == 1)
    return odd


def _corners(tray: LayeredTray) -> list[Spot]:
    (x, y), (wide, deep) = tray.at, tray.halves
    return [(x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep)]


def _line(start: tuple[float, ...], end: tuple[float, ...]) -> LineString:
    """Return an edge extended far beyond both ends."""
    along = [(b - a) * 1e4 for a, b in zip(start, end, strict=True)]
    return LineString([(start[0] - along[0], start[1] - along[1]), (end[0] + along[0], end[1] + along[1])])


def _same_side(start: tuple[float, ...], end: tuple[float, ...], point: Point, other: Point) -> bool:
    across = [
        (end[0] - start[0]) * (here.y - start[1]) - (end[1] - start[1]) * (here.x - start[0]) for here in (point, other)
    ]
    return across[0] * across[1] > 0.0


def layered(tray: Tray, place: PlacedTray) -> LayeredTray:
    """Return a tray of a list in its place."""
    return LayeredTray(place.at, tray_halves(tray), place.z, tray.height, tray.rim)


def ceilings(trays: Sequence[LayeredTray], height: float, depth: float) -> Iterator[float]:
    """Yield how high each tray and what is in it may reach above its own feet: up to the feet of a tray over it.

    A tray in its rim does not count: nothing in a stacking tray reaches its rim anyway.

    Args:
        trays: those of a drawer.
        height: the drawer's, mm.
        depth: by how much a foot stands in a rim, mm.
    """
    for tray in trays:
        above = [other.z for other in trays if other.z > tray.z and other.overlaps(tray)]
        bridged = [z for z in above if tray.rim != "stacking" or abs(tray.top - depth - z) > LENGTH_EPSILON]
        yield on_grid(min([height, *bridged]) - tray.z)
