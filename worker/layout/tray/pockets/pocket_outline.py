"""The outline of a pocket: the item's outline grown by its clearance, with finger notches and a chamfer."""

from functools import lru_cache
from math import ceil, cos, pi
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import Pocket, Ring
from worker.spec.drawer.pocket import CirclePocket, PolygonPocket, RectanglePocket
from worker.spec.tolerances import COORDINATE_GRID

#: Chamfers in mm, in order of preference; the first that fits the corners is used.
CHAMFERS: Final = (0.4, 0.2, 0.0)

#: How far a notch's bays reach past the item, each side: pinch-clearance and finger-clearance of the reference
#: anthropometry (15 to 20 mm to pinch, 12 to 15 mm to hook; common practice). The first that fits is taken.
NOTCH_REACHES: Final = (15.0, 12.0)

#: Maximum length of a facet of a round pocket, in mm.
_FACET: Final = 1.0

#: Sides that differ by less are those of a square: the coordinate grid.
_SQUARE: Final = 0.01

#: Mitre limit of the grown outline: corners sharper than about 60 degrees are bevelled.
_MITRE: Final = 2.0


def recess(pocket: CirclePocket | RectanglePocket | PolygonPocket, corner: tuple[float, float]) -> BaseGeometry:
    """Return the area of a pocket: the item's outline grown by its clearance, in mm in the part's frame.

    The facets of a circle circumscribe it, so the clearance is kept everywhere.

    Args:
        pocket: the item and its position in the tray.
        corner: inner front left corner of the tray, mm.
    """
    if isinstance(pocket, CirclePocket):
        radius = pocket.diameter / 2.0 + pocket.clearance
        facets = 8 * ceil(2.0 * pi * radius / _FACET / 8.0)
        angles = (np.arange(facets) + 0.5) * (2.0 * pi / facets)
        rim = np.column_stack([np.cos(angles), np.sin(angles)]) * (radius / cos(pi / facets))
        grown = Polygon(rim + np.array(pocket.at))
    elif isinstance(pocket, RectanglePocket):
        (x, y), (width, depth), air = pocket.at, pocket.size, pocket.clearance
        grown = shapely.box(x - air, y - air, x + width + air, y + depth + air)
    else:
        item = shapely.orient_polygons(Polygon(pocket.points))
        grown = item.buffer(pocket.clearance, join_style="mitre", mitre_limit=_MITRE) if pocket.clearance else item
    return clean(shapely.transform(grown, lambda points: points + np.array(corner)))


def notch(area: BaseGeometry, width: float, reach: float, *, along: int) -> BaseGeometry:
    """Return a slot with round ends across the centre of a pocket.

    Args:
        area: area of the pocket.
        width: width of the slot, mm.
        reach: distance by which it extends past the pocket on each side, mm.
        along: 0 for a slot that runs along x, 1 along y.
    """
    left, front, right, back = area.bounds
    middle = ((left + right) / 2.0, (front + back) / 2.0)
    low, high = ((left, right), (front, back))[along]
    half = max((high - low) / 2.0 + reach - width / 2.0, 0.0)
    ends = [(middle[0] - half, middle[1]), (middle[0] + half, middle[1])]
    if along == 1:
        ends = [(middle[0], middle[1] - half), (middle[0], middle[1] + half)]
    quarter = ceil(pi * width / 4.0 / _FACET)
    line = shapely.LineString(ends) if half > 0.0 else shapely.Point(middle)
    return clean(line.buffer(width / 2.0, quad_segs=quarter))


def clean(area: BaseGeometry) -> BaseGeometry:
    """Return the area on the coordinate grid, counter-clockwise and without collinear points."""
    return shapely.orient_polygons(shapely.set_precision(area, COORDINATE_GRID).simplify(2.0 * COORDINATE_GRID))


def shorter_side(area: BaseGeometry) -> int:
    """Return the axis of the shorter side of an area's box: 0 for x, also of a square one as far as the grid tells."""
    left, front, right, back = area.bounds
    return 0 if right - left <= back - front + _SQUARE else 1


def slot(first: BaseGeometry, other: BaseGeometry) -> BaseGeometry:
    """Return the slot that two notches of one width and direction have in common: straight from one to the other."""
    return clean(shapely.union_all([first, other]).convex_hull)


@lru_cache(maxsize=512)
def pocket_ring(pocket: Pocket) -> Ring:
    """Return the joint outline of a pocket, its notches and its neighbours, as a ring in mm.

    The layout ensures that it is one ring without holes.
    """
    if not pocket.notches:
        return pocket.outline
    return outline_of(united(pocket))


@lru_cache(maxsize=512)
def united(pocket: Pocket) -> BaseGeometry:
    """Return the union of a pocket, its notches and its neighbours."""
    if not pocket.notches:
        return Polygon(pocket.outline)
    return clean(shapely.union_all([*map(Polygon, (pocket.outline, *pocket.notches, *pocket.neighbours))]))


def outline_of(area: BaseGeometry) -> Ring:
    """Return the points of the exterior on the coordinate grid, in mm, not closed."""
    points = shapely.get_coordinates(shapely.get_exterior_ring(area))[:-1]
    return tuple((round(float(x), 3) + 0.0, round(float(y), 3) + 0.0) for x, y in points)


def mitred(outline: NDArray[np.float64], distance: float) -> NDArray[np.float64]:
    """Return the mitred offset of a counter-clockwise ring by ``distance`` mm outwards, ``(n, 2) float64``, mm."""
    after = np.roll(outline, -1, axis=0) - outline
    after /= np.linalg.norm(after, axis=1, keepdims=True)
    before = np.roll(after, 1, axis=0)
    outwards = np.column_stack([before[:, 1] + after[:, 1], -before[:, 0] - after[:, 0]])
    # half the sum of two unit normals has the length cos(turn / 2), the inverse of the mitre's
    lengths = np.square(outwards).sum(axis=1, keepdims=True)
    moved: NDArray[np.float64] = outline + outwards * (2.0 * distance / lengths)
    return moved


def chamfer_of(outline: Ring, reach: float) -> float:
    """Return the largest chamfer in mm that fits the corners of an outline and the depth of the pocket.

    Args:
        outline: ring of the pocket with its notches, mm.
        reach: depth of the pocket, mm.
    """
    points = np.array(outline)
    sides = np.roll(points, -1, axis=0) - points
    for chamfer in CHAMFERS:
        if chamfer == 0.0:
            break
        wide = mitred(points, chamfer + 2.0 * COORDINATE_GRID)
        along = np.einsum("ij,ij->i", np.roll(wide, -1, axis=0) - wide, sides)
        if chamfer <= reach / 2.0 and (along > 0.0).all() and Polygon(wide).is_valid:
            return chamfer
    return 0.0
