"""The lattice: where the grid lies in an outline, and which of its cells are whole, which half.

All is exact up to the coordinate grid. The places where the front left corner of a square may stand, so that the square
lies inside the area, are again an area: the area moved back by half a square, less the Minkowski sum of its edges with
the square. Cut by the grid's own windows and laid on top of each other, these places form a pile of sheets; where the
pile is deepest, the grid has the most cells.
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

#: A square may reach this far out of the area, so that a drawer of exactly seven cells holds seven.
_SLACK: Final = COORDINATE_GRID / 2.0

#: So many equally deep places are looked at for halves and borders; the largest come first.
_CANDIDATES: Final = 8


@dataclass(frozen=True, slots=True)
class _Fit:
    """One way to lay the grid: where its corner may stand, where it does, and what it holds."""

    origin: tuple[float, float]
    whole: frozenset[Index]
    quarters: frozenset[Index]
    uneven: float

    @property
    def rank(self) -> tuple[float, ...]:
        """Sort key: most cells, most halves, most even borders; then the place itself, so that ties are settled."""
        return (-len(self.whole), -len(self.quarters), round(self.uneven, 2), *self.origin)


def fit_lattice(
    usable: Area,
    *,
    pitch: float,
    half_cells: bool = False,
    align: tuple[Column, Row] = ("center", "center"),
    pointer: str | None = None,
) -> Lattice:
    """Return the grid that has the most whole cells in the area, then the most halves, then the asked alignment.

    Halves stand only right of or behind the first whole column and row. Cells are sorted front to back, then left to
    right.

    Args:
        usable: the area, in mm.
        pitch: side of a cell.
        half_cells: whether half cells fill what whole cells leave.
        align: where the cells stand in the room that is left.
        pointer: JSON Pointer of the drawer, for the error.

    Raises:
        LayoutError: when not one cell fits (with ``half_cells``: not one half cell).
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
    """Return where the front left corner of a square may stand so that the square lies in the area.

    The sum of an edge with a square is the convex hull of the two squares at its ends (Minkowski sum of convex sets).
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
    """Return the area moved by this much."""
    return shapely.transform(area, lambda points: points + np.array([x, y]))


def _windows(places: BaseGeometry, pitch: float) -> tuple[Polygon, list[BaseGeometry]]:
    """Return the grid's window at 0, 0, and moved into it the pieces of the places that fill a window in part."""
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
    """Return the indices of the grid through this spot whose squares lie in the area."""
    left, front, right, back = places.bounds
    columns = np.arange(floor((left - spot[0]) / pitch), ceil((right - spot[0]) / pitch) + 1)
    rows = np.arange(floor((front - spot[1]) / pitch), ceil((back - spot[1]) / pitch) + 1)
    i, j = (axis.ravel() for axis in np.meshgrid(columns, rows))
    fits = shapely.intersects_xy(places, spot[0] + i * pitch, spot[1] + j * pitch)
    return frozenset((int(a), int(b)) for a, b in zip(i[fits], j[fits], strict=True))


def _freedom(
    places: BaseGeometry, spot: tuple[float, float], indices: Iterable[Index], pitch: float, room: BaseGeometry
) -> BaseGeometry:
    """Return where the spot may go inside ``room`` while all these squares stay in the area."""
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
    """Return the least column and the least row."""
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
    """Return the best fit among those that hold the same whole cells as the grid through the spot."""
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
    """Return the fit of a drawer that has nothing but halves; its ``whole`` are quarters."""
    return _halves_and_align(usable, places, spot, pitch=side, half_cells=False, align=align)


def _most_quarters(
    usable: Area, spot: tuple[float, float], room: BaseGeometry, whole: frozenset[Index], half: float
) -> tuple[BaseGeometry, frozenset[Index]]:
    """Return the part of the room where the most quarters fit beside the whole cells, and those quarters."""
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
    """Return the point of the room that stands as asked: first across, then front to back."""
    if isinstance(room, Point):
        return _snapped((room.x, room.y))
    left, front, right, back = room.bounds
    x = _between(left, right, {"left": 0, "center": 1, "right": 2}[align[0]])
    column = room.intersection(LineString([(x, front - 1.0), (x, back + 1.0)]))
    if column.is_empty:
        return _snapped(shapely.get_coordinates(room.representative_point())[0])
    _, low, _, high = column.bounds
    target = Point(x, _between(low, high, {"front": 0, "center": 1, "back": 2}[align[1]]))
    # A column with a hole in it may not hold its own middle: its nearest point does.
    nearest = shapely.get_coordinates(shapely.shortest_line(column, target))[0]
    return _snapped(nearest)


def _between(low: float, high: float, step: int) -> float:
    """Return the low end, the middle or the high end, without the slack at the ends."""
    slack = min(_SLACK, (high - low) / 2.0)
    return (low + slack, (low + high) / 2.0, high - slack)[step]


def _snapped(point: Iterable[float]) -> tuple[float, float]:
    """Return the point on the coordinate grid."""
    x, y = point
    return round(float(x), 3) + 0.0, round(float(y), 3) + 0.0


def _unevenness(
    usable: Area, origin: tuple[float, float], whole: frozenset[Index], pitch: float, align: tuple[Column, Row]
) -> float:
    """Return how far the cells are from the asked alignment: differences of opposite borders, in mm."""
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
    """Return the lattice: whole cells, and quarters of one cell joined where two of them lie side by side."""
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
        f"Not one {what} fits into the drawer's usable {right - left:.1f} x {back - front:.1f} mm.",
        pointer=pointer,
        value=[round(right - left, 3), round(back - front, 3)],
        limit=f"a free square of {side:g} x {side:g} mm",
        remedy="Take a smaller pitch." if half_cells else "Take a smaller pitch, or allow half cells.",
    )
