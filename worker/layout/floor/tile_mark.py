"""Where a tile's mark is engraved: in a strip of border, or on the star of plastic where four sockets meet."""

from math import hypot
from typing import Final

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.border import node_points, opened, polygons
from worker.layout.model.shapes import Lettering, Point, TileShape
from worker.layout.tray.part_mark import text_size
from worker.spec.drawer.joint import LEAST_RADIUS

#: Cap heights that are tried, in mm: a letter under 2.2 mm cannot be read on a printed face (common practice).
_CAP_HEIGHTS: Final = (5.0, 4.5, 4.0, 3.6, 3.2, 2.8, 2.5, 2.2)

#: Plastic kept between a letter and the next edge in a strip, in mm.
_CLEAR: Final = 1.0

#: The same on a node, which is too small for more; never under one line.
_NODE_CLEAR: Final = 0.4

#: Area in which the middle of a text may stand, at least, in mm2: less is rounding.
_LEAST_PLACE: Final = 1e-4


def mark_lettering(shape: TileShape, text: str, *, line_width: float) -> Lettering | None:
    """Return the engraved mark with the largest letters that the tile's top face has room for, or None.

    Args:
        shape: the tile, without letterings.
        text: the mark.
        line_width: width of a printed line, in mm; letters on a node keep it from the edges.
    """
    inset = min(level for level, _ in shape.levels)
    room = _room(shape, inset)
    for cap_height in _CAP_HEIGHTS:
        # What is lower than the letters has no room for them: most tiles need no closer look.
        wide = opened(room, cap_height / 2.0 - _CLEAR / 50.0)
        size = text_size(text, cap_height)
        for turn, (width, depth) in ((0.0, size), (90.0, size[::-1])):
            at = _place(wide, width, depth)
            if at is not None:
                return Lettering(text, "top", at, cap_height, turn=turn)
        nodes = node_points(shape.sockets)
        if nodes and _fits_node(size, inset, shape.corner_radius, max(_NODE_CLEAR, line_width)):
            return Lettering(text, "top", nodes[0], cap_height)
    return None


def _room(shape: TileShape, inset: float) -> BaseGeometry:
    """Return the strips of the top face without what is too near an edge; sockets with their corners filled up."""
    sockets = [
        shapely.box(s.x + inset, s.y + inset, s.x + s.width - inset, s.y + s.depth - inset) for s in shape.sockets
    ]
    plate = shapely.difference(Polygon(shape.outline, shape.windows), shapely.union_all(sockets))
    with np.errstate(divide="ignore", invalid="ignore"):  # as in `worker.layout.floor.border.opened`
        return plate.buffer(-_CLEAR, join_style="mitre")


def _place(room: BaseGeometry, width: float, depth: float) -> Point | None:
    """Return where the middle of a box may stand so that the box lies in the room, or None.

    The places are the room less the Minkowski sum of its edges with the box; the sum of one edge is a convex hull.
    """
    corners = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * (width / 2.0, depth / 2.0)
    best: Polygon | None = None
    for polygon in polygons(room, width * depth):
        left, front, right, back = polygon.bounds
        if right - left < width or back - front < depth:
            continue
        rings = [np.asarray(ring.coords) for ring in (polygon.exterior, *polygon.interiors)]
        edges = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
        clouds = (edges[:, :, None, :] + corners).reshape(len(edges), 8, 2)
        sums = shapely.convex_hull(shapely.multipoints(clouds.tolist()))
        for place in polygons(shapely.difference(polygon, shapely.union_all(sums)), _LEAST_PLACE):
            if best is None or place.area > best.area + _LEAST_PLACE:
                best = place
    if best is None:
        return None
    spot = best.representative_point()
    return round(spot.x, 3), round(spot.y, 3)


def _fits_node(size: tuple[float, float], inset: float, radius: float, clear: float) -> bool:
    """Return whether a box around a node keeps clear of the four sockets' corner arcs."""
    own = max(radius - inset, LEAST_RADIUS)
    middle = inset + own
    return hypot(max(middle - size[0] / 2.0, 0.0), max(middle - size[1] / 2.0, 0.0)) >= own + clear
