"""The largest rectangle in a drawer's usable area, in which lanes are laid out."""

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

__all__ = ["Rectangle", "largest_rectangle"]

#: Left, front, right, back, mm.
Rectangle = tuple[float, float, float, float]

#: Lines along each axis that are tried; of a finer outline only every n-th line is.
_MOST_LINES: Final = 60
#: Width by which an area's edge may lie inside a cell, mm: the coordinate grid.
_SLACK: Final = 2e-3


def largest_rectangle(area: BaseGeometry) -> Rectangle | None:
    """Return the largest rectangle with its sides on coordinates of the area's corners; None of an empty area.

    The first from the left and the front is taken of equal ones.
    """
    points = shapely.get_coordinates(area)
    if not len(points):
        return None
    xs, ys = (_lines(points[:, axis]) for axis in (0, 1))
    left, front = np.meshgrid(xs[:-1], ys[:-1])
    right, back = np.meshgrid(xs[1:], ys[1:])
    grown = area.buffer(_SLACK, join_style="mitre")
    shapely.prepare(grown)
    free = shapely.covers(grown, shapely.box(left, front, right, back))
    best: tuple[float, Rectangle] | None = None
    for low in range(len(ys) - 1):
        open_columns = np.ones(len(xs) - 1, dtype=bool)
        for high in range(low, len(ys) - 1):
            open_columns &= free[high]
            start = 0
            for column in range(len(xs)):
                if column < len(xs) - 1 and open_columns[column]:
                    continue
                if column > start:
                    corners = (float(xs[start]), float(ys[low]), float(xs[column]), float(ys[high + 1]))
                    size = (corners[2] - corners[0]) * (corners[3] - corners[1])
                    if best is None or size > best[0] + 1e-6:
                        best = size, corners
                start = column + 1
    return None if best is None else best[1]


def _lines(coordinates: NDArray[np.float64]) -> NDArray[np.float64]:
    lines: NDArray[np.float64] = np.unique(np.round(coordinates, 3))
    step = max(1, -(-len(lines) // _MOST_LINES))
    chosen: NDArray[np.float64] = np.append(lines[:-1:step], lines[-1:])
    return chosen
