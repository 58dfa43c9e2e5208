"""Poses: the ways a thing may lie or stand, each with its bounding box.

A screw takes the room of a cylinder as wide as its head. A prism keeps its outline.
"""

import itertools
from dataclasses import dataclass
from functools import lru_cache
from math import pi
from typing import Final, Literal, TypeAlias

import shapely
import shapely.affinity
from shapely.geometry import Polygon

from worker.layout.model.shapes import Point, Ring
from worker.layout.tray.grip import principal_turn
from worker.spec.items.shape import Box, Cylinder, PlainShape, Prism, Screw

__all__ = ["Pose", "from_zero", "longest", "lying_poses", "poses", "reversed_pose", "thinnest", "turned", "volume"]

Axis: TypeAlias = Literal["x", "y", "z"]
Extents: TypeAlias = tuple[float, float, float]

_DECIMALS: Final = 3

#: An outline lies askew if its smallest box is smaller than the one along its axes by this share.
_ASKEW: Final = 0.02


@dataclass(frozen=True, slots=True)
class Pose:
    """A thing as it lies or stands, its bounding box starting at 0, 0, 0.

    ``axis`` is where a cylinder's length or a prism's height points; a box has ``z``. ``outline`` is a prism's outline,
    counter-clockwise, in the plane square to its axis: coordinates are ``(x, y)`` for axis z, ``(y, z)`` for axis x and
    ``(z, x)`` for axis y.
    """

    form: Literal["box", "cylinder", "prism"]
    size: Extents
    axis: Axis = "z"
    outline: Ring = ()

    @property
    def round_radius(self) -> float:
        """Radius of its corners seen from above: half the diameter of a standing cylinder, else 0."""
        return self.size[0] / 2.0 if self.form == "cylinder" and self.axis == "z" else 0.0

    @property
    def shadow(self) -> float:
        """Area seen from above, in mm2."""
        if self.axis == "z" and self.form == "prism":
            return _signed_area(self.outline)
        return pi * self.round_radius**2 if self.round_radius else self.size[0] * self.size[1]


def poses(shape: PlainShape) -> tuple[Pose, ...]:
    """Return every pose: each way up, as it is and turned by 90 degrees about z; no two are equal."""
    if isinstance(shape, Prism):
        lying = _prism_poses(shape)
    elif isinstance(shape, Box):
        lying = [Pose("box", (x, y, z)) for x, y, z in itertools.permutations(shape.size)]
    else:
        diameter, length = _round_sizes(shape)
        lying = [
            Pose("cylinder", (diameter, diameter, length), "z"),
            Pose("cylinder", (length, diameter, diameter), "x"),
            Pose("cylinder", (diameter, length, diameter), "y"),
        ]
    return tuple(dict.fromkeys(lying))


def lying_poses(every: tuple[Pose, ...]) -> tuple[Pose, ...]:
    """Return the poses in which a thing lies: as low as can be."""
    lowest = min(pose.size[2] for pose in every)
    return tuple(pose for pose in every if pose.size[2] <= lowest)


def turned(pose: Pose) -> Pose:
    """Return a pose turned by 90 degrees about z."""
    across, back, up = pose.size
    axis = {"x": "y", "y": "x", "z": "z"}[pose.axis]
    outline = pose.outline
    if pose.form == "prism":
        if pose.axis == "z":
            outline = from_zero(tuple((-y, x) for x, y in outline))
        elif pose.axis == "x":  # (y, z) becomes (z, x), and x is the old -y
            outline = from_zero(tuple((z, -y) for y, z in outline))
        else:  # (z, x) becomes (y, z), and y is the old x
            outline = from_zero(tuple((x, z) for z, x in reversed(outline)))
    return Pose(pose.form, (back, across, up), axis, outline)  # type: ignore[arg-type]


def reversed_pose(pose: Pose) -> Pose:
    """Return a pose turned by 180 degrees about z."""
    return turned(turned(pose))


def volume(shape: PlainShape) -> float:
    """Return the volume in mm3; a prism's outline has its area by the shoelace formula."""
    match shape:
        case Box(size=(length, width, height)):
            return length * width * height
        case Cylinder(diameter=diameter, length=length):
            return pi / 4.0 * diameter**2 * length
        case Screw(length=None):
            return 0.0
        case Screw():
            head = pi / 4.0 * shape.head_diameter**2 * shape.head_height
            return head + pi / 4.0 * shape.diameter**2 * (shape.length or 0.0)
        case Prism():
            return abs(_signed_area(shape.points)) * shape.height


def longest(shape: PlainShape) -> float:
    """Return the longest side of the box around it."""
    return max(poses(shape)[0].size)


def thinnest(shape: PlainShape) -> float:
    """Return the shortest side of the box around it."""
    return min(poses(shape)[0].size)


def _round_sizes(shape: Cylinder | Screw) -> Point:
    """Return diameter and length of the cylinder around it."""
    if isinstance(shape, Cylinder):
        return shape.diameter, shape.length
    return shape.head_diameter, shape.head_height + (shape.length or 0.0)


def _prism_poses(shape: Prism) -> list[Pose]:
    """Return a prism lying flat, and standing on each side of the box around its outline."""
    height = shape.height
    lying: list[Pose] = []
    for outline in _turns(shape.points):
        across, up = (max(along) for along in zip(*outline, strict=True))
        lying.append(Pose("prism", (across, up, height), "z", outline))
        lying.append(Pose("prism", (height, across, up), "x", outline))
        lying.append(Pose("prism", (up, height, across), "y", outline))
    return lying


@lru_cache(maxsize=1024)
def _turns(points: Ring) -> tuple[Ring, Ring]:
    """Return the outline from 0, 0 on, counter-clockwise, as it is and turned by 90 degrees.

    One that lies askew, as things in photos do, is turned along its smallest box first.
    """
    ring = points if _signed_area(points) > 0.0 else points[::-1]
    item = Polygon(ring)
    if shapely.minimum_rotated_rectangle(item).area < (1.0 - _ASKEW) * shapely.envelope(item).area:
        straight = shapely.affinity.rotate(item, -principal_turn(ring), origin=(0.0, 0.0))
        ring = from_zero(tuple((x, y) for x, y in shapely.get_coordinates(straight)[:-1].tolist()))
    return from_zero(ring), from_zero(tuple((-y, x) for x, y in ring))


def from_zero(ring: Ring) -> Ring:
    """Return a ring moved so that its box begins at 0, 0."""
    left, front = (min(along) for along in zip(*ring, strict=True))
    return tuple((round(x - left, _DECIMALS) + 0.0, round(y - front, _DECIMALS) + 0.0) for x, y in ring)


def _signed_area(ring: Ring) -> float:
    """Return the area, positive when counter-clockwise (shoelace formula)."""
    pairs = zip(ring, (*ring[1:], ring[0]), strict=True)
    return sum(ax * by - bx * ay for (ax, ay), (bx, by) in pairs) / 2.0
