"""Outlines with few corners that still take the thing."""

from typing import Any, Final

import numpy as np
import shapely

from worker.silhouettes.silhouette import Ring, Silhouette
from worker.spec.tolerances import COORDINATE_GRID

__all__ = ["MOST_CORNERS", "outline_corners", "outline_document"]

#: Corners of a polygon in a spec.
MOST_CORNERS: Final = 256

#: First deviation that is tried, mm, and the factor to the next.
_FINEST: Final = 0.005
_FACTOR: Final = 1.6


def outline_corners(silhouette: Silhouette, most: int = MOST_CORNERS) -> Ring:
    """Return at most ``most`` corners of a polygon that contains the outline; its holes are filled.

    Simplifying moves no point by more than a deviation, and growing the result by as much contains the outline
    again (Douglas and Peucker, 1973). The least deviation that leaves few enough corners is taken.

    Returns:
        `(n, 2) float64, mm`, counter-clockwise, on the coordinate grid, with its box at the origin. Neighbours are
        apart by more than rounding could take away.
    """
    outline = shapely.Polygon(silhouette.outer - silhouette.outer.min(axis=0))
    deviation = 0.0
    while True:
        simple = outline
        if deviation:
            simplified = shapely.simplify(outline, deviation)
            simple = shapely.buffer(simplified, deviation, join_style="mitre", mitre_limit=5.0)
        ring = _spaced(np.asarray(simple.exterior.coords)[:-1])
        ring = np.round(ring - ring.min(axis=0), 3)  # coordinates of a spec are not negative
        if len(ring) <= most and shapely.Polygon(ring).is_valid:
            return np.asarray(ring if shapely.LinearRing(ring).is_ccw else ring[::-1], dtype=np.float64)
        deviation = deviation * _FACTOR or _FINEST


def outline_document(silhouette: Silhouette) -> dict[str, Any]:
    """Return a silhouette as JSON, with the corners that stand for it in a spec."""
    return {**silhouette.document(), "corners": outline_corners(silhouette).tolist()}


def _spaced(ring: Ring) -> Ring:
    """Return the ring on the coordinate grid, without corners that rounding could make one."""
    rounded = np.round(np.asarray(ring, dtype=np.float64) / COORDINATE_GRID) * COORDINATE_GRID
    kept = [rounded[0]]
    for point in rounded[1:]:
        if np.hypot(*(point - kept[-1])) > 3.0 * COORDINATE_GRID:
            kept.append(point)
    while len(kept) > 3 and np.hypot(*(kept[0] - kept[-1])) <= 3.0 * COORDINATE_GRID:  # noqa: PLR2004 - a triangle
        kept.pop()
    return np.round(np.array(kept), 3)
