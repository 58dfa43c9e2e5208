"""Left-out areas: the parts of a drawer's usable area that its floor does not cover."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.border import Area, opened, polygons
from worker.layout.model.plan import LeftOut, LeftOutReason
from worker.layout.model.shapes import Point, Ring
from worker.spec.tolerances import COORDINATE_GRID

#: Area in mm2 below which a part that is left out is not listed.
_LEAST: Final = 1.0


def left_out(
    usable: Area, tiles: Sequence[Polygon], lost: Sequence[Polygon], *, least: float, gap: float, origin: Point
) -> tuple[LeftOut, ...]:
    """Return the parts of the usable area that no tile covers, largest first; the gaps of seams count as covered.

    Args:
        usable: usable area, in mm from the lattice's origin.
        tiles: outlines of the tiles with tabs and recesses, without sockets and windows, in the same frame.
        lost: parts of the plate whose tiles would not fit the bed, in the same frame.
        least: minimum width of a border strip, mm.
        gap: gap between two tiles, mm.
        origin: the lattice's origin in the drawer's frame, mm.
    """
    reach = gap / 2.0 + COORDINATE_GRID
    with np.errstate(divide="ignore", invalid="ignore"):  # as in `worker.layout.floor.border.opened`
        closed = shapely.union_all(tiles).buffer(reach, join_style="mitre").buffer(-reach, join_style="mitre")
    # a strip as narrow as a step of the coordinate grid is rounding
    rest = opened(shapely.difference(usable, closed), COORDINATE_GRID)
    off_bed = shapely.union_all(lost)
    parts = [
        LeftOut(_rings(translate(part, *origin)), round(part.area, 1), _reason(part, off_bed, least))
        for part in polygons(rest, _LEAST)
    ]
    return tuple(sorted(parts, key=lambda part: (-part.area, part.rings)))


def _reason(part: Polygon, off_bed: BaseGeometry, least: float) -> LeftOutReason:
    if part.intersection(off_bed).area > part.area / 2.0:
        return "bed"
    return "apart" if polygons(opened(part, least / 2.0)) else "narrow"


def _rings(part: Polygon) -> tuple[Ring, ...]:
    """Return the exterior counter-clockwise and the holes clockwise, on the coordinate grid, not closed."""
    turned = shapely.orient_polygons(shapely.remove_repeated_points(part, COORDINATE_GRID))
    rings = [turned.exterior, *turned.interiors]
    return tuple(tuple((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in ring.coords[:-1]) for ring in rings)
