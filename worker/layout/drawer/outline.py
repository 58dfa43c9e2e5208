"""The outline: the usable area of a drawer, from tape readings, corner radius, gap and obstacles.

The front runs along x and the left side along y, at right angles at the front left corner. Width readings are taken at
equal steps from front to back, depth readings at equal steps from left to right; a single reading applies throughout.
The last width and the last depth give the back right corner, and each reading between gives a corner of the right side
or the back, so that a bulge or a taper is followed as measured.
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

#: Area in mm2 below which a usable piece holds nothing and is dropped without a warning.
_LEAST_PIECE: Final = 1.0

#: Minimum length of a facet of a rounded corner, in mm.
_FACET: Final = 0.5

#: Half the width in mm of the area left for the centres of corners with half the drawer's width as their radius: the
#: library drops a smaller one (0.005 of 200 mm is dropped, 0.01 is not).
_LEAST_CENTRES: Final = 0.05

#: Mitre limit at the drawer's corners, in multiples of the gap: enough for every angle over 12 degrees.
_MITRE: Final = 10.0


@dataclass(frozen=True, slots=True)
class Outline:
    """Outline of one drawer in its own frame, in mm; 0, 0 is the front left corner of the usable area's bounding box.

    ``usable`` is the area after gap, corners and obstacles, ``measured`` the drawer as measured. ``size`` is
    ``(width, depth, height)``, with the width and depth of the bounding box.
    """

    usable: Area
    measured: Polygon
    size: tuple[float, float, float]
    warnings: tuple[PlanWarning, ...] = ()

    @property
    def rings(self) -> tuple[Ring, ...]:
        """Return the rings of ``usable`` in mm: exteriors counter-clockwise, each followed by its holes, clockwise."""
        return tuple(_ring(ring) for piece in pieces(self.usable) for ring in (piece.exterior, *piece.interiors))


def drawer_outline(drawer: Drawer, pointer: str = "") -> Outline:
    """Return the usable outline of a drawer.

    Args:
        drawer: the drawer as the caller measured it.
        pointer: JSON Pointer of the drawer, for warnings and errors.

    Raises:
        LayoutError: if the sides cross each other, or nothing usable is left.
    """
    corners, warnings = _corners(drawer, pointer)
    measured = Polygon(corners)
    if not measured.is_valid or measured.area < _LEAST_PIECE:
        raise LayoutError(
            f"The sides of drawer {drawer.name!r} cross each other.",
            pointer=f"{pointer}/{'outline' if drawer.outline is not None else 'width'}",
            value=[list(reading) for reading in (drawer.readings_across, drawer.readings_deep)],
            limit="a closed outline that does not touch itself",
            remedy="Check the order of readings: widths from front to back, depths from left to right.",
        )
    left, front, right, back = measured.bounds
    gap = drawer.gap
    measured = translate(measured, -(left + gap), -(front + gap))
    area: BaseGeometry = measured
    if (
        gap > COORDINATE_GRID / 2.0
    ):  # a smaller gap is zero on the coordinate grid, and too small for the library's buffer
        area = measured.buffer(-gap, join_style="mitre", mitre_limit=_MITRE)
    area = _rounded(area, drawer.corner_radius - gap)
    kept_clear = [_box(obstacle.at, obstacle.size, gap, (left + gap, front + gap)) for obstacle in drawer.obstacles]
    if kept_clear:
        area = area.difference(shapely.union_all(kept_clear))
    usable = _clean(area)
    if usable is None:
        raise LayoutError(
            f"Gap, corners and obstacles leave no usable area in drawer {drawer.name!r}.",
            pointer=pointer or None,
            value=[round(right - left, 3), round(back - front, 3)],
            limit=f"more than twice the gap of {gap:g} mm in width and depth, plus obstacles",
            remedy="Check the readings and obstacles, or use a smaller gap.",
        )
    size = (round(right - left, 3), round(back - front, 3), drawer.height)
    return Outline(usable, measured, size, warnings)


def side_points(widths: Sequence[float], depths: Sequence[float]) -> NDArray[np.float64]:
    """Return the corners that the readings give, counter-clockwise from the front left, ``(n, 2) float64``, mm.

    Args:
        widths: readings in mm at equal steps from front to back.
        depths: readings in mm at equal steps from left to right.
    """
    last_width, last_depth = widths[-1], depths[-1]
    steps_back = np.linspace(0.0, 1.0, max(len(widths), 2)) * last_depth
    steps_across = np.linspace(0.0, 1.0, max(len(depths), 2)) * last_width
    right = np.column_stack([_all(widths), steps_back])
    back = np.column_stack([steps_across, _all(depths)])[::-1]
    # the back right corner is in both lists
    return np.concatenate([[[0.0, 0.0]], right, back[1:]])


def pieces(area: Area) -> tuple[Polygon, ...]:
    """Return the polygons of an area."""
    return tuple(area.geoms) if isinstance(area, MultiPolygon) else (area,)


def _all(readings: Sequence[float]) -> Sequence[float]:
    """Return at least two readings; a single one applies to both ends."""
    return [readings[0], readings[0]] if len(readings) == 1 else readings


def _corners(drawer: Drawer, pointer: str) -> tuple[NDArray[np.float64], tuple[PlanWarning, ...]]:
    """Return the measured corners, ``(n, 2) float64``, mm, and warnings about them."""
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
    """Return the area with its convex corners rounded (opening by a disc of this radius in mm).

    The vertices of the facets lie on the true arc, so no facet extends beyond it.
    """
    if radius <= 10.0 * COORDINATE_GRID:
        return area
    facets = min(QUARTER_FACETS, max(1, ceil(radius / _FACET)))
    shrunk = area.buffer(-radius, join_style="mitre", mitre_limit=_MITRE)
    if shrunk.is_empty:  # a radius of half the width leaves only a line of centres, which is no area
        radius -= _LEAST_CENTRES
        shrunk = area.buffer(-radius, join_style="mitre", mitre_limit=_MITRE)
    return shrunk.buffer(radius, quad_segs=facets)


def _box(at: Sequence[float], size: Sequence[float], gap: float, origin: Point) -> Polygon:
    """Return an obstacle's rectangle in the drawer's frame, grown by the gap; on the grid, for robust overlays."""
    x, y = at[0] - origin[0], at[1] - origin[1]
    left, front, right, back = (round(side, 3) for side in (x - gap, y - gap, x + size[0] + gap, y + size[1] + gap))
    return shapely.box(left, front, right, back)


def _clean(area: BaseGeometry) -> Area | None:
    """Return the area on the coordinate grid without tiny pieces, in a fixed order; None if nothing is left."""
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
    """Return a ring's points on the grid, not closed, starting at its minimum point."""
    points = [(round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in ring.coords[:-1]]
    start = points.index(min(points))
    return tuple(points[start:] + points[:start])
