"""Trays on others: where those of a drawer's list stand that its spec puts on other trays, and what carries them.

The feet of an upper tray stand in stacking rims of one height, which its lower edges of 45 degrees rest on, as they do
in the sockets of tiles. What carries it are the walls of lower trays below its footprint.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from graphlib import TopologicalSorter
from itertools import pairwise
from typing import Final, NamedTuple

import shapely
from shapely.geometry import LinearRing, LineString, MultiPoint, Point, Polygon

from worker.layout.model.plan import Lattice
from worker.layout.placement.bay import Spot, half_cells
from worker.layout.placement.tray_placement import PlacedTray, tray_halves
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.tray import Rim, Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = [
    "LayeredTray",
    "Support",
    "carriers",
    "ceilings",
    "layered",
    "on_half_feet",
    "place_upper_trays",
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


def support(upper: LayeredTray, below: Sequence[LayeredTray]) -> Support | None:
    """Return how a tray stands on others; None where it tips by itself.

    It is carried along the walls of the lower trays within its own footprint; its mass counts as in its middle.
    """
    (x, y), (wide, deep) = upper.at, upper.halves
    footprint = Polygon(_corners(upper))
    outlines = [LinearRing(_corners(tray)) for tray in below]
    walls = shapely.unary_union([outline.intersection(footprint) for outline in outlines])
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


def place_upper_trays(
    drawer: Drawer, lattice: Lattice, joint: Joint, placed: Sequence[PlacedTray], *, pointer: str
) -> tuple[PlacedTray, ...]:
    """Return all trays of a drawer in the order of its list: those on the floor, and those that stand on them.

    Args:
        drawer: the drawer with its trays.
        lattice: its grid.
        joint: joint of the grid.
        placed: the trays on the floor.
        pointer: JSON Pointer of the drawer.

    Raises:
        TrayError: if a tray cannot stand on those that it is to stand on.
    """
    below = {
        index: [number for number, other in enumerate(drawer.trays) if other.name in tray.on]
        for index, tray in enumerate(drawer.trays)
        if tray.on
    }
    if not below:
        return tuple(placed)
    every = list(placed)
    for index in TopologicalSorter(below).static_order():
        if index in below:
            every.append(_Layers(drawer, lattice, joint, every, f"{pointer}/trays/{index}").placed(index, below[index]))
    return tuple(sorted(every, key=lambda place: place.tray))


def layered(tray: Tray, place: PlacedTray) -> LayeredTray:
    """Return a tray of a list in its place."""
    return LayeredTray(place.at, tray_halves(tray), place.z, tray.height, tray.rim)


@dataclass(frozen=True)
class _Layers:
    """The trays of a drawer so far, for one that is to stand on some of them."""

    drawer: Drawer
    lattice: Lattice
    joint: Joint
    trays: Sequence[PlacedTray]
    pointer: str

    def placed(self, index: int, names: Sequence[int]) -> PlacedTray:
        tray = self.drawer.trays[index]
        under = [place for place in self.trays if place.tray in names]
        at = half_cells(tray.at) if tray.at is not None else (min(p.at[0] for p in under), min(p.at[1] for p in under))
        upper = self._level(tray, LayeredTray(at, tray_halves(tray), 0.0, tray.height, tray.rim), under)
        self._check_place(tray, upper)
        others = [self._layered(place) for place in self.trays]
        bearing = carriers(upper, others, self.joint.nesting_depth)
        for place in under:
            if not self._layered(place).overlaps(upper):
                name = self.drawer.trays[place.tray].name
                raise self._refusal(
                    f"Tray {tray.name!r} does not lie over tray {name!r}.", "on",
                    value=list(tray.on), limit="trays below its footprint",
                    remedy="Give both a position with `at`, or remove the name.",
                )  # fmt: skip
        for number, other in enumerate(others):
            if other.overlaps(upper) and number not in bearing:
                self._check_beside(tray, upper, other, self.drawer.trays[self.trays[number].tray].name)
        stands = support(upper, [others[number] for number in bearing])
        if stands is None or not stands.holds:
            raise self._refusal(
                f"Tray {tray.name!r} would tip.", "on",
                value=None if stands is None else round(stands.balance or 0.0, 2),
                limit=f"walls below it on all sides of its middle, so that its own mass at a corner does not tip it "
                f"(at least {LEAST_BALANCE:g})",
                remedy="Move it, make it smaller, or put more trays of that height below it.",
            )  # fmt: skip
        return PlacedTray(index, upper.at, on_half_feet(upper, [others[number] for number in bearing]), upper.z)

    def _level(self, tray: Tray, upper: LayeredTray, under: Sequence[PlacedTray]) -> LayeredTray:
        """Return a tray at the height at which it stands on others."""
        tops = {round(self._layered(place).top, 3) for place in under}
        if len(tops) > 1:
            raise self._refusal(
                f"The trays below tray {tray.name!r} are not equally high.", "on",
                value=sorted(tops), limit="rims at one height", remedy="Give them one height, or remove some names.",
            )  # fmt: skip
        for place in under:
            other = self.drawer.trays[place.tray]
            if other.rim != "stacking":
                raise self._refusal(
                    f"Tray {other.name!r} has no sockets for the feet of tray {tray.name!r}.", "on",
                    value=other.rim, limit="trays with a stacking rim",
                    remedy=f"Set the rim of {other.name} to stacking.",
                )  # fmt: skip
        return upper._replace(z=on_grid(tops.pop() - self.joint.nesting_depth))

    def _check_place(self, tray: Tray, upper: LayeredTray) -> None:
        """Check that a tray is below the drawer's height and over cells."""
        if upper.top > self.drawer.height + LENGTH_EPSILON:
            raise self._refusal(
                f"Tray {tray.name!r} reaches higher than drawer {self.drawer.name!r}.", "height",
                value=tray.height, limit=f"at most {on_grid(self.drawer.height - upper.z):g} mm, as its feet stand at "
                f"{upper.z:g} mm",
                remedy="Make it lower, or what it stands on.",
            )  # fmt: skip
        there = {
            (x, y)
            for cell in self.lattice.cells
            for x in range(cell.x, cell.x + cell.width)
            for y in range(cell.y, cell.y + cell.depth)
        }
        (x, y), (wide, deep) = upper.at, upper.halves
        missing = next(
            ((u, v) for v in range(y, y + deep) for u in range(x, x + wide) if (u, v) not in there), None
        )  # fmt: skip
        if missing is not None:
            raise self._refusal(
                f"Tray {tray.name!r} reaches beyond the grid.", "at",
                value=[x / 2.0, y / 2.0],
                limit=f"cells under all of it; there is none at {missing[0] / 2.0:g}, {missing[1] / 2.0:g}",
                remedy="Move it, or make it smaller.",
            )  # fmt: skip

    def _check_beside(self, tray: Tray, upper: LayeredTray, other: LayeredTray, name: str) -> None:
        """Check that a tray that does not carry another is clear of it."""
        if other.top > upper.z - UNDER_RIM + LENGTH_EPSILON and upper.top > other.z - UNDER_RIM + LENGTH_EPSILON:
            raise self._refusal(
                f"Tray {tray.name!r} runs into tray {name!r}.", "on",
                value=list(tray.on),
                limit=f"trays below it that end at {on_grid(upper.z - UNDER_RIM):g} mm, or that are as high as those "
                "that carry it and have a stacking rim",
                remedy=f"Move one of them, or change the height of {name}, {on_grid(other.top):g} mm.",
            )  # fmt: skip

    def _layered(self, place: PlacedTray) -> LayeredTray:
        return layered(self.drawer.trays[place.tray], place)

    def _refusal(self, message: str, field: str, *, value: object, limit: str, remedy: str) -> TrayError:
        return TrayError(message, pointer=f"{self.pointer}/{field}", value=value, limit=limit, remedy=remedy)


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
