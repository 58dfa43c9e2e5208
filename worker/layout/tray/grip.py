"""The grip: where a finger notch lets a thing be taken out of its pocket, near its centre of mass."""

import itertools
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, pi
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import Point, Ring

__all__ = ["Grip", "best_grips", "finger_slot", "principal_turn"]

#: Directions in which a thing may be pinched, degrees apart.
_TURN: Final = 15.0
#: Places along the thing's longer axis that are tried, as shares of its length from the centre of mass.
_SHARES: Final = (0.0, -0.06, 0.06, -0.12, 0.12, -0.2, 0.2)
#: A mm off the centre of mass counts as so many mm across: what is held beside it tilts (own choice).
_OFF_CENTRE: Final = 1.5
#: Maximum length of a facet of the slot's round ends, mm.
_FACET: Final = 1.0


@dataclass(frozen=True, slots=True)
class Grip:
    """A place to take a thing: a point of it, and the direction in degrees from x in which fingers close on it."""

    at: Point
    turn: float


@lru_cache(maxsize=256)
def best_grips(outline: Ring, width: float) -> tuple[Grip, ...]:
    """Return where a thing can be pinched in a slot of this width, the best first.

    The best place is where little is between the fingers, and near the centre of mass, which is that of a plate.

    Args:
        outline: of the thing, mm.
        width: of the slot, mm.
    """
    item = Polygon(outline)
    main = principal_turn(outline)
    left, _, right, _ = shapely.affinity.rotate(item, -main, origin=(0.0, 0.0)).bounds
    along = np.array([np.cos(np.radians(main)), np.sin(np.radians(main))]) * (right - left)
    middle = shapely.get_coordinates(item.centroid)[0]
    scored = []
    for order, (share, step) in enumerate(itertools.product(_SHARES, range(round(180.0 / _TURN)))):
        grip = Grip(_point(middle + share * along), (main + 90.0 + step * _TURN) % 180.0)
        ends = _ends(item, grip, width)
        if ends is not None:
            across = ends[1] - ends[0] + 2.0 * max(-ends[1], ends[0], 0.0)
            scored.append((round(across + _OFF_CENTRE * abs(share) * (right - left), 6), order, grip))
    return tuple(grip for _, _, grip in sorted(scored, key=lambda entry: entry[:2]))


def finger_slot(item: BaseGeometry, grip: Grip, width: float, reach: float, *, one_side: bool = False) -> BaseGeometry:
    """Return a slot with round ends across an item at a grip, ``reach`` mm past it on either side.

    With ``one_side`` it is the one end of it, a disc.
    """
    low, high = _ends(item, grip, width) or (0.0, 0.0)
    direction = np.array([np.cos(np.radians(grip.turn)), np.sin(np.radians(grip.turn))])
    low, high = low - reach + width / 2.0, high + reach - width / 2.0
    if one_side:
        low = high
    if low > high:
        low = high = (low + high) / 2.0
    ends = [np.array(grip.at) + direction * far for far in (low, high)]
    line = shapely.LineString(ends) if high > low else shapely.Point(ends[0])
    return line.buffer(width / 2.0, quad_segs=ceil(pi * width / 4.0 / _FACET))


def principal_turn(outline: Ring) -> float:
    """Return the direction of the longer side of the smallest box around an outline, degrees in [0, 180)."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(Polygon(outline)))
    sides = np.diff(box[:3], axis=0)
    longer = sides[int(np.argmax(np.round(np.linalg.norm(sides, axis=1), 3)))]
    return round(float(np.degrees(np.arctan2(longer[1], longer[0]))) % 180.0, 3) % 180.0


def _ends(item: BaseGeometry, grip: Grip, width: float) -> tuple[float, float] | None:
    """Return where an item begins and ends within a slot, measured along it from the grip, mm; None if not at all."""
    moved = shapely.affinity.translate(item, -grip.at[0], -grip.at[1])
    turned = shapely.affinity.rotate(moved, -grip.turn, origin=(0.0, 0.0))
    left, _, right, _ = turned.bounds
    strip = turned & shapely.box(left - 1.0, -width / 2.0, right + 1.0, width / 2.0)
    return None if strip.is_empty else (strip.bounds[0], strip.bounds[2])


def _point(coordinates: np.ndarray) -> Point:
    return round(float(coordinates[0]), 3), round(float(coordinates[1]), 3)
