"""The mark of a tile: engraved in a strip of border, or on a node, where four sockets meet."""

from functools import lru_cache
from math import hypot
from typing import Final

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.border import node_points, opened, polygons
from worker.layout.model.shapes import Lettering, Point, TileShape
from worker.layout.tray.font import least_mark_cap
from worker.layout.tray.part_mark import text_size
from worker.spec.drawer.joint import LEAST_RADIUS

#: Cap heights in mm, in order of preference: below 2.2 mm, letters on a printed face are illegible (common practice).
_CAP_HEIGHTS: Final = (5.0, 4.5, 4.0, 3.6, 3.2, 2.8, 2.5, 2.2)

#: Margin between a letter and the next edge in a strip, in mm.
_CLEAR: Final = 1.0

#: Margin on a node, which is too small for more, in mm; at least one line.
_NODE_CLEAR: Final = 0.4

#: Minimum area in mm2 of the positions of a text's centre; less is a rounding artefact.
_LEAST_PLACE: Final = 1e-4


@lru_cache(maxsize=1024)  # a plan after a change has the tiles of the one before: 0.04 of 0.12 s for 30 things
def mark_lettering(shape: TileShape, text: str, *, line_width: float) -> Lettering | None:
    """Return the engraved mark with the largest letters that fit the top face of a tile, or None if none fit.

    Args:
        shape: the tile without letterings.
        text: the mark.
        line_width: width of a printed line, mm: the margin of letters on a node; smaller letters do not print.
    """
    inset = min(level for level, _ in shape.levels)
    room = _room(shape, inset)
    for cap_height in (height for height in _CAP_HEIGHTS if height >= least_mark_cap(line_width)):
        # strips narrower than the letters are skipped at once, which settles most tiles
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
    """Return the parts of the top face that are far enough from edges; sockets count as full rectangles."""
    sockets = [
        shapely.box(s.x + inset, s.y + inset, s.x + s.width - inset, s.y + s.depth - inset) for s in shape.sockets
    ]
    plate = shapely.difference(Polygon(shape.outline, shape.windows), shapely.union_all(sockets))
    with np.errstate(divide="ignore", invalid="ignore"):  # as in `worker.layout.floor.border.opened`
        return plate.buffer(-_CLEAR, join_style="mitre")


def _place(room: BaseGeometry, width: float, depth: float) -> Point | None:
    """Return a position of a rectangle's centre for which it lies in the area, or None.

    The positions are the area less the Minkowski sum of its edges and the rectangle; that of an edge is a convex hull.
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
    """Return whether a rectangle around a node is clear of the corner arcs of the four sockets."""
    own = max(radius - inset, LEAST_RADIUS)
    middle = inset + own
    return hypot(max(middle - size[0] / 2.0, 0.0), max(middle - size[1] / 2.0, 0.0)) >= own + clear
