"""The border: the strip between the cells and the sides of the drawer, and the windows that save plastic in it.

Strips that are too narrow are removed by morphological opening: a shape shrunk and grown again by the same radius, with
mitred buffers, loses exactly what is narrower than twice the radius.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.plan import Cell
from worker.layout.model.shapes import Point, Ring, Socket
from worker.spec.tolerances import BORDER_LEAST, COORDINATE_GRID, LINES_IN_A_BORDER, LINES_IN_A_WALL

Area: TypeAlias = Polygon | MultiPolygon

#: Thickness of the wall around a window in mm: a little more than two lines of a common nozzle.
WINDOW_WALL: Final = 2.0

#: Minimum width of a window in each direction, in mm.
WINDOW_LEAST: Final = 4.0

#: Side in mm of the solid pad that carries a tile's mark if neither a node nor a strip has room for it.
PAD: Final = (8.0, 3.0)

#: Grid in mm for overlays: edges that were computed in two ways and lie closer than this coincide.
_SNAP: Final = 1e-6

#: Mitre limit in multiples of the radius; sharper ends are bevelled.
_MITRE: Final = 2.0

#: How far a point where two pieces touch is cut out to each side, in gaps between tiles; and at least, in mm.
_NICK: Final = 1.5
_LEAST_NICK: Final = 0.3

#: Width of border that stands off from the cells, in multiples of the width of a strip along them.
STUB: Final = 2.0

#: Area in mm2 from which a tongue of plastic between two parts of a window counts.
_TONGUE: Final = 0.02

#: Area in mm2 below which a piece of plastic is a rounding artefact.
_SCRAP: Final = 0.5


def polygons(area: BaseGeometry, least: float = _SCRAP) -> list[Polygon]:
    """Return the polygons of an area that are larger than ``least`` mm2."""
    return [part for part in shapely.get_parts(area) if isinstance(part, Polygon) and part.area > least]


def opened(area: BaseGeometry, radius: float) -> BaseGeometry:
    """Return the morphological opening of an area by a radius in mm; sharp ends are bevelled."""
    # the library intersects parallel edges, notices the infinity and falls back, so its warning is harmless
    with np.errstate(divide="ignore", invalid="ignore"):
        core = area.buffer(-radius, join_style="mitre", mitre_limit=_MITRE)
        grown = core.buffer(radius + _SNAP, join_style="mitre", mitre_limit=_MITRE)
    return overlap(grown, area)


def overlap(first: BaseGeometry, other: BaseGeometry) -> MultiPolygon:
    """Return the area that two areas share, without the lines in which they only touch."""
    return MultiPolygon(polygons(shapely.intersection(first, other, grid_size=_SNAP), 0.0))


def least_width(line_width: float) -> float:
    """Return the minimum width of a border strip in mm: at least three lines."""
    return max(BORDER_LEAST, LINES_IN_A_BORDER * line_width)


def cell_area(cells: Iterable[Cell], half: float) -> BaseGeometry:
    """Return the union of the cells, in mm from the lattice's origin, built from one box per run of equal rows."""
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
    """The whole plate of a floor without sockets: cells and border. ``nicked`` cells lost a corner in `joined`."""

    area: BaseGeometry
    nicked: frozenset[Cell]


def plate_of(usable: Area, cells: Sequence[Cell], half: float, least: float, gap: float) -> Plate:
    """Return the cells with the printable border: at least ``least`` wide, and joined to a cell.

    Args:
        usable: usable area of the drawer, in mm from the lattice's origin.
        cells: cells of the lattice.
        half: half the pitch, mm.
        least: minimum width of a strip, mm.
        gap: gap between two tiles, mm.
    """
    squares = cell_area(cells, half)
    # a frame that extends further than a cell from the sockets would carry nothing and break off
    near = squares.buffer(2.0 * half, join_style="mitre")
    around = overlap(usable, near)
    border = opened(shapely.difference(around, squares, grid_size=_SNAP), least / 2.0)
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
    """Return the union of cells and border, without border that is attached by less than `STUB` times ``least`` mm.

    So strips along cells stay, and stubs and frames of the same width that stand off from them go: they would break.

    Where two pieces touch in a single point, the point is cut out by the gap between tiles; these points are returned
    as well.
    """
    whole = cells
    strips = polygons(border)
    if strips:
        whole = shapely.union_all([cells, *strips], grid_size=_SNAP)
        whole = shapely.union_all([opened(whole, STUB * least / 2.0), cells], grid_size=_SNAP)
    points = _pinches(whole)
    if points:
        # two cells that touch at a corner are both cut, as there is plastic to spare; beside border only it is cut
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
    """Return the plate with narrow holes and slits of holes filled, as walls beside them would be thin.

    What an obstacle takes stays. A slit stays, too, where plastic in it would be a wall thinner than ``least`` mm
    between two parts of a hole, such as at the corner at which two cells touch.
    """
    holes = []
    for ring in plate.interiors:
        hole = Polygon(ring)
        wide = polygons(opened(hole, least / 2.0), _SNAP)
        taken = polygons(shapely.difference(hole, usable, grid_size=_SNAP), _SNAP)
        parts = polygons(overlap(shapely.union_all([*wide, *taken], grid_size=_SNAP), hole), _SNAP)
        if all(first.distance(other) >= least for first, other in combinations(parts, 2)):
            holes += parts
        else:
            holes += polygons(opened(hole, _LEAST_NICK / 2.0), _SNAP)
    return Polygon(plate.exterior, [hole.exterior for hole in holes])


def _pinches(area: BaseGeometry) -> list[Point]:
    """Return the points at which pieces of an area, or an area and its own hole, touch."""
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
    """Return the windows of a tile: openings in the border, each within one pitch and surrounded by walls.

    Args:
        outline: ring of the tile with tabs and recesses, mm.
        holes: rings of holes in the plate, such as obstacles, mm.
        sockets: sockets of the tile.
        pitch: side of a cell, mm; bays end at the lattice's lines extended into the border.
        inset: smallest inset of the socket, mm; its wall there also counts as the wall of a window.
        line_width: width of a printed line, mm.
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
    """Return the exterior of a polygon in mm: counter-clockwise, on the grid, without collinear points."""
    snapped = shapely.set_precision(polygon, COORDINATE_GRID)
    whole = max(polygons(snapped, 0.0), key=lambda polygon: polygon.area, default=None)
    if whole is None:
        return ()
    return as_ring([(round(x / COORDINATE_GRID), round(y / COORDINATE_GRID)) for x, y in whole.exterior.coords[:-1]])


def as_ring(points: Sequence[tuple[int, int]]) -> Ring:
    """Return a ring given in micrometres in mm, normalised by `tidy`."""
    return tuple((x / 1000.0, y / 1000.0) for x, y in tidy(points))


def tidy(points: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the ring counter-clockwise from its minimum point, without collinear points.

    Points within 1.5 um of the line count as collinear, as rounding to the grid bends straight lines by that much.
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
    """Return the runs of consecutive integers, each as a half-open interval."""
    runs: list[tuple[int, int]] = []
    for number in sorted(numbers):
        if runs and runs[-1][1] == number:
            runs[-1] = (runs[-1][0], number + 1)
        else:
            runs.append((number, number + 1))
    return runs


def _lines(through: float, pitch: float, low: float, high: float) -> list[float]:
    """Return the positions of the lattice's lines between two ends, in mm."""
    first = int((low - through) // pitch)
    last = int((high - through) // pitch) + 1
    return [through + step * pitch for step in range(first, last + 1)]


def node_points(sockets: Iterable[Socket]) -> list[Point]:
    """Return the points in mm at which the walls of four sockets of a tile cross, in order."""
    corners: dict[Point, int] = {}
    for s in sockets:
        for x in (s.x, s.x + s.width):
            for y in (s.y, s.y + s.depth):
                at = (round(x, 3), round(y, 3))
                corners[at] = corners.get(at, 0) + 1
    return sorted(at for at, count in corners.items() if count == 4)  # noqa: PLR2004 - four sockets


def _with_pad(bays: list[Polygon]) -> list[Polygon]:
    """Reserve a solid pad for the mark in the smallest bay that has room, for a tile without a node."""
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
    """Return the bays with a wall between any two, as the parts of a bay that opening divided may nearly touch."""
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
    """Return the bay without the part beyond a tongue of plastic that is thinner than a wall."""
    with np.errstate(divide="ignore", invalid="ignore"):  # as in `opened`
        closed = bay.buffer(wall / 2.0, join_style="mitre").buffer(-wall / 2.0, join_style="mitre")
        tongues = polygons(shapely.difference(closed, bay), _TONGUE)
        if not tongues:
            return bay
        around = shapely.union_all(tongues).buffer(wall, join_style="mitre", mitre_limit=_MITRE)
    parts = polygons(opened(shapely.difference(bay, around), WINDOW_LEAST / 2.0), WINDOW_LEAST**2)
    return max((part for part in parts if not part.interiors), key=lambda part: part.area, default=Polygon())


def _simple(room: BaseGeometry, wall: float) -> list[Polygon]:
    """Return an area as polygons without holes, divided by ribs at each hole, each wide enough for a window.

    A hole in a window would be a loose island of plastic.
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
