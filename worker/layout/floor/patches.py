"""Patches: the connected parts of the squares and strips that the lattice's lines cut a floor's plate into.

The content of a patch has a number, so that equal squares are recognised without comparing polygons.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry import Polygon

from worker.layout.floor.border import Plate, polygons, tidy
from worker.layout.model.plan import Cell
from worker.spec.tolerances import COORDINATE_GRID

Key: TypeAlias = tuple[object, ...]

#: Length in mm from which two patches that share a line are connected.
_LEAST_CONTACT: Final = 1.0

_FAR: Final = 1e5


@dataclass(frozen=True, slots=True)
class Patch:
    """Connected part of a square: its bounding box, whether it carries a socket, and the number of its content."""

    column: int
    row: int
    bounds: tuple[float, float, float, float]
    socket: bool
    content: int


class Patches:
    """The patches of a plate and which of them are connected.

    Column 0 and the last column lie outside the lattice's first and last line, and so do the first and last row.
    ``first`` is the index of the lattice's first column and row of whole cells.
    """

    def __init__(self, plate: Plate, cells: Sequence[Cell], pitch: float) -> None:
        """Cut the plate into patches.

        Args:
            plate: cells and border, with the lattice's origin at 0, 0.
            cells: cells of the lattice.
            pitch: side of a cell, mm.
        """
        self.pitch = pitch
        self.first = (min(c.x for c in cells) // 2, min(c.y for c in cells) // 2)
        self.columns = -(-max(c.x + c.width for c in cells) // 2) - self.first[0] + 2
        self.rows = -(-max(c.y + c.depth for c in cells) // 2) - self.first[1] + 2
        self.patches: list[Patch] = []
        self.shapes: list[Polygon | None] = []
        self.at: dict[tuple[int, int], list[int]] = {}
        self.links: list[tuple[int, int]] = []
        self.owner: dict[Cell, int] = {}
        self._contents: dict[Key, int] = {}
        self._turned: dict[int, int] = {}
        self._keys: list[Key] = []
        self._cut(plate, cells)
        self._link()

    def line(self, index: int, axis: int) -> float:
        """Return the position in mm of the lattice line before this column (axis 0) or row (axis 1)."""
        count = self.columns if axis == 0 else self.rows
        if index == 0:
            return -_FAR
        return _FAR if index == count else (index - 1 + self.first[axis]) * self.pitch

    def shape(self, patch: int) -> Polygon:
        """Return a patch as a polygon."""
        shape = self.shapes[patch]
        return shapely.box(*self.patches[patch].bounds) if shape is None else shape

    def patch_at(self, x: float, y: float) -> int | None:
        """Return the patch that contains a point, in mm from the lattice's origin; None if there is none."""
        column, row = (int(length // self.pitch) - self.first[axis] + 1 for axis, length in enumerate((x, y)))
        square = min(max(column, 0), self.columns - 1), min(max(row, 0), self.rows - 1)
        point = shapely.Point(x, y)
        return next((p for p in self.at.get(square, ()) if self.shape(p).contains(point)), None)

    def turned(self, content: int) -> int:
        """Return the number of the content rotated by 90 degrees about the centre of its square."""
        if content not in self._turned:
            rings, sockets = self._keys[content]
            side = round(self.pitch / COORDINATE_GRID)
            turned = _rings([(side - y, x) for x, y in ring] for ring in rings)  # type: ignore[attr-defined]
            turned_sockets = tuple(sorted((2 - y - d, x, d, w) for x, y, w, d in sockets))  # type: ignore[attr-defined]
            self._turned[content] = self._content((turned, turned_sockets))
        return self._turned[content]

    def _content(self, key: Key) -> int:
        if key not in self._contents:
            self._contents[key] = len(self._keys)
            self._keys.append(key)
        return self._contents[key]

    def _square(self, cell: Cell) -> tuple[int, int]:
        return cell.x // 2 - self.first[0] + 1, cell.y // 2 - self.first[1] + 1

    def _cut(self, plate: Plate, cells: Sequence[Cell]) -> None:
        side = round(self.pitch / COORDINATE_GRID)
        whole_key: Key = (_rings([[(0, 0), (side, 0), (side, side), (0, side)]]), ((0, 0, 2, 2),))
        whole = self._content(whole_key)
        halves: dict[tuple[int, int], list[Cell]] = {}
        for cell in cells:
            square = self._square(cell)
            if (cell.width, cell.depth) != (2, 2) or cell in plate.nicked:
                halves.setdefault(square, []).append(cell)
                continue
            x, y = cell.x * self.pitch / 2.0, cell.y * self.pitch / 2.0
            self.owner[cell] = len(self.patches)
            self.at[square] = [len(self.patches)]
            self.patches.append(Patch(*square, (x, y, x + self.pitch, y + self.pitch), True, whole))  # noqa: FBT003 - a field
            self.shapes.append(None)
        filled = np.zeros((self.rows + 1, self.columns + 1), dtype=np.int64)
        for i, j in self.at:
            filled[j + 1, i + 1] = 1
        #: Whole cells in front of and left of each crossing of lines.
        self.whole: list[list[int]] = filled.cumsum(axis=0).cumsum(axis=1).tolist()
        rest = [(i, j) for j in range(self.rows) for i in range(self.columns) if (i, j) not in self.at]
        if rest:
            self._cut_squares(plate, rest, halves)

    def _cut_squares(
        self, plate: Plate, squares: Sequence[tuple[int, int]], halves: dict[tuple[int, int], list[Cell]]
    ) -> None:
        """Cut the squares that are not one whole cell."""
        corners = np.array([
            [self.line(i, 0), self.line(j, 1), self.line(i + 1, 0), self.line(j + 1, 1)] for i, j in squares
        ])  # fmt: skip
        boxes = shapely.box(*corners.T)
        shapely.prepare(plate.area)
        touched = np.flatnonzero(shapely.intersects(plate.area, boxes))
        for index, piece in zip(touched.tolist(), shapely.intersection(plate.area, boxes[touched]), strict=True):
            square = squares[index]
            corner = [(square[axis] - 1 + self.first[axis]) * self.pitch for axis in (0, 1)]
            for shape in polygons(piece):
                within = [c for c in halves.get(square, ()) if shape.contains(_middle(c, self.pitch))]
                for cell in within:
                    self.owner[cell] = len(self.patches)
                x2, y2 = 2 * (square[0] - 1 + self.first[0]), 2 * (square[1] - 1 + self.first[1])
                key = (
                    _micro(shape, corner[0], corner[1]),
                    tuple(sorted((c.x - x2, c.y - y2, c.width, c.depth) for c in within)),
                )
                self.at.setdefault(square, []).append(len(self.patches))
                self.patches.append(Patch(square[0], square[1], shape.bounds, bool(within), self._content(key)))
                self.shapes.append(shape)

    def _link(self) -> None:
        """Connect neighbouring patches that are one piece of plate."""
        ends: list[tuple[int, int]] = []
        for (i, j), here in self.at.items():
            for there in (self.at.get((i + 1, j), ()), self.at.get((i, j + 1), ())):
                for a in here:
                    for b in there:
                        if self.shapes[a] is None and self.shapes[b] is None:
                            self.links.append((a, b))
                        else:
                            ends.append((a, b))
        if ends:
            first = np.array([self.shape(a) for a, _ in ends], dtype=object)
            second = np.array([self.shape(b) for _, b in ends], dtype=object)
            contact = shapely.length(shapely.intersection(first, second, grid_size=1e-6))
            self.links += [pair for pair, length in zip(ends, contact, strict=True) if length >= _LEAST_CONTACT]
        self.near: list[list[int]] = [[] for _ in self.patches]
        for a, b in self.links:
            self.near[a].append(b)
            self.near[b].append(a)


def _middle(cell: Cell, pitch: float) -> shapely.Point:
    half = pitch / 2.0
    return shapely.Point((cell.x + cell.width / 2.0) * half, (cell.y + cell.depth / 2.0) * half)


def _micro(shape: Polygon, x: float, y: float) -> Key:
    """Return the rings of a polygon in micrometres, relative to a corner given in mm."""
    return _rings(
        [(round((px - x) * 1000.0 + 1e-6), round((py - y) * 1000.0 + 1e-6)) for px, py in ring.coords[:-1]]
        for ring in (shape.exterior, *shape.interiors)
    )


def _rings(rings: Iterable[Sequence[tuple[int, int]]]) -> Key:
    """Return tidy rings: the outer one, then the holes in order."""
    outer, *holes = (tuple(tidy(ring)) for ring in rings)
    return outer, *sorted(holes)
