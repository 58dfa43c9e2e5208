"""Rasterisation of triangles and outlines: columns run right, rows down, pixel 0, 0 has its middle at 0.5, 0.5."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: Steps of depth per unit; a depth and a triangle's index are packed into one integer of 64 bits.
_STEPS: Final = 1024.0
_NUMBER_BITS: Final = 24
_NUMBER: Final = (1 << _NUMBER_BITS) - 1

#: Triangles with a smaller area in the picture are not drawn, square pixels.
_LEAST_AREA: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Sprite:
    """The nearest triangle of each pixel, ``(rows, columns)``: its index, or -1, and its depth; more is nearer."""

    triangles: NDArray[np.int64] = field(repr=False)
    depths: NDArray[np.float64] = field(repr=False)


def draw_triangles(corners: NDArray[np.float64], shape: tuple[int, int]) -> Sprite:
    """Return the visible triangle of each pixel in a picture of ``shape`` rows and columns.

    ``corners`` ``(n, 3, 3) float64`` are column, row and depth of each corner, in pixels; more depth is nearer. Both
    sides of a triangle are drawn, and triangles are clipped to the picture.
    """
    rows, columns = shape
    nearest = np.full(rows * columns, -1, dtype=np.int64)
    which, at, depth = _covered(corners, shape)
    if len(which):
        low = float(depth.min())
        steps = ((depth - low) * _STEPS).astype(np.int64)
        np.maximum.at(nearest, at, (steps << _NUMBER_BITS) | which)
        seen = nearest >= 0
        depths = np.where(seen, (nearest >> _NUMBER_BITS) / _STEPS + low, -np.inf)
        triangles = np.where(seen, nearest & _NUMBER, -1)
    else:
        depths, triangles = np.full(len(nearest), -np.inf), nearest
    return Sprite(triangles.reshape(shape), depths.reshape(shape))


def fill(outlines: Sequence[NDArray[np.float64]], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Return which pixels, ``shape`` bool, have their middle inside outlines, by the non-zero winding rule.

    Outlines are ``(n, 2) float64``: column and row of each point, in pixels.
    """
    rows, columns = shape
    turns = np.zeros((rows, columns + 1), dtype=np.int64)
    if outlines:
        start = np.concatenate(outlines)
        end = np.concatenate([np.roll(outline, -1, axis=0) for outline in outlines])
        middles = np.arange(rows) + 0.5
        down = (start[:, 1, None] <= middles) & (middles < end[:, 1, None])
        up = (end[:, 1, None] <= middles) & (middles < start[:, 1, None])
        edge, row = np.nonzero(down | up)
        (x0, y0), (x1, y1) = start[edge].T, end[edge].T
        crossing = x0 + (middles[row] - y0) / (y1 - y0) * (x1 - x0)
        column = np.clip(np.ceil(crossing - 0.5), 0, columns).astype(np.int64)
        np.add.at(turns, (row, column), np.where(down[edge, row], 1, -1))
    inside: NDArray[np.bool_] = np.cumsum(turns, axis=1)[:, :columns] != 0
    return inside


def _covered(
    corners: NDArray[np.float64], shape: tuple[int, int]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Return all pixels of all triangles: index of the triangle, flat index of the pixel, and depth, ``(m,)`` each."""
    twice = doubled_areas(corners)
    kept = np.flatnonzero(np.abs(twice) > 2.0 * _LEAST_AREA)
    corners, twice = corners[kept], twice[kept]
    a, b, c = (corners[:, corner] for corner in range(3))
    # the plane of each triangle's depth: its slopes along columns and rows
    across = ((b[:, 2] - a[:, 2]) * (c[:, 1] - a[:, 1]) - (c[:, 2] - a[:, 2]) * (b[:, 1] - a[:, 1])) / twice
    down = ((c[:, 2] - a[:, 2]) * (b[:, 0] - a[:, 0]) - (b[:, 2] - a[:, 2]) * (c[:, 0] - a[:, 0])) / twice
    order = np.argsort(corners[:, :, 1], axis=1, kind="stable")
    top, middle, bottom = np.take_along_axis(corners, order[:, :, None], axis=1).transpose(1, 0, 2)
    # from triangles to the rows that each reaches
    first = np.clip(np.ceil(top[:, 1] - 0.5), 0, shape[0]).astype(np.int64)
    last = np.clip(np.ceil(bottom[:, 1] - 0.5), 0, shape[0]).astype(np.int64)
    triangle, row = _spread(first, last)
    level = row.astype(np.float64) + 0.5
    long = _at(top, bottom, triangle, level)
    upper = level < middle[triangle, 1]
    short = np.where(upper, _at(top, middle, triangle, level), _at(middle, bottom, triangle, level))
    # from rows to pixels
    left = np.clip(np.ceil(np.minimum(long, short) - 0.5), 0, shape[1]).astype(np.int64)
    right = np.clip(np.ceil(np.maximum(long, short) - 0.5), 0, shape[1]).astype(np.int64)
    beside, below = left + 0.5 - a[triangle, 0], level - a[triangle, 1]
    start = a[triangle, 2] + across[triangle] * beside + down[triangle] * below
    counts = np.maximum(right - left, 0)
    along = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    depth = np.repeat(start, counts) + np.repeat(across[triangle], counts) * along
    return np.repeat(kept[triangle], counts), np.repeat(row * shape[1] + left, counts) + along, depth


def doubled_areas(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return twice the area of triangles ``(n, 3, 3)`` in the picture; it is positive where they run clockwise."""
    a, b, c = (corners[:, corner, :2] for corner in range(3))
    areas: NDArray[np.float64] = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    return areas


def _at(
    start: NDArray[np.float64], end: NDArray[np.float64], edge: NDArray[np.int64], level: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the columns of edges, by index, at these rows, ``(n,) float64``; of horizontal ones, that of their start.

    ``start`` and ``end`` are ``(m, 3) float64``.
    """
    height = end[:, 1] - start[:, 1]
    slope = np.divide(end[:, 0] - start[:, 0], height, out=np.zeros_like(height), where=height > 0.0)
    column: NDArray[np.float64] = start[edge, 0] + slope[edge] * (level - start[edge, 1])
    return column


def _spread(first: NDArray[np.int64], last: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return for every integer of the half-open ranges the index of its range, and the integer itself."""
    counts = np.maximum(last - first, 0)
    which = np.repeat(np.arange(len(counts)), counts)
    return which, np.arange(len(which)) + np.repeat(first - (np.cumsum(counts) - counts), counts)
