"""The plate graph: the patches that the lattice's lines cut a floor's plate into, and which of them are connected.

The lines cut the plate into squares and, beyond the outermost lines, into strips. A connected part of a square is a
patch. The content of a patch has a number, so that equal squares are recognised without comparing polygons.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from shapely.geometry import Polygon

from worker.layout.floor.border import Plate, polygons, tidy
from worker.layout.floor.print_bed import Bed
from worker.layout.model.plan import Cell
from worker.spec.tolerances import COORDINATE_GRID

Rect: TypeAlias = tuple[int, int, int, int]
Cost: TypeAlias = tuple[int, int, int]
Key: TypeAlias = tuple[object, ...]

#: Sides of a tile, counter-clockwise.
FRONT: Final = 0
RIGHT: Final = 1
BACK: Final = 2
LEFT: Final = 3

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


@dataclass(frozen=True, slots=True)
class Node:
    """Crossing of the walls of four sockets on a line of whole cells: position in half cells, and patches around it.

    ``before`` lie left of a line along y (in front of a line along x), ``after`` on the other side.
    """

    x: int
    y: int
    before: tuple[int, int]
    after: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Tile:
    """A tile: the rectangle of squares it was cut from, its patches, and the nodes with a tab on each side."""

    rect: Rect
    patches: tuple[int, ...]
    nodes: tuple[tuple[tuple[int, int], ...], ...] = ((), (), (), ())


@dataclass(frozen=True, slots=True)
class Seam:
    """How tiles join: gap in mm, whether nodes carry tabs, and whether these are loose keys.

    ``reach`` is the length in mm by which a tab extends beyond the centre of a seam; 0 for a key or none.
    """

    gap: float
    tabs: bool
    loose: bool
    reach: float


class Board:
    """Graph of the patches of a plate.

    Column 0 and the last column lie outside the lattice's first and last line, and so do the first and last row.
    """

    def __init__(self, plate: Plate, cells: Sequence[Cell], pitch: float, bed: Bed, seam: Seam) -> None:
        """Cut the plate into patches.

        Args:
            plate: cells and border, with the lattice's origin at 0, 0.
            cells: cells of the lattice.
            pitch: side of a cell, mm.
            bed: free rectangles of the bed.
            seam: how tiles join.
        """
        self.pitch, self.bed, self.seam = pitch, bed, seam
        self.first = (min(c.x for c in cells) // 2, min(c.y for c in cells) // 2)
        self.columns = -(-max(c.x + c.width for c in cells) // 2) - self.first[0] + 2
        self.rows = -(-max(c.y + c.depth for c in cells) // 2) - self.first[1] + 2
        self.patches: list[Patch] = []
        self.shapes: list[Polygon | None] = []
        self.at: dict[tuple[int, int], list[int]] = {}
        self.links: list[tuple[int, int]] = []
        self._contents: dict[Key, int] = {}
        self._turned: dict[int, int] = {}
        self._keys: list[Key] = []
        self._least_turn: dict[Key, Key] = {}
        self._bits: dict[Rect, int] = {}
        self._bit_of: dict[Key, int] = {}
        self._costs: dict[Rect, Cost | None] = {}
        self.owner: dict[Cell, int] = {}
        self._cut(plate, cells)
        self._link()
        self.across, self.along = self._nodes(cells)
        self._node_rows = {line: sorted(node.y for node in nodes) for line, nodes in self.across.items()}
        self._node_columns = {line: sorted(node.x for node in nodes) for line, nodes in self.along.items()}

    def line(self, index: int, axis: int) -> float:
        """Return the position in mm of the lattice line before this column (axis 0) or row (axis 1)."""
        count = self.columns if axis == 0 else self.rows
        if index == 0:
            return -_FAR
        return _FAR if index == count else (index - 1 + self.first[axis]) * self.pitch

    # -- patches ------------------------------------------------------------------------------------------------

    def _content(self, key: Key) -> int:
        if key not in self._contents:
            self._contents[key] = len(self._keys)
            self._keys.append(key)
        return self._contents[key]

    def _square(self, cell: Cell) -> tuple[int, int]:
        return cell.x // 2 - self.first[0] + 1, cell.y // 2 - self.first[1] + 1

    def _cut(self, plate: Plate, cells: Sequence[Cell]) -> None:
        side = round(self.pitch / COORDINATE_GRID)
        whole_key: Key = (((0, 0), (side, 0), (side, side), (0, side)), ((0, 0, 2, 2),))
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
        self._whole: list[list[int]] = filled.cumsum(axis=0).cumsum(axis=1).tolist()
        rest = [(i, j) for j in range(self.rows) for i in range(self.columns) if (i, j) not in self.at]
        if not rest:
            return
        corners = np.array([
            [self.line(i, 0), self.line(j, 1), self.line(i + 1, 0), self.line(j + 1, 1)] for i, j in rest
        ])  # fmt: skip
        boxes = shapely.box(*corners.T)
        shapely.prepare(plate.area)
        touched = np.flatnonzero(shapely.intersects(plate.area, boxes))
        for index, piece in zip(touched, shapely.intersection(plate.area, boxes[touched]), strict=True):
            square = rest[index]
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
                self.patches.append(Patch(*square, shape.bounds, bool(within), self._content(key)))
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

    def shape(self, patch: int) -> Polygon:
        """Return a patch as a polygon."""
        shape = self.shapes[patch]
        return shapely.box(*self.patches[patch].bounds) if shape is None else shape

    def _nodes(self, cells: Sequence[Cell]) -> tuple[dict[int, list[Node]], dict[int, list[Node]]]:
        """Return the nodes on the lines along y, by column, and on the lines along x, by row."""
        right_front = {(c.x, c.y): c for c in cells}
        right_back = {(c.x, c.y + c.depth): c for c in cells}
        left_front = {(c.x + c.width, c.y): c for c in cells}
        left_back = {(c.x + c.width, c.y + c.depth): c for c in cells}
        across: dict[int, list[Node]] = {}
        along: dict[int, list[Node]] = {}
        for x, y in sorted(right_front.keys() & right_back.keys() & left_front.keys() & left_back.keys()):
            at = (x, y)
            a, b = self.owner[left_back[at]], self.owner[right_back[at]]
            c, d = self.owner[left_front[at]], self.owner[right_front[at]]
            if x % 2 == 0:
                across.setdefault(x // 2 - self.first[0] + 1, []).append(Node(x, y, (a, c), (b, d)))
            if y % 2 == 0:
                along.setdefault(y // 2 - self.first[1] + 1, []).append(Node(x, y, (a, b), (c, d)))
        return across, along

    # -- rectangles of squares -------------------------------------------------------------------------------

    def components(self, rect: Rect) -> list[tuple[int, ...]]:
        """Return the connected components of a rectangle of squares, each as a sorted tuple of patches."""
        i0, i1, j0, j1 = rect
        at, near = self.at, self.near
        inside = [p for j in range(j0, j1) for i in range(i0, i1) if (i, j) in at for p in at[i, j]]
        left = set(inside)
        pieces: list[tuple[int, ...]] = []
        for start in inside:
            if start not in left:
                continue
            left.discard(start)
            piece = [start]
            for patch in piece:
                neighbours = left.intersection(near[patch])
                left -= neighbours
                piece += neighbours
            pieces.append(tuple(sorted(piece)))
        return pieces

    def cost(self, rect: Rect) -> Cost | None:
        """Return ``(patches of border lost, pieces, 1)`` of a rectangle of squares; None if a piece exceeds the bed."""
        if rect not in self._costs:
            self._costs[rect] = self._cost(rect)
        return self._costs[rect]

    def _cost(self, rect: Rect) -> Cost | None:
        i0, i1, j0, j1 = rect
        whole = self._whole
        if whole[j1][i1] - whole[j0][i1] - whole[j1][i0] + whole[j0][i0] == (i1 - i0) * (j1 - j0):
            corners = (self.at[i0, j0][0], self.at[i1 - 1, j1 - 1][0])
            return (0, 1, 1) if self.bed.holds(*self.size(rect, corners)) else None
        lost = pieces = 0
        for piece in self.components(rect):
            if not any(self.patches[p].socket for p in piece):
                lost += len(piece)
                continue
            pieces += 1
            width, depth = self.size(rect, piece)
            if not self.bed.holds(width, depth):
                return None
        return lost, pieces, 1

    def size(self, rect: Rect, piece: Sequence[int]) -> tuple[float, float]:
        """Return an upper bound of the bounding box of a piece with its tabs, ``(x, y)`` mm."""
        i0, i1, j0, j1 = rect
        lefts, fronts, rights, backs = zip(*[self.patches[p].bounds for p in piece], strict=True)
        half = self.seam.gap / 2.0
        left = max(min(lefts), self.line(i0, 0) + half)
        front = max(min(fronts), self.line(j0, 1) + half)
        right = min(max(rights), self.line(i1, 0) - half)
        back = min(max(backs), self.line(j1, 1) - half)
        if self.seam.reach > 0.0:
            if _any_between(self._node_rows.get(i1, ()), 2 * (j0 - 1 + self.first[1]), 2 * (j1 - 1 + self.first[1])):
                right = max(right, self.line(i1, 0) + self.seam.reach)
            if _any_between(self._node_columns.get(j1, ()), 2 * (i0 - 1 + self.first[0]), 2 * (i1 - 1 + self.first[0])):
                back = max(back, self.line(j1, 1) + self.seam.reach)
        return right - left, back - front

    # -- shape keys ----------------------------------------------------------------------------------------

    def key(self, tile: Tile) -> Key:
        """Return a key of the tile as it lies; tiles with equal keys are identical."""
        return self._key(*self._short(tile))

    def turned_key(self, tile: Tile) -> Key:
        """Return the minimum key over the tile's four rotations; tiles with equal keys have the same shape."""
        squares, sides = self._short(tile)
        own = self._key(squares, sides)
        if own not in self._least_turn:
            self._least_turn[own] = self._least(squares, sides)
        return self._least_turn[own]

    def shape_bits(self, rect: Rect) -> int:
        """Return a bit set of the shapes that a rectangle of squares consists of, without regard to tabs."""
        if rect not in self._bits:
            bits = 0
            for piece in self.components(rect):
                if any(self.patches[p].socket for p in piece):
                    key = self.turned_key(Tile(rect, piece))
                    bits |= 1 << self._bit_of.setdefault(key, len(self._bit_of))
            self._bits[rect] = bits
        return self._bits[rect]

    def _least(self, squares: list[tuple[int, int, int]], sides: list[Key]) -> Key:
        keys = []
        for _ in range(4):
            keys.append(self._key(squares, sides))
            squares = [(-r, c, self._turn(content)) for c, r, content in squares]
            sides = [sides[3], *sides[:3]]
        return min(keys)

    def _short(self, tile: Tile) -> tuple[list[tuple[int, int, int]], list[Key]]:
        i0, i1, j0, j1 = tile.rect
        patches = [self.patches[p] for p in tile.patches]
        squares = [(p.column, p.row, p.content) for p in patches]
        c0, c1 = min(s[0] for s in squares), max(s[0] for s in squares) + 1
        r0, r1 = min(s[1] for s in squares), max(s[1] for s in squares) + 1
        x0, x1, y0, y1 = (2 * (c0 - 1 + self.first[0]), 2 * (c1 - 1 + self.first[0]),
                          2 * (r0 - 1 + self.first[1]), 2 * (r1 - 1 + self.first[1]))  # fmt: skip
        cut = (j0 == r0 and j0 > 0, i1 == c1 and i1 < self.columns, j1 == r1 and j1 < self.rows, i0 == c0 and i0 > 0)
        places = (
            [x - x0 for x, _ in tile.nodes[FRONT]], [y - y0 for _, y in tile.nodes[RIGHT]],
            [x1 - x for x, _ in tile.nodes[BACK]], [y1 - y for _, y in tile.nodes[LEFT]],
        )  # fmt: skip
        male = () if self.seam.loose else (RIGHT, BACK)
        sides: list[Key] = [
            (int(cut[side]), int(side in male) if places[side] else 0, tuple(sorted(places[side]))) for side in range(4)
        ]
        return squares, sides

    @staticmethod
    def _key(squares: list[tuple[int, int, int]], sides: list[Key]) -> Key:
        c0, r0 = min(s[0] for s in squares), min(s[1] for s in squares)
        return tuple(sorted((c - c0, r - r0, content) for c, r, content in squares)), tuple(sides)

    def _turn(self, content: int) -> int:
        """Return the number of the content rotated by 90 degrees about the centre of its square."""
        if content not in self._turned:
            ring, sockets = self._keys[content]
            side = round(self.pitch / COORDINATE_GRID)
            turned = tuple(tidy([(side - y, x) for x, y in ring]))  # type: ignore[attr-defined]
            turned_sockets = tuple(sorted((2 - y - d, x, d, w) for x, y, w, d in sockets))  # type: ignore[attr-defined]
            self._turned[content] = self._content((turned, turned_sockets))
        return self._turned[content]


def _any_between(numbers: Sequence[int], low: int, high: int) -> bool:
    """Return whether any of the sorted numbers lies strictly between two bounds."""
    index = bisect_right(numbers, low)
    return index < len(numbers) and numbers[index] < high


def _middle(cell: Cell, pitch: float) -> shapely.Point:
    half = pitch / 2.0
    return shapely.Point((cell.x + cell.width / 2.0) * half, (cell.y + cell.depth / 2.0) * half)


def _micro(shape: Polygon, x: float, y: float) -> Key:
    """Return the rings of a polygon in micrometres, relative to a corner given in mm."""
    points = [
        (round((px - x) * 1000.0 + 1e-6), round((py - y) * 1000.0 + 1e-6)) for px, py in shape.exterior.coords[:-1]
    ]
    return tuple(tidy(points))
