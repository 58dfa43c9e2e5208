"""The outline: what tape readings, corner radius, gap and obstacles leave usable of one drawer.

Convention of the readings: the front runs along x and the left side along y, square to each other at the front left
corner. Width readings are taken at even steps from front to back, depth readings at even steps from left to right; one
reading stands for all. The last width and the last depth together give the back right corner, and every reading between
gives a corner of the right side or of the back, so a bulge or a taper is followed as it was measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.plan import PlanWarning
from worker.layout.model.shapes import Point, Ring
from worker.spec.drawer.drawer import Drawer
from worker.spec.errors import LayoutError
from worker.spec.tolerances import COORDINATE_GRID, QUARTER_FACETS, READING_SPREAD

Area: TypeAlias = Polygon | MultiPolygon

#: A usable piece smaller than this cannot hold anything: it is dropped without a word (mm2).
_LEAST_PIECE: Final = 1.0

#: No facet of a corner is meant to be shorter than this.
_FACET: Final = 0.5

#: Mitres of a drawer's corners may run this many times the gap: enough for every angle over 12 degrees.
_MITRE: Final = 10.0


@dataclass(frozen=True, slots=True)
class Outline:
    """One drawer's outline in its own frame: 0, 0 is where the gap leaves the least x and the least y.

    ``usable`` is the area after gap, corners and obstacles; ``measured`` the drawer as it was measured; ``size`` its
    ``(width, depth, height)``, the width and depth of the box around it.
    """

    usable: Area
    measured: Polygon
    size: tuple[float, float, float]
    warnings: tuple[PlanWarning, ...] = ()

    @property
    def rings(self) -> tuple[Ring, ...]:
        """Return the rings of ``usable``: outer rings counter-clockwise, each followed by its holes, clockwise."""
        return tuple(_ring(ring) for piece in pieces(self.usable) for ring in (piece.exterior, *piece.interiors))


def drawer_outline(drawer: Drawer, pointer: str = "") -> Outline:
    """Return the usable outline of a drawer.

    Args:
        drawer: the drawer as the caller measured it.
        pointer: JSON Pointer of the drawer, for warnings and errors.

    Raises:
        LayoutError: when the readings cross each other, or nothing usable is left.
    """
    corners, warnings = _corners(drawer, pointer)
    measured = Polygon(corners)
    if not measured.is_valid or measured.area < _LEAST_PIECE:
        raise LayoutError(
            f"The sides of drawer {drawer.name!r} cross each other.",
            pointer=f"{pointer}/{'outline' if drawer.outline is not None else 'width'}",
            limit="a closed outline that does not touch itself",
            remedy="Check the readings: widths go front to back, depths left to right.",
        )
    left, front, right, back = measured.bounds
    gap = drawer.gap
    measured = translate(measured, -(left + gap), -(front + gap))
    area: BaseGeometry = measured
    if gap > COORDINATE_GRID / 2.0:  # less is nothing on the grid, and too little for the library's buffer
        area = measured.buffer(-gap, join_style="mitre", mitre_limit=_MITRE)
    area = _rounded(area, drawer.corner_radius - gap)
    kept_clear = [_box(obstacle.at, obstacle.size, gap, (left + gap, front + gap)) for obstacle in drawer.obstacles]
    if kept_clear:
        area = area.difference(shapely.union_all(kept_clear))
    usable = _clean(area)
    if usable is None:
        raise LayoutError(
            f"Nothing usable is left of drawer {drawer.name!r} after its gap, corners and obstacles.",
            pointer=pointer or None,
            value=[round(right - left, 3), round(back - front, 3)],
            limit=f"more than twice the gap of {gap:g} mm each way, besides obstacles",
            remedy="Check the readings and the obstacles, or make the gap smaller.",
        )
    size = (round(right - left, 3), round(back - front, 3), drawer.height)
    return Outline(usable, measured, size, warnings)


def side_points(widths: Sequence[float], depths: Sequence[float]) -> NDArray[np.float64]:
    """Return the corners that readings give, counter-clockwise from the front left, ``(n, 2) float64``.

    Args:
        widths: readings at even steps from front to back.
        depths: readings at even steps from left to right.
    """
    last_width, last_depth = widths[-1], depths[-1]
    steps_back = np.linspace(0.0, 1.0, max(len(widths), 2)) * last_depth
    steps_across = np.linspace(0.0, 1.0, max(len(depths), 2)) * last_width
    right = np.column_stack([_all(widths), steps_back])
    back = np.column_stack([steps_across, _all(depths)])[::-1]
    # The back right corner is in both lists, once is enough.
    return np.concatenate([[[0.0, 0.0]], right, back[1:]])


def pieces(area: Area) -> tuple[Polygon, ...]:
    """Return the polygons of an area."""
    return tuple(area.geoms) if isinstance(area, MultiPolygon) else (area,)


def _all(readings: Sequence[float]) -> Sequence[float]:
    """Return at least two readings: one stands for both ends."""
    return [readings[0], readings[0]] if len(readings) == 1 else readings


def _corners(drawer: Drawer, pointer: str) -> tuple[NDArray[np.float64], tuple[PlanWarning, ...]]:
    """Return the measured corners ``(n, 2) float64`` and what is worth saying about them."""
    if drawer.outline is not None:
        return np.asarray(drawer.outline, dtype=np.float64), ()
    readings = {"width": drawer.readings_across, "depth": drawer.readings_deep}
    warnings = tuple(
        PlanWarning(
            f"{pointer}/{side}",
            f"The {side} readings of drawer {drawer.name!r} differ by {max(taken) - min(taken):.1f} mm (over "
            f"{READING_SPREAD:g} mm). The border follows them as they are; measure again if the drawer looks square.",
        )
        for side, taken in readings.items()
        if max(taken) - min(taken) > READING_SPREAD
    )
    return side_points(readings["width"], readings["depth"]), warnings


def _rounded(area: BaseGeometry, radius: float) -> BaseGeometry:
    """Return the area with its convex corners rounded: what a disc of this radius inside the area can reach.

    Corners of the disc's facets lie on the true arc, so no facet reaches past it.
    """
    if radius <= 10.0 * COORDINATE_GRID:
        return area
    facets = min(QUARTER_FACETS, max(1, ceil(radius / _FACET)))
    shrunk = area.buffer(-radius, join_style="mitre", mitre_limit=_MITRE)
    return shrunk.buffer(radius, quad_segs=facets)


def _box(at: Sequence[float], size: Sequence[float], gap: float, origin: Point) -> Polygon:
    """Return an obstacle's box in the drawer's frame, grown by the gap; on the grid, as shapely trips over hairs."""
    x, y = at[0] - origin[0], at[1] - origin[1]
    left, front, right, back = (round(side, 3) for side in (x - gap, y - gap, x + size[0] + gap, y + size[1] + gap))
    return shapely.box(left, front, right, back)


def _clean(area: BaseGeometry) -> Area | None:
    """Return the area on the coordinate grid, without crumbs, in one fixed order; None when nothing is left."""
    snapped = shapely.set_precision(area, COORDINATE_GRID)
    polygons: list[Polygon] = []
    for piece in shapely.get_parts(snapped):
        plain = shapely.orient_polygons(shapely.simplify(piece, COORDINATE_GRID / 2.0))
        if isinstance(plain, Polygon) and plain.area >= _LEAST_PIECE:
            polygons.append(plain)
    if not polygons:
        return None
    polygons.sort(key=lambda polygon: (-round(polygon.area, 6), polygon.bounds))
    return polygons[0] if len(polygons) == 1 else MultiPolygon(polygons)


def _ring(ring: shapely.LinearRing) -> Ring:
    """Return a ring's points on the grid, not closed, from its least point on."""
    points = [(round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in ring.coords[:-1]]
    start = points.index(min(points))
    return tuple(points[start:] + points[:start])
