"""Where a tile's mark is engraved: in a strip of border, or on the star of plastic where four sockets meet."""

from itertools import pairwise
from math import hypot
from typing import Final

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.border import node_points, polygons
from worker.layout.parts import Lettering, Point, TileShape
from worker.spec.joint import LEAST_RADIUS
from worker.spec.tolerances import QUARTER_FACETS

#: Cap heights that are tried, in mm: a letter under 2.2 mm cannot be read on a printed face (common practice).
_CAP_HEIGHTS: Final = (5.0, 4.5, 4.0, 3.6, 3.2, 2.8, 2.5, 2.2)

#: Width of one letter of a bold sans face, in cap heights, with its spacing.
_LETTER: Final = 0.75

#: Plastic kept between a letter and the next edge in a strip, in mm.
_CLEAR: Final = 1.0

#: The same on a node, which is too small for more; never under one line.
_NODE_CLEAR: Final = 0.4


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
        size = (len(text) * _LETTER * cap_height, cap_height)
        for turn, (width, depth) in ((0.0, size), (90.0, size[::-1])):
            at = _place(room, width, depth)
            if at is not None:
                return Lettering(text, "top", at, cap_height, turn=turn)
        nodes = node_points(shape.sockets)
        if nodes and _fits_node(size, inset, shape.corner_radius, max(_NODE_CLEAR, line_width)):
            return Lettering(text, "top", nodes[0], cap_height)
    return None


def _room(shape: TileShape, inset: float) -> BaseGeometry:
    """Return the top face without what is too near an edge."""
    own = max(shape.corner_radius - inset, LEAST_RADIUS)
    narrowed = inset + own
    sockets = [
        shapely.box(
            s.x + narrowed, s.y + narrowed, s.x + s.width - narrowed, s.y + s.depth - narrowed
        ).buffer(own, quad_segs=QUARTER_FACETS)
        for s in shape.sockets
    ]  # fmt: skip
    plate = shapely.difference(Polygon(shape.outline, shape.windows), shapely.union_all(sockets))
    return plate.buffer(-_CLEAR, quad_segs=4)


def _place(room: BaseGeometry, width: float, depth: float) -> Point | None:
    """Return where the middle of a box may stand so that the box lies in the room, or None.

    The places are the room less the Minkowski sum of its edges with the box; the sum of one edge is a convex hull.
    """
    x, y = width / 2.0, depth / 2.0
    wide = [one for one in polygons(room) if not one.buffer(0.02 - min(x, y), join_style="mitre").is_empty]
    best: Polygon | None = None
    for one in wide:
        left, front, right, back = one.bounds
        if right - left < width or back - front < depth:
            continue
        sums = []
        for ring in (one.exterior, *one.interiors):
            points = ring.coords
            for (ax, ay), (bx, by) in pairwise(points):
                corners = [
                    (px + sx * x, py + sy * y) for px, py in ((ax, ay), (bx, by)) for sx in (-1, 1) for sy in (-1, 1)
                ]
                sums.append(shapely.MultiPoint(corners).convex_hull)
        places = polygons(shapely.difference(one, shapely.union_all(sums)), 1e-4)
        for place in places:
            if best is None or place.area > best.area + 1e-6:
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
