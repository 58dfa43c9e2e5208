"""Rings: the closed curves that solids are stacked from.

A ring is an ``(n, 2) float64`` array in mm, counter-clockwise, not closed. Every rounded rectangle has the same number
of points in the same order, whatever its inset, so two of them can be joined by a strip.
"""

import numpy as np
from numpy.typing import NDArray

from worker.spec.drawer.joint import LEAST_RADIUS
from worker.spec.tolerances import ARC_BULGE, COORDINATE_GRID, QUARTER_FACETS

Ring2 = NDArray[np.float64]

_ANGLES = np.linspace(0.0, np.pi / 2.0, QUARTER_FACETS + 1)
_QUARTERS = np.concatenate([_ANGLES - np.pi + quarter * np.pi / 2.0 for quarter in range(4)])
_REACH = np.tile(np.array([1.0, *[ARC_BULGE] * (QUARTER_FACETS - 1), 1.0]), 4)
_UNIT: Ring2 = np.column_stack([np.cos(_QUARTERS), np.sin(_QUARTERS)]) * _REACH[:, None]
_CORNER = np.repeat(np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]), QUARTER_FACETS + 1, axis=0)


def on_grid(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the points rounded to the coordinate grid, so that equal points are equal bytes."""
    return np.round(points / COORDINATE_GRID) * COORDINATE_GRID


def rounded_rectangle(  # noqa: PLR0917 - one call, one line of lengths, as on a drawing
    x: float, y: float, width: float, depth: float, inset: float, radius: float
) -> Ring2:
    """Return the parallel of a rounded rectangle, ``inset`` inside it.

    The ends of each arc lie on it; the points between lie further out by `ARC_BULGE`, so that the ring's area is that
    of the true rounded rectangle, ``w d - (4 - pi) r^2``.

    Args:
        x: left edge at inset 0.
        y: front edge at inset 0.
        width: size along x at inset 0.
        depth: size along y at inset 0.
        inset: how far inside.
        radius: corner radius at inset 0; the ring's own radius is ``radius - inset``, at least `LEAST_RADIUS`.

    Returns:
        ``(4 * (QUARTER_FACETS + 1), 2) float64``, from the lower left corner's left end on.
    """
    own = max(radius - inset, LEAST_RADIUS)
    half = np.array([width / 2.0 - inset, depth / 2.0 - inset])
    middle = np.array([x + width / 2.0, y + depth / 2.0])
    return middle + _CORNER * (half - own) + _UNIT * own


def circle(x: float, y: float, diameter: float, facets: int) -> Ring2:
    """Return a regular polygon of ``facets`` points whose area equals the circle's, ``(facets, 2) float64``.

    The radius is grown by the ratio of areas, so that a printed hole keeps its size: an inscribed polygon's area is
    ``n / (2 pi) * sin(2 pi / n)`` of the circle's.
    """
    turn = 2.0 * np.pi / facets
    radius = diameter / 2.0 * np.sqrt(turn / np.sin(turn))
    angles = np.arange(facets) * turn
    return np.column_stack([x + radius * np.cos(angles), y + radius * np.sin(angles)])


def signed_area(ring: NDArray[np.float64]) -> float:
    """Return the area, positive when counter-clockwise (shoelace formula), in mm2."""
    x, y = ring[:, 0], ring[:, 1]
    return float(0.5 * (np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y)))
