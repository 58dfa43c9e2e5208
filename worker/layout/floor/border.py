"""The border: what lies between the cells and the drawer's side, and the windows that keep it an open frame.

Shapely's mitred buffers do the work: a shape shrunk and grown again by the same radius has lost just what is narrower
than twice the radius (morphological opening).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.plan import Cell
from worker.layout.model.shapes import Point, Ring, Socket
from worker.spec.tolerances import BORDER_LEAST, COORDINATE_GRID, LINES_IN_A_WALL

Area: TypeAlias = Polygon | MultiPolygon

#: Wall around a window (two lines of a usual nozzle and some more, for a frame that carries itself).
WINDOW_WALL: Final = 2.0

#: A window is open at least this much in each direction.
WINDOW_LEAST: Final = 4.0

#: Solid pad that carries a tile's mark where neither node nor strip has room for it, in mm.
PAD: Final = (8.0, 3.0)

#: Overlay grid: edges that were computed two ways and lie nearer than this are the same edge.
_SNAP: Final = 1e-6

#: Sharper ends than a mitre of this many times the radius are bevelled.
_MITRE: Final = 2.0

#: How far a point where two pieces touch is cut out to each side, in gaps between tiles; and at least, in mm.
_NICK: Final = 1.5
_LEAST_NICK: Final = 0.3

#: Tongues of plastic (mm2) between two parts of one window that count.
_TONGUE: Final = 0.02

#: Scraps of plastic (mm2) that rounding leaves.
_SCRAP: Final = 0.5


def polygons(area: BaseGeometry, least: float = _SCRAP) -> list[Polygon]:
    """Return the polygons of an area that are larger than ``least`` mm2."""
    return [part for part in shapely.get_parts(area) if isinstance(part, Polygon) and part.area > least]


def opened(area: BaseGeometry, radius: float) -> BaseGeometry:
    """Return the area without what is narrower than twice the radius; sharp ends are bevelled."""
    # The kernel tries to cross parallel edges, sees the infinity and takes another way: nothing to warn of.
    with np.errstate(divide="ignore", invalid="ignore"):
        core = area.buffer(-radius, join_style="mitre", mitre_limit=_MITRE)
        grown = core.buffer(radius + _SNAP, join_style="mitre", mitre_limit=_MITRE)
    return MultiPolygon(polygons(shapely.intersection(grown, area, grid_size=_SNAP), 0.0))


def least_width(line_width: float) -> float:
    """Return the width under which a border strip is left as air, in mm: never thinner than two lines."""
    return max(BORDER_LEAST, LINES_IN_A_WALL * line_width)


def cell_area(cells: Iterable[Cell], half: float) -> BaseGeometry:
    """Return the union of the cells' squares, as few boxes as rows that differ, in mm from the lattice's origin."""
    filled: dict[int, list[int]] = {}
    for cell in cells:
        for y in range(cell.y, cell.y + cell.depth):
            filled.setdefault(y, []).extend(range(cell.x, cell.x + cell.width))
    strips: dict[tuple[int, int], list[int]] = {}
    for y in sorted(filled):
        for run in _runs(filled[y]):
            strips.setdefault(run, []).append(y)
    boxes = [
        shapely.box(left * half, front * half, right * half, back * half)
        for (left, right), rows in strips.items()
        for front, back in _runs(rows)
    ]
    return shapely.union_all(boxes)


@dataclass(frozen=True, slots=True)
class Plate:
    """All plastic of a floor, sockets filled: cells and border. ``nicked`` cells lost a corner to `joined`."""

    area: BaseGeometry
    nicked: frozenset[Cell]


def plate_of(usable: Area, cells: Sequence[Cell], half: float, least: float, gap: float) -> Plate:
    """Return the cells with the border that is worth printing: at least ``least`` wide, and joined to a cell.

    Args:
        usable: the area inside gap, corners and obstacles, from the lattice's origin.
        cells: the lattice's cells.
        half: half the pitch, in mm.
        least: what is narrower is left as air, in mm.
        gap: air between two pieces, in mm.
    """
    squares = cell_area(cells, half)
    border = opened(shapely.difference(usable, squares, grid_size=_SNAP), least / 2.0)
    area, points = joined(squares, border, usable, least, gap)
    nicked = {
        cell
        for x, y in points
        for cell in cells
        if cell.x * half - _SCRAP < x < (cell.x + cell.width) * half + _SCRAP
        and cell.y * half - _SCRAP < y < (cell.y + cell.depth) * half + _SCRAP
    }
    return Plate(area, frozenset(nicked))


def joined(
    cells: BaseGeometry, border: BaseGeometry, usable: Area, least: float, gap: float
) -> tuple[BaseGeometry, list[Point]]:
    """Return cells and border in one, without the border that hangs on by less than ``least`` or not at all.

    Where two pieces touch in nothing but a point, the point is cut out, wide enough for the gap between tiles; those
    points are returned as well.
    """
    whole = cells
    strips = polygons(border)
    if strips:
        whole = shapely.union_all([cells, *strips], grid_size=_SNAP)
        whole = shapely.union_all([opened(whole, least / 2.0), cells], grid_size=_SNAP)
    points = _pinches(whole)
    if points:
        # Two cells that touch corner to corner both give way, the star of plastic there has room for it; border that
        # touches a cell gives way alone, as the cell's wall has none.
        corners = set(_pinches(cells))
        reach = max(_NICK * gap, _LEAST_NICK)
        nicks = shapely.union_all([shapely.box(x - reach, y - reach, x + reach, y + reach) for x, y in points])
        rest = opened(shapely.difference(whole, nicks, grid_size=_SNAP), least / 2.0)
        points = [point for point in points if point in corners]
        cut = shapely.union_all([shapely.box(x - reach, y - reach, x + reach, y + reach) for x, y in points])
        whole = shapely.union_all([rest, shapely.difference(cells, cut)], grid_size=_SNAP)
    kept = [_filled(polygon, usable, least) for polygon in polygons(whole) if polygon.intersection(cells).area > _SCRAP]
    return (kept[0] if len(kept) == 1 else MultiPolygon(kept)), points


def _filled(plate: Polygon, usable: Area, least: float) -> Polygon:
    """Return the plate without the narrow holes that border left out, whose walls would be thin; obstacles stay.

    A hole that stays loses its slits, which reach out between plastic and plastic.
    """
    holes = []
    for ring in plate.interiors:
        hole = Polygon(ring)
        if not polygons(opened(hole, least / 2.0)) and hole.difference(usable).area < _SNAP:
            continue
        holes += polygons(opened(hole, _LEAST_NICK / 2.0), _SNAP)
    return Polygon(plate.exterior, [hole.exterior for hole in holes])


def _pinches(area: BaseGeometry) -> list[Point]:
    """Return the points where pieces of an area, or an area and its own hole, touch."""
    rings = [ring.coords[:-1] for polygon in polygons(area) for ring in (polygon.exterior, *polygon.interiors)]
    if len(rings) < 2:  # noqa: PLR2004 - one ring alone is simple
        return []
    points = np.round(np.concatenate([np.asarray(ring) for ring in rings]), 5)
    distinct, count = np.unique(points, axis=0, return_counts=True)
    return [(float(x), float(y)) for x, y in distinct[count > 1]]


@lru_cache(maxsize=1024)
def windows(  # noqa: PLR0917 - a cached function takes no keywords
    outline: Ring, holes: tuple[Ring, ...], sockets: tuple[Socket, ...], pitch: float, inset: float, line_width: float
) -> tuple[Ring, ...]:
    """Return the windows of a tile: in each bay of one pitch, what a wall all around leaves of the border.

    Args:
        outline: the tile's outline with tabs and recesses.
        holes: what is no plate inside the outline, such as an obstacle.
        sockets: its sockets.
        pitch: side of a cell, in mm; bays end where the lattice's lines run on into the border.
        inset: the socket's least inset: its wall there counts as a window's wall too.
        line_width: width of a printed line, in mm.
    """
    wall = max(WINDOW_WALL, LINES_IN_A_WALL * line_width + 0.2)
    plate = Polygon(outline, holes)
    open_cells = shapely.union_all(
        [shapely.box(s.x + inset, s.y + inset, s.x + s.width - inset, s.y + s.depth - inset) for s in sockets]
    )
    with np.errstate(divide="ignore", invalid="ignore"):  # as in `opened`
        room = shapely.difference(plate, open_cells).buffer(-wall, join_style="mitre", mitre_limit=_MITRE)
    if room.is_empty:
        return ()
    left, front, right, back = plate.bounds
    ribs = [
        shapely.box(x - wall / 2.0, front, x + wall / 2.0, back) for x in _lines(sockets[0].x, pitch, left, right)
    ] + [shapely.box(left, y - wall / 2.0, right, y + wall / 2.0) for y in _lines(sockets[0].y, pitch, front, back)]
    bays = _simple(shapely.difference(room, shapely.union_all(ribs)), wall)
    if bays and not node_points(sockets):
        bays = _with_pad(bays)
    rings = [ring_of(_sound(bay, wall)) for bay in _spaced(bays, wall)]
    return tuple(sorted(ring for ring in rings if ring))


def ring_of(polygon: Polygon) -> Ring:
    """Return a polygon's outer ring: counter-clockwise, on the grid, without points on a straight line."""
    snapped = shapely.set_precision(polygon, COORDINATE_GRID)
    whole = max(polygons(snapped, 0.0), key=lambda polygon: polygon.area, default=None)
    if whole is None:
        return ()
    return as_ring([(round(x / COORDINATE_GRID), round(y / COORDINATE_GRID)) for x, y in whole.exterior.coords[:-1]])


def as_ring(points: Sequence[tuple[int, int]]) -> Ring:
    """Return a ring of micrometres as millimetres, tidied (see `tidy`)."""
    return tuple((x / 1000.0, y / 1000.0) for x, y in tidy(points))


def tidy(points: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the ring counter-clockwise from its least point on, without points on the line of their neighbours.

    A point is on the line when it is less than 1.5 um off it: rounding to the grid bends straight lines by that much.
    """
    ring = list(dict.fromkeys(points))
    index, idle = 0, 0
    while len(ring) > 3 and idle < len(ring):  # noqa: PLR2004 - a triangle has no point to spare
        index %= len(ring)
        (ax, ay), (bx, by), (cx, cy) = ring[index - 1], ring[index], ring[(index + 1) % len(ring)]
        dx, dy = cx - ax, cy - ay
        cross = dx * (by - ay) - dy * (bx - ax)
        if 4 * cross * cross <= 9 * (dx * dx + dy * dy):
            del ring[index]
            idle = 0
            index = max(index - 1, 0)
        else:
            index, idle = index + 1, idle + 1
    twice_area = sum(ax * by - bx * ay for (ax, ay), (bx, by) in pairwise([*ring, ring[0]]))
    if twice_area < 0:
        ring.reverse()
    start = ring.index(min(ring))
    return ring[start:] + ring[:start]


def _runs(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """Return the runs of whole numbers, each as its first and the one past its last."""
    runs: list[tuple[int, int]] = []
    for number in sorted(numbers):
        if runs and runs[-1][1] == number:
            runs[-1] = (runs[-1][0], number + 1)
        else:
            runs.append((number, number + 1))
    return runs


def _lines(through: float, pitch: float, low: float, high: float) -> list[float]:
    """Return the places of the lattice's lines between two ends."""
    first = int((low - through) // pitch)
    last = int((high - through) // pitch) + 1
    return [through + step * pitch for step in range(first, last + 1)]


def node_points(sockets: Iterable[Socket]) -> list[Point]:
    """Return the crossings of four sockets' walls inside a tile, in order."""
    corners: dict[Point, int] = {}
    for s in sockets:
        for x in (s.x, s.x + s.width):
            for y in (s.y, s.y + s.depth):
                at = (round(x, 3), round(y, 3))
                corners[at] = corners.get(at, 0) + 1
    return sorted(at for at, count in corners.items() if count == 4)  # noqa: PLR2004 - four sockets


def _with_pad(bays: list[Polygon]) -> list[Polygon]:
    """Leave a solid pad for the mark in the smallest bay that has room for it: the tile has no node to carry one."""
    order = sorted(bays, key=lambda bay: (round(bay.area, 3), ring_of(bay)))
    for bay in order:
        left, front, right, back = bay.bounds
        across, deep = PAD if right - left >= back - front else PAD[::-1]
        if right - left < across or back - front < deep:
            continue
        pad = shapely.box(left - 1.0, front - 1.0, left + across, front + deep)
        rest = [other for other in bays if other is not bay]
        return rest + polygons(opened(shapely.difference(bay, pad), WINDOW_LEAST / 2.0), WINDOW_LEAST**2)
    return bays


def _spaced(bays: list[Polygon], wall: float) -> list[Polygon]:
    """Return the bays with a wall between any two: where an opening parted a bay, the ends may nearly touch."""
    kept: list[Polygon] = []
    for bay in sorted(bays, key=lambda bay: (-round(bay.area, 3), ring_of(bay))):
        near = [other for other in kept if other.distance(bay) < wall - COORDINATE_GRID]
        if not near:
            kept.append(bay)
            continue
        with np.errstate(divide="ignore", invalid="ignore"):  # as in `opened`
            walls = shapely.union_all([other.buffer(wall, join_style="mitre", mitre_limit=_MITRE) for other in near])
        kept += _simple(shapely.difference(bay, walls), wall)
    return kept


def _sound(bay: Polygon, wall: float) -> Polygon:
    """Return the bay less what lies beyond a tongue of plastic thinner than the wall, which reaches into it."""
    with np.errstate(divide="ignore", invalid="ignore"):  # as in `opened`
        closed = bay.buffer(wall / 2.0, join_style="mitre").buffer(-wall / 2.0, join_style="mitre")
        tongues = polygons(shapely.difference(closed, bay), _TONGUE)
        if not tongues:
            return bay
        around = shapely.union_all(tongues).buffer(wall, join_style="mitre", mitre_limit=_MITRE)
    parts = polygons(opened(shapely.difference(bay, around), WINDOW_LEAST / 2.0), WINDOW_LEAST**2)
    return max((part for part in parts if not part.interiors), key=lambda part: part.area, default=Polygon())


def _simple(room: BaseGeometry, wall: float) -> list[Polygon]:
    """Return the pieces of a room as polygons without holes that are open enough, each cut by ribs where it has a hole.

    A hole in a window would be an island of plastic.
    """
    simple: list[Polygon] = []
    waiting = polygons(opened(room, WINDOW_LEAST / 2.0))
    for _ in range(4):
        again: list[Polygon] = []
        for polygon in waiting:
            if not polygon.interiors:
                simple.append(polygon)
                continue
            left, front, right, back = polygon.bounds
            middles = [(middle.x, middle.y) for middle in (Polygon(hole).centroid for hole in polygon.interiors)]
            ribs = [shapely.box(x - wall / 2.0, front, x + wall / 2.0, back) for x, _ in middles]
            ribs += [shapely.box(left, y - wall / 2.0, right, y + wall / 2.0) for _, y in middles]
            again += polygons(opened(shapely.difference(polygon, shapely.union_all(ribs)), WINDOW_LEAST / 2.0))
        waiting = again
    return [polygon for polygon in simple if polygon.area >= WINDOW_LEAST * WINDOW_LEAST]
