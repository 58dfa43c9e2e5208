"""Recesses: the outline of an item, grown by its clearance, with the bays of a finger notch and a chamfered edge."""

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

#: Chamfers that are tried round a recess, the first that its corners leave room for is taken.
CHAMFERS: Final = (0.4, 0.2, 0.0)

#: How far a notch's bays reach past the item, each side: pinch-clearance and finger-clearance of the reference
#: anthropometry (15 to 20 mm to pinch, 12 to 15 mm to hook; common practice). The first that fits is taken.
NOTCH_REACHES: Final = (15.0, 12.0)

#: No facet of a round recess is meant to be longer than this.
_FACET: Final = 1.0

#: Corners sharper than about 60 degrees are cut off where the clearance grows them.
_MITRE: Final = 2.0


def recess(pocket: CirclePocket | RectanglePocket | PolygonPocket, corner: tuple[float, float]) -> BaseGeometry:
    """Return the recess for an item: its outline grown by the clearance, in the part's frame.

    A circle's facets touch the grown circle from outside, so the item never loses its air.

    Args:
        pocket: the item and its place in the room.
        corner: the room's inner left front corner.
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
    """Return a slot with round ends across the middle of a recess.

    Args:
        area: the recess.
        width: the slot's width.
        reach: how far it runs past the recess, each side.
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
    """Return the area on the coordinate grid, counter-clockwise, without points that lie on a side."""
    return shapely.orient_polygons(shapely.set_precision(area, COORDINATE_GRID).simplify(2.0 * COORDINATE_GRID))


def pocket_ring(pocket: Pocket) -> Ring:
    """Return the outline of a pocket and its notches together.

    The layout has made sure that it is one ring without holes.
    """
    if not pocket.notches:
        return pocket.outline
    return outline_of(united(pocket))


def united(pocket: Pocket) -> BaseGeometry:
    """Return the area of a pocket and its notches."""
    return clean(shapely.union_all([Polygon(pocket.outline), *map(Polygon, pocket.notches)]))


def outline_of(area: BaseGeometry) -> Ring:
    """Return the outer ring's points on the grid, not closed."""
    points = shapely.get_coordinates(shapely.get_exterior_ring(area))[:-1]
    return tuple((round(float(x), 3) + 0.0, round(float(y), 3) + 0.0) for x, y in points)


def mitred(outline: NDArray[np.float64], distance: float) -> NDArray[np.float64]:
    """Return the parallel of a counter-clockwise ring, point by point, ``distance`` outside it, ``(n, 2) float64``."""
    after = np.roll(outline, -1, axis=0) - outline
    after /= np.linalg.norm(after, axis=1, keepdims=True)
    before = np.roll(after, 1, axis=0)
    outwards = np.column_stack([before[:, 1] + after[:, 1], -before[:, 0] - after[:, 0]])
    # Half the sum of two unit normals is as long as the cosine of half the turn; a mitre is its inverse.
    lengths = np.square(outwards).sum(axis=1, keepdims=True)
    moved: NDArray[np.float64] = outline + outwards * (2.0 * distance / lengths)
    return moved


def chamfer_of(outline: Ring, reach: float) -> float:
    """Return the largest chamfer that this outline's corners and the pocket's depth leave room for.

    Args:
        outline: the recess with its notches.
        reach: the depth of the recess.
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
