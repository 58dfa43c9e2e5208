"""Rings: closed polygons in a horizontal plane, from which solids are built level by level.

A ring is an ``(n, 2) float64`` array, mm, counter-clockwise; its first point is not repeated at the end. Every rounded
rectangle has `RING` points in the same order, whatever its inset, so a strip can join any two of them.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from worker.spec.drawer.joint import LEAST_RADIUS
from worker.spec.tolerances import ARC_BULGE, COORDINATE_GRID, QUARTER_FACETS

Ring2 = NDArray[np.float64]

#: Points of a rounded rectangle: four quarter circles, each with both ends.
RING: Final = 4 * (QUARTER_FACETS + 1)

_ANGLES = np.linspace(0.0, np.pi / 2.0, QUARTER_FACETS + 1)
_QUARTERS = np.concatenate([_ANGLES - np.pi + quarter * np.pi / 2.0 for quarter in range(4)])
_REACH = np.tile(np.array([1.0, *[ARC_BULGE] * (QUARTER_FACETS - 1), 1.0]), 4)
_UNIT: Ring2 = np.column_stack([np.cos(_QUARTERS), np.sin(_QUARTERS)]) * _REACH[:, None]
_CORNER = np.repeat(np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]), QUARTER_FACETS + 1, axis=0)


def on_grid(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the points, of any shape, mm, rounded to the coordinate grid: equal points are then equal bytes."""
    return np.round(points / COORDINATE_GRID) * COORDINATE_GRID


def rounded_rectangle(  # noqa: PLR0917 - one call, one line of lengths, as on a drawing
    x: float, y: float, width: float, depth: float, inset: float, radius: float
) -> Ring2:
    """Return the inner parallel of a rounded rectangle as a ring.

    The ends of each arc lie on the true curve; the points between lie outside it by the factor `ARC_BULGE`, so that the
    ring's area is that of the true rounded rectangle, ``w d - (4 - pi) r^2``.

    Args:
        x: left edge at inset 0, mm.
        y: front edge at inset 0, mm.
        width: size along x at inset 0, mm.
        depth: size along y at inset 0, mm.
        inset: distance of the parallel from the rectangle, mm.
        radius: corner radius at inset 0, mm; the ring's own radius is ``radius - inset``, at least `LEAST_RADIUS`.

    Returns:
        ``(RING, 2) float64``, mm, starting at the left end of the front left corner's arc.
    """
    own = max(radius - inset, LEAST_RADIUS)
    half = np.array([width / 2.0 - inset, depth / 2.0 - inset])
    middle = np.array([x + width / 2.0, y + depth / 2.0])
    return middle + _CORNER * (half - own) + _UNIT * own


def circle(x: float, y: float, diameter: float, facets: int) -> Ring2:
    """Return a regular polygon of ``facets`` points whose area equals the circle's, ``(facets, 2) float64``, mm.

    The middle is at ``x``, ``y``. The radius is enlarged by the root of the ratio of areas, so that a hole keeps
    its size: an inscribed polygon's area is ``n / (2 pi) * sin(2 pi / n)`` of the circle's.
    """
    turn = 2.0 * np.pi / facets
    radius = diameter / 2.0 * np.sqrt(turn / np.sin(turn))
    angles = np.arange(facets) * turn
    return np.column_stack([x + radius * np.cos(angles), y + radius * np.sin(angles)])


def signed_area(ring: NDArray[np.float64]) -> float:
    """Return the area of a ring ``(n, 2) float64``, mm, in mm2: positive when counter-clockwise (shoelace formula)."""
    x, y = ring[:, 0], ring[:, 1]
    return float(0.5 * (np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y)))
