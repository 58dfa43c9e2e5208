"""Grid placement: the origin of the grid in an outline, and its whole and half cells.

The result is exact up to the coordinate grid. The feasible positions of a square's front left corner form an area
themselves: the outline eroded by the square (Minkowski difference). Cut along the lines of a grid and translated into
one cell, these positions form overlapping sheets; where most sheets overlap, the grid has the most cells.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, floor
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.drawer.max_overlap import deepest
from worker.layout.model.plan import Cell, Lattice
from worker.spec.errors import LayoutError
from worker.spec.tolerances import COORDINATE_GRID

Area: TypeAlias = Polygon | MultiPolygon
Column: TypeAlias = Literal["left", "center", "right"]
Row: TypeAlias = Literal["front", "center", "back"]
Index: TypeAlias = tuple[int, int]

#: Distance in mm by which a square may leave the area, so that a drawer of exactly seven cells holds seven.
_SLACK: Final = COORDINATE_GRID / 2.0

#: Number of equally good positions that are compared by half cells and borders, largest first.
_CANDIDATES: Final = 8


@dataclass(frozen=True, slots=True)
class _Fit:
    """Candidate placement of the grid: feasible origins, the chosen origin and its cells."""

    origin: tuple[float, float]
    whole: frozenset[Index]
    quarters: frozenset[Index]
    uneven: float

    @property
    def rank(self) -> tuple[float, ...]:
        """Sort key: most whole cells, most half cells, most even borders, then the origin as a tie-breaker."""
        return (-len(self.whole), -len(self.quarters), round(self.uneven, 2), *self.origin)


def fit_lattice(
    usable: Area,
    *,
    pitch: float,
    half_cells: bool = False,
    align: tuple[Column, Row] = ("center", "center"),
    pointer: str | None = None,
) -> Lattice:
    """Return the grid with the most whole cells in the area, then the most half cells, then the best alignment.

    Half cells lie only to the right of or behind the first whole column and row. Cells are sorted front to back, then
    left to right.

    Args:
        usable: usable area of the drawer, coordinates in mm.
        pitch: side of a cell, mm.
        half_cells: whether half cells fill what whole cells leave.
        align: alignment of the cells in the remaining space.
        pointer: JSON Pointer of the drawer, for the error.

    Raises:
        LayoutError: if no cell fits, not even a half cell where these are allowed.
    """
    shapely.prepare(usable)
    places = square_places(usable, pitch)
    if not places.is_empty:
        fits = [
            _halves_and_align(usable, places, spot, pitch=pitch, half_cells=half_cells, align=align)
            for spot in deepest(*_windows(places, pitch))[:_CANDIDATES]
        ]
        best = min(fits, key=lambda fit: fit.rank)
        return _lattice(best.origin, pitch, best.whole, best.quarters)
    half = pitch / 2.0
    places = square_places(usable, half) if half_cells else places
    if places.is_empty:
        raise _too_small(usable, pitch, half_cells=half_cells, pointer=pointer)
    fits = [_align(usable, places, spot, half, align=align) for spot in deepest(*_windows(places, half))[:_CANDIDATES]]
    best = min(fits, key=lambda fit: fit.rank)
    return _lattice(best.origin, pitch, frozenset(), best.whole)


def square_places(area: Area, side: float) -> BaseGeometry:
    """Return the positions of a square's front left corner for which the square lies in the area; all in mm.

    This is the erosion of the area by the square. The Minkowski sum of an edge and a square is the convex hull of the
    squares at its two ends.
    """
    reach = side - _SLACK
    starts, ends = [], []
    for ring in shapely.get_rings(shapely.get_parts(area)):
        points = shapely.get_coordinates(ring)
        starts.append(points[:-1])
        ends.append(points[1:])
    corners = np.array([[-reach, -reach], [-_SLACK, -reach], [-_SLACK, -_SLACK], [-reach, -_SLACK]])
    edges = np.stack([np.concatenate(starts), np.concatenate(ends)], axis=1)
    clouds = (edges[:, :, None, :] + corners).reshape(len(edges), 8, 2)
    hulls = shapely.convex_hull(shapely.multipoints(clouds.tolist()))
    middle_inside = _moved(area, -side / 2.0, -side / 2.0)
    return shapely.difference(middle_inside, shapely.union_all(hulls))


def _moved(area: BaseGeometry, x: float, y: float) -> BaseGeometry:
    """Return the area translated by ``x``, ``y``."""
    return shapely.transform(area, lambda points: points + np.array([x, y]))


def _windows(places: BaseGeometry, pitch: float) -> tuple[Polygon, list[BaseGeometry]]:
    """Return the cell at 0, 0 and, moved into it, the parts of the positions that fill a cell of the grid partly."""
    left, front, right, back = places.bounds
    columns = np.arange(floor(left / pitch), ceil(right / pitch) + 1) * pitch
    rows = np.arange(floor(front / pitch), ceil(back / pitch) + 1) * pitch
    x, y = (axis.ravel() for axis in np.meshgrid(columns, rows))
    boxes = shapely.box(x, y, x + pitch, y + pitch)
    shapely.prepare(places)
    filled = shapely.contains_properly(places, boxes)
    touched = shapely.intersects(places, boxes) & ~filled
    sheets = [
        _moved(piece, -x[i], -y[i])
        for i, piece in zip(np.flatnonzero(touched), shapely.intersection(places, boxes[touched]), strict=True)
        if shapely.area(piece) > 0.0
    ]
    return shapely.box(0.0, 0.0, pitch, pitch), sheets


def _inside(places: BaseGeometry, spot: tuple[float, float], pitch: float) -> frozenset[Index]:
    """Return the indices of the cells that lie in the area if the grid's origin is at this spot."""
    left, front, right, back = places.bounds
    columns = np.arange(floor((left - spot[0]) / pitch), ceil((right - spot[0]) / pitch) + 1)
    rows = np.arange(floor((front - spot[1]) / pitch), ceil((back - spot[1]) / pitch) + 1)
    i, j = (axis.ravel() for axis in np.meshgrid(columns, rows))
    fits = shapely.intersects_xy(places, spot[0] + i * pitch, spot[1] + j * pitch)
    return frozenset((int(a), int(b)) for a, b in zip(i[fits], j[fits], strict=True))


def _freedom(
    places: BaseGeometry, spot: tuple[float, float], indices: Iterable[Index], pitch: float, room: BaseGeometry
) -> BaseGeometry:
    """Return the part of ``room`` to which the spot may move with all these cells staying in the area."""
    left, front, right, back = room.bounds
    shifts = np.array(sorted(indices), dtype=np.float64) * pitch
    boxes = shapely.box(shifts[:, 0] + left, shifts[:, 1] + front, shifts[:, 0] + right, shifts[:, 1] + back)
    tight = ~shapely.contains_properly(places, boxes)
    for shift, cut in zip(shifts[tight], shapely.intersection(places, boxes[tight]), strict=True):
        room = room.intersection(_moved(cut, -shift[0], -shift[1]))
    parts = [part for part in shapely.get_parts(room) if isinstance(part, Polygon)]
    here = Point(spot)
    return min(parts, key=here.distance, default=here)


def _first(indices: Iterable[Index]) -> Index:
    """Return the minimum column and the minimum row."""
    listed = list(indices)
    return min(i for i, _ in listed), min(j for _, j in listed)


def _halves_and_align(
    usable: Area,
    places: BaseGeometry,
    spot: tuple[float, float],
    *,
    pitch: float,
    half_cells: bool,
    align: tuple[Column, Row],
) -> _Fit:
    """Return the best placement among those with the same whole cells as the grid through the spot."""
    absolute = _inside(places, spot, pitch)
    i0, j0 = _first(absolute)
    spot = (spot[0] + i0 * pitch, spot[1] + j0 * pitch)
    whole = frozenset((i - i0, j - j0) for i, j in absolute)
    around = shapely.box(spot[0] - pitch, spot[1] - pitch, spot[0] + pitch, spot[1] + pitch)
    room = _freedom(places, spot, whole, pitch, around)
    quarters: frozenset[Index] = frozenset()
    if half_cells:
        room, quarters = _most_quarters(usable, spot, room, whole, pitch / 2.0)
    origin = _aligned(room, align)
    return _Fit(origin, whole, quarters, _unevenness(usable, origin, whole, pitch, align))


def _align(
    usable: Area, places: BaseGeometry, spot: tuple[float, float], side: float, *, align: tuple[Column, Row]
) -> _Fit:
    """Return the placement in a drawer that holds half cells only; its ``whole`` are quarter cells."""
    return _halves_and_align(usable, places, spot, pitch=side, half_cells=False, align=align)


def _most_quarters(
    usable: Area, spot: tuple[float, float], room: BaseGeometry, whole: frozenset[Index], half: float
) -> tuple[BaseGeometry, frozenset[Index]]:
    """Return the part of the room in which most quarter cells fit beside the whole cells, and those quarter cells."""
    places = square_places(usable, half)
    if places.is_empty:
        return room, frozenset()
    shapely.prepare(places)
    covered = {(2 * i + a, 2 * j + b) for i, j in whole for a in (0, 1) for b in (0, 1)}
    _, _, right, back = places.bounds
    x0, y0, x1, y1 = room.bounds
    free = [
        (i, j)
        for i in range(floor((right - x0) / half) + 1)
        for j in range(floor((back - y0) / half) + 1)
        if (i, j) not in covered
    ]
    if not free or right < x0 or back < y0:
        return room, frozenset()
    shifts = np.array(free, dtype=np.float64) * half
    boxes = shapely.box(shifts[:, 0] + x0, shifts[:, 1] + y0, shifts[:, 0] + x1, shifts[:, 1] + y1)
    filled = shapely.contains_properly(places, boxes)
    touched = np.flatnonzero(shapely.intersects(places, boxes) & ~filled)
    cuts = shapely.intersection(places, boxes[touched])
    sheets = [
        _moved(cut, -shifts[k, 0], -shifts[k, 1]).intersection(room) for k, cut in zip(touched, cuts, strict=True)
    ]
    usual = [sheet for sheet in sheets if sheet.area > 0.0]
    if isinstance(room, Polygon) and usual:
        spot = deepest(room, usual)[0]
    elif not isinstance(room, Polygon):
        spot = (room.x, room.y) if isinstance(room, Point) else spot
    else:
        inner = room.representative_point()
        spot = (inner.x, inner.y)
    fits = shapely.intersects_xy(places, shifts[:, 0] + spot[0], shifts[:, 1] + spot[1])
    quarters = frozenset(free[k] for k in np.flatnonzero(fits))
    if quarters:
        room = _freedom(places, spot, quarters, half, room)
    return room, quarters


def _aligned(room: BaseGeometry, align: tuple[Column, Row]) -> tuple[float, float]:
    """Return the point of the room with the required alignment, first along x, then along y."""
    if isinstance(room, Point):
        return _snapped((room.x, room.y))
    left, front, right, back = room.bounds
    x = _between(left, right, {"left": 0, "center": 1, "right": 2}[align[0]])
    column = room.intersection(LineString([(x, front - 1.0), (x, back + 1.0)]))
    if column.is_empty:
        return _snapped(shapely.get_coordinates(room.representative_point())[0])
    _, low, _, high = column.bounds
    target = Point(x, _between(low, high, {"front": 0, "center": 1, "back": 2}[align[1]]))
    # The centre of a column with a hole may lie in the hole; then its nearest point is taken.
    nearest = shapely.get_coordinates(shapely.shortest_line(column, target))[0]
    return _snapped(nearest)


def _between(low: float, high: float, step: int) -> float:
    """Return the low end, the centre or the high end, without the slack at the ends."""
    slack = min(_SLACK, (high - low) / 2.0)
    return (low + slack, (low + high) / 2.0, high - slack)[step]


def _snapped(point: Iterable[float]) -> tuple[float, float]:
    """Return the point on the coordinate grid."""
    x, y = point
    return round(float(x), 3) + 0.0, round(float(y), 3) + 0.0


def _unevenness(
    usable: Area, origin: tuple[float, float], whole: frozenset[Index], pitch: float, align: tuple[Column, Row]
) -> float:
    """Return the deviation from the required alignment: differences between opposite borders, in mm."""
    left, front, right, back = usable.bounds
    columns, rows = (max(index[axis] for index in whole) + 1 for axis in (0, 1))
    borders = (
        (origin[0] - left, right - origin[0] - columns * pitch),
        (origin[1] - front, back - origin[1] - rows * pitch),
    )
    sides = ({"left": 0, "right": 1}.get(align[0]), {"front": 0, "back": 1}.get(align[1]))
    return sum(
        abs(border[0] - border[1]) if side is None else max(border[side], 0.0)
        for border, side in zip(borders, sides, strict=True)
    )


def _lattice(origin: tuple[float, float], pitch: float, whole: frozenset[Index], quarters: frozenset[Index]) -> Lattice:
    """Return the lattice of whole cells and of quarter cells, joined in pairs where two are adjacent in a cell."""
    cells = [Cell(2 * i, 2 * j, 2, 2) for i, j in whole]
    rest = set(quarters)
    for i, j in sorted(quarters, key=lambda quarter: (quarter[1], quarter[0])):
        if (i, j) not in rest:
            continue
        rest.discard((i, j))
        if i % 2 == 0 and (i + 1, j) in rest:
            rest.discard((i + 1, j))
            cells.append(Cell(i, j, 2, 1))
        elif j % 2 == 0 and (i, j + 1) in rest:
            rest.discard((i, j + 1))
            cells.append(Cell(i, j, 1, 2))
        else:
            cells.append(Cell(i, j, 1, 1))
    cells.sort(key=lambda cell: (cell.y, cell.x))
    return Lattice(origin, pitch, tuple(cells))


def _too_small(usable: Area, pitch: float, *, half_cells: bool, pointer: str | None) -> LayoutError:
    left, front, right, back = usable.bounds
    side = pitch / 2.0 if half_cells else pitch
    what = "half cell" if half_cells else "cell"
    return LayoutError(
        f"No {what} fits in the drawer's usable {right - left:.1f} x {back - front:.1f} mm.",
        pointer=pointer,
        value=[round(right - left, 3), round(back - front, 3)],
        limit=f"a free square of {side:g} x {side:g} mm",
        remedy="Use a smaller pitch." if half_cells else "Use a smaller pitch, or allow half cells.",
    )
