"""Loose storage: small things poured into a compartment, low enough for fingers to reach the last one.

How much room they take follows from random packing. Spheres poured at random fill 0.55 to 0.64 of their room: 0.555 is
the loosest packing that stands (Onoda and Liniger, Physical Review Letters 64, 1990), 0.64 the closest (random close
packing, published many times); both from memory. Long rods fill about 5.4 over their aspect ratio (Philipse, Langmuir
12, 1996; from memory). What is not convex, a screw with its head, fills less: `_HOOKED`.
"""

from dataclasses import dataclass
from math import pi
from typing import Final

from worker.layout.storage.poses import longest, poses, thinnest, volume
from worker.layout.storage.reach import FINGER_BREADTH, HAND_BREADTH
from worker.layout.storage.sizing_rules import AIR
from worker.layout.storage.tray_option import Bulk
from worker.layout.tray.interior import on_grid
from worker.spec.items.shape import PlainShape, Screw
from worker.spec.tolerances import COORDINATE_GRID, LENGTH_EPSILON

__all__ = [
    "FILL_DEPTH",
    "FILL_FRACTION",
    "FILL_SHARE",
    "LEAST_WALLS",
    "SOFT_DEPTH",
    "Goods",
    "Heap",
    "bulk_volume",
    "fill_fraction",
    "heap",
    "poured",
    "ramp_radius",
    "region",
    "wedge",
]

#: The share of their room that compact things fill when poured.
FILL_FRACTION: Final = 0.55

#: For long rods, the fraction times the aspect ratio.
_ROD: Final = 5.4

#: What a screw's head costs: screws hook into each other (own choice; nothing published is known here).
_HOOKED: Final = 0.8

#: Loose things fill no more than this share of the walls' height, so that none is lost when a finger stirs them.
FILL_SHARE: Final = 0.8

#: The deepest that small things may lie: a finger's two end joints (common practice).
FILL_DEPTH: Final = 30.0

#: The deepest that soft things may lie, and the share of the walls' height that they may fill: they stay where they are
#: though they rise over the walls (own choice).
SOFT_DEPTH: Final = 110.0
SOFT_SHARE: Final = 1.25

#: Radius of the ramp: see `worker.layout.tray.ramp_and_ledge`; as there, no more than this share of the room's height.
_RAMP: Final = 12.0
_RAMP_SHARE: Final = 0.4

#: A room this deep has a ramp: it leaves the floor that a fingertip needs, the 12 mm of the test finger (anthropometry,
#: test-finger) and some to move (own choice).
_RAMPED: Final = _RAMP + 20.0

#: The walls round loose things are at least this high (own choice).
LEAST_WALLS: Final = 10.0


@dataclass(frozen=True, slots=True)
class Goods:
    """One item's loose things: the room in mm3 that all of them take, and the sides of the box around one.

    ``soft`` things may lie as deep as a hand reaches, and are taken with the whole hand.
    """

    name: str
    count: int
    volume: float
    thin: float
    long: float
    soft: bool = False

    @property
    def deepest(self) -> float:
        """How deep they may lie, in mm."""
        return SOFT_DEPTH if self.soft else FILL_DEPTH

    @property
    def share(self) -> float:
        """The share of the walls' height that they may fill."""
        return SOFT_SHARE if self.soft else FILL_SHARE

    def fits(self, across: float, back: float) -> bool:
        """Return whether a room of these sides lets one lie flat, and a finger or a hand in."""
        short, long = min(across, back), max(across, back)
        least = HAND_BREADTH if self.soft else FINGER_BREADTH
        return short >= max(least, self.thin + 2.0 * AIR) and long >= self.long + 2.0 * AIR


@dataclass(frozen=True, slots=True)
class Heap:
    """How goods lie in a room: how deep, what walls they need, the ramp before them."""

    depth: float
    walls: float
    ramp: float | None


def fill_fraction(shape: PlainShape) -> float:
    """Return the share of their room that such things fill when poured."""
    if isinstance(shape, Screw):
        length = shape.head_height + (shape.length or 0.0)
        return _HOOKED * min(FILL_FRACTION, _ROD * shape.diameter / length)
    return min(FILL_FRACTION, _ROD * sorted(poses(shape)[0].size)[1] / longest(shape))


def bulk_volume(shape: PlainShape, count: int, fill: float | None = None) -> float:
    """Return the room that so many poured things take, in mm3; ``fill`` is the share of it that soft ones fill."""
    return count * volume(shape) / (fill or fill_fraction(shape))


def poured(name: str, count: int, shape: PlainShape, fill: float | None = None) -> Goods:
    """Return an item's goods; of soft things ``fill`` is the share of their room that they fill."""
    return Goods(name, count, bulk_volume(shape, count, fill), thinnest(shape), longest(shape), fill is not None)


def heap(goods: Goods, across: float, back: float, ramp: float | None) -> Heap | None:
    """Return how the goods lie on a floor of these sides, or None when they lie too deep for fingers."""
    lost = wedge(ramp) * across if ramp else 0.0
    depth = max((goods.volume + lost) / (across * back), goods.thin)
    if depth > goods.deepest + LENGTH_EPSILON:
        return None
    return Heap(depth, max(depth / goods.share, LEAST_WALLS), ramp)


def ramp_radius(depth: float, back: float) -> float | None:
    """Return the radius of the ramp before goods of this depth, or None where a room is not deep enough for one."""
    if back < _RAMPED:
        return None
    return on_grid(min(_RAMP, _RAMP_SHARE * max(depth / FILL_SHARE, LEAST_WALLS)))


def wedge(radius: float) -> float:
    """Return the section of a ramp in mm2: a square less a quarter circle."""
    return (1.0 - pi / 4.0) * radius**2


def region(goods: Goods, heap_: Heap, at: tuple[float, float, float], sides: tuple[float, float], most: float) -> Bulk:
    """Return the region that a heap fills.

    Args:
        goods: what lies there.
        heap_: how.
        at: the region's least corner, on the floor.
        sides: across and front to back.
        most: how deep it may get.
    """
    lost = wedge(heap_.ramp) * sides[0] if heap_.ramp else 0.0
    most += COORDINATE_GRID  # heights are on the grid, so the limit may lie that much under the heap it was made for
    capacity = int((sides[0] * sides[1] * most - lost) / (goods.volume / goods.count) + LENGTH_EPSILON)
    return Bulk(goods.name, goods.count, at, (*sides, heap_.depth), capacity, heap_.ramp)
