"""The partition: which squares of the lattice go into which tile.

The lattice's lines cut the plate into squares, and beyond the outermost lines into strips; what a square holds in one
piece is a patch. Tiles are runs of squares inside bands of rows (or of columns), so every cut is a lattice line from
edge to edge or ends at one. The fewest pieces come from dynamic programming over bands of runs; among those, a narrow
search takes the cuts that give the fewest different shapes, then those that stagger.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely
from shapely.geometry import Polygon

from worker.layout.border import Plate, polygons, tidy
from worker.layout.plan import Cell
from worker.spec.tolerances import COORDINATE_GRID, LENGTH_EPSILON

Rect: TypeAlias = tuple[int, int, int, int]
Cost: TypeAlias = tuple[int, int, int]
Cuts: TypeAlias = tuple[int, ...]
Side: TypeAlias = Literal[0, 1, 2, 3]
Key: TypeAlias = tuple[object, ...]

#: Sides of a tile, counter-clockwise.
FRONT: Final = 0
RIGHT: Final = 1
BACK: Final = 2
LEFT: Final = 3

#: Patches are joined where they share at least this much of a line, in mm.
_LEAST_CONTACT: Final = 1.0

#: How many ways to cut are looked at: bands, runs inside a band, and partial answers kept.
_BANDS: Final = 8
_RUNS: Final = 12
_KEPT: Final = 4
_LISTED: Final = 200
_FINALISTS: Final = 3

_FAR: Final = 1e5


@dataclass(frozen=True, slots=True)
class Patch:
    """What one square holds in one piece: its box, whether it carries a socket, and the number of its content."""

    column: int
    row: int
    bounds: tuple[float, float, float, float]
    socket: bool
    content: int


@dataclass(frozen=True, slots=True)
class Node:
    """A crossing of four sockets' walls on a line of whole cells: its place in half cells, the patches around it.

    ``before`` lie left of a line along y (in front of a line along x), ``after`` on the other side.
    """

    x: int
    y: int
    before: tuple[int, int]
    after: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Tile:
    """One tile in numbers: the squares' rectangle it was cut from, its patches, and the nodes with a tab by side."""

    rect: Rect
    patches: tuple[int, ...]
    nodes: tuple[tuple[tuple[int, int], ...], ...] = ((), (), (), ())


@dataclass(frozen=True, slots=True)
class Seam:
    """How tiles meet: the air between them, whether nodes carry tabs, whether those are loose keys.

    ``reach`` is how far a tab stands out over the middle of a seam, in mm; 0 for a key or none.
    """

    gap: float
    tabs: bool
    loose: bool
    reach: float


@dataclass(frozen=True, slots=True)
class Bed:
    """The rooms on a bed into which a tile's box may go: maximal empty rectangles as ``(x, y)``, either way round."""

    rooms: tuple[tuple[float, float], ...]

    @staticmethod
    def of(size: tuple[float, float], margin: float, forbidden: Sequence[tuple[float, float, float, float]]) -> "Bed":
        """Return the rooms of a bed that keep the margin and stay clear of ``(left, front, right, back)`` boxes."""
        x = sorted({margin, size[0] - margin, *(edge for box in forbidden for edge in (box[0], box[2]))})
        y = sorted({margin, size[1] - margin, *(edge for box in forbidden for edge in (box[1], box[3]))})
        rooms: set[tuple[float, float]] = set()
        xs = [one for one in x if margin <= one <= size[0] - margin]
        ys = [one for one in y if margin <= one <= size[1] - margin]
        for i, left in enumerate(xs):
            for right in xs[i + 1 :]:
                blocked = [box for box in forbidden if box[0] < right and box[2] > left]
                for j, front in enumerate(ys):
                    for back in ys[j + 1 :]:
                        if all(box[1] >= back or box[3] <= front for box in blocked):
                            rooms.add((right - left, back - front))
        rooms |= {(b, a) for a, b in rooms}
        best = [one for one in rooms if not any(o != one and o[0] >= one[0] and o[1] >= one[1] for o in rooms)]
        return Bed(tuple(sorted(best)))

    def holds(self, width: float, depth: float) -> bool:
        """Return whether a box of this size has room, as it is or turned."""
        return any(width <= room[0] + LENGTH_EPSILON and depth <= room[1] + LENGTH_EPSILON for room in self.rooms)


class Board:
    """The plate cut into patches by the lattice's lines.

    Column 0 and the last column lie outside the lattice's first and last line, and so do the first and last row.
    """

    def __init__(self, plate: Plate, cells: Sequence[Cell], pitch: float, bed: Bed, seam: Seam) -> None:
        """Cut the plate.

        Args:
            plate: cells and border, with the lattice's origin at 0, 0.
            cells: the lattice's cells.
            pitch: side of a cell, in mm.
            bed: the rooms on the bed.
            seam: how tiles meet.
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
        """Return the place of a lattice line: the one before this column (axis 0) or row (axis 1), in mm."""
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
        """Find which neighbouring patches are one piece of plate."""
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

    # -- one rectangle of squares -------------------------------------------------------------------------------

    def components(self, rect: Rect) -> list[tuple[int, ...]]:
        """Return the connected pieces of a rectangle of squares, each as its patches in order."""
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
                found = left.intersection(near[patch])
                left -= found
                piece += found
            pieces.append(tuple(sorted(piece)))
        return pieces

    def cost(self, rect: Rect) -> Cost | None:
        """Return ``(patches of border lost, pieces, 1)`` of a rectangle of squares; None when a piece fits no bed."""
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
        """Return the size of the box around a piece with its tabs, in mm; never too small."""
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

    # -- shapes in short ----------------------------------------------------------------------------------------

    def key(self, tile: Tile) -> Key:
        """Return the tile's shape in short, as it lies: equal keys, equal tiles."""
        return self._key(*self._short(tile))

    def turned_key(self, tile: Tile) -> Key:
        """Return the tile's shape in short, the least of its four turns: equal keys, equal shapes."""
        squares, sides = self._short(tile)
        own = self._key(squares, sides)
        if own not in self._least_turn:
            self._least_turn[own] = self._least(squares, sides)
        return self._least_turn[own]

    def shape_bits(self, rect: Rect) -> int:
        """Return a number with one bit set for each shape that a rectangle of squares falls into, tabs apart."""
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
        """Return the number of the content turned by 90 degrees about its square's middle."""
        if content not in self._turned:
            ring, sockets = self._keys[content]
            side = round(self.pitch / COORDINATE_GRID)
            turned = tuple(tidy([(side - y, x) for x, y in ring]))  # type: ignore[attr-defined]
            turned_sockets = tuple(sorted((2 - y - d, x, d, w) for x, y, w, d in sockets))  # type: ignore[attr-defined]
            self._turned[content] = self._content((turned, turned_sockets))
        return self._turned[content]


class Partition:
    """One way to cut a board: rectangles of squares, and the tiles they fall into."""

    def __init__(self, board: Board, rects: Sequence[Rect]) -> None:
        """Find the tiles and the nodes between them.

        Args:
            board: the plate in patches.
            rects: rectangles of squares that cover the board.
        """
        self.board = board
        self.tile_of: dict[int, int] = {}
        found: list[tuple[Rect, tuple[int, ...]]] = []
        for rect in rects:
            for piece in board.components(rect):
                if any(board.patches[p].socket for p in piece):
                    self.tile_of.update(dict.fromkeys(piece, len(found)))
                    found.append((rect, piece))
        sides: list[tuple[list[tuple[int, int]], ...]] = [([], [], [], []) for _ in found]
        #: Nodes with a tab: place, whether the seam runs along y.
        self.places: list[tuple[int, int, bool]] = []
        for nodes, along_y in ((board.across, True), (board.along, False)) if board.seam.tabs else ():
            for node in (one for line in nodes.values() for one in line):
                pair = self._pair(node, along_y=along_y)
                if pair is not None:
                    sides[pair[0]][RIGHT if along_y else BACK].append((node.x, node.y))
                    sides[pair[1]][LEFT if along_y else FRONT].append((node.x, node.y))
                    self.places.append((node.x, node.y, along_y))
        self.tiles = tuple(
            Tile(rect, piece, tuple(tuple(sorted(one)) for one in own))
            for (rect, piece), own in zip(found, sides, strict=True)
        )

    def _pair(self, node: Node, *, along_y: bool) -> tuple[int, int] | None:
        """Return the two tiles that a tab at this node joins, or None when it is no place for one."""
        own = self.tile_of
        first, second = own.get(node.before[0]), own.get(node.after[0])
        if first is None or second is None or first == second:
            return None
        if own.get(node.before[1]) != first or own.get(node.after[1]) != second:
            return None
        along = node.y if along_y else node.x
        if along % 2 == 1:
            # Half a cell from the next lines: no tab where the seam ends at one of them.
            for patch, tile in ((node.before[0], first), (node.after[0], second)):
                spot = self.board.patches[patch]
                for step in (-1, 1):
                    i, j = (spot.column, spot.row + step) if along_y else (spot.column + step, spot.row)
                    if any(own.get(p, tile) != tile for p in self.board.at.get((i, j), ())):
                        return None
        return first, second

    @property
    def pairs(self) -> list[tuple[int, int]]:
        """Return the pairs of tiles that meet, each once, in order."""
        met = {
            tuple(sorted((self.tile_of[a], self.tile_of[b])))
            for a, b in self.board.links
            if a in self.tile_of and b in self.tile_of and self.tile_of[a] != self.tile_of[b]
        }
        return sorted((a, b) for a, b in met)

    @cached_property
    def kinds(self) -> int:
        """Return the count of different shapes."""
        return len({self.board.turned_key(tile) for tile in self.tiles})


def partition(board: Board) -> Partition | None:
    """Return the partition with the fewest pieces, then the fewest shapes, then the most staggered; or None.

    Border that would keep a tile off the bed is given up first, and only then.
    """
    plans = [plan for plan in (_Bands(board, 0), _Bands(board, 1)) if plan.best is not None]
    if not plans:
        return None
    least = min(plan.best[:2] for plan in plans if plan.best is not None)
    found: list[_Way] = []
    for plan in plans:
        if plan.best is not None and plan.best[:2] == least:
            found += plan.candidates()
    # Staggered seams may cost shapes that the search does not see (no tab where two seams meet), so both are tried.
    ways = [
        *sorted(found, key=lambda way: (way.kinds, -way.staggered))[:_FINALISTS],
        *sorted(found, key=lambda way: (way.kinds, way.staggered))[:_FINALISTS],
    ]
    ranked = [(Partition(board, way.rects), way) for way in dict.fromkeys(ways)]
    return min(ranked, key=lambda one: (one[0].kinds, -one[1].staggered))[0]


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to cut: how many shapes it makes without regard to tabs, how many cuts stagger, the rectangles."""

    kinds: int
    staggered: int
    rects: tuple[Rect, ...]


class _Bands:
    """Bands of rows (axis 1) or columns (axis 0), each cut into runs."""

    def __init__(self, board: Board, axis: int) -> None:
        self.board, self.axis = board, axis
        self.bands, self.runs = (board.rows, board.columns) if axis == 1 else (board.columns, board.rows)
        self._band: dict[tuple[int, int], tuple[Cost, list[list[int]]] | None] = {}
        self._same: dict[Key, tuple[int, int]] = {}
        self._row_key = [self._row(j) for j in range(self.bands)]
        self._ways: dict[tuple[int, int], list[tuple[tuple[Rect, ...], int, frozenset[int]]]] = {}
        solved = _shortest(self.bands, self._band_cost)
        self.best: Cost | None = None if solved is None else solved[0]
        self._back: list[list[int]] = [] if solved is None else solved[1]

    def _band_cost(self, b0: int, b1: int) -> Cost | None:
        band = self.band(b0, b1)
        return None if band is None else band[0]

    def _row(self, index: int) -> tuple[tuple[int, ...], ...]:
        squares = (self._square(run, index) for run in range(self.runs))
        return tuple(tuple(self.board.patches[p].content for p in self.board.at.get(one, ())) for one in squares)

    def _square(self, run: int, band: int) -> tuple[int, int]:
        return (run, band) if self.axis == 1 else (band, run)

    def rect(self, r0: int, r1: int, b0: int, b1: int) -> Rect:
        """Return the rectangle of squares of a run in a band."""
        return (r0, r1, b0, b1) if self.axis == 1 else (b0, b1, r0, r1)

    def band(self, b0: int, b1: int) -> tuple[Cost, list[list[int]]] | None:
        """Return the least cost of a band and, for each end of a run, where the run may begin; None when none fits."""
        edge = (b0 == 0, b1 == self.bands)
        after = self._row_key[b1] if b1 < self.bands else ()
        key: Key = (edge, tuple(self._row_key[b0:b1]), after)
        at = self._same.setdefault(key, (b0, b1))
        if at not in self._band:
            columns = list(zip(*self._row_key[b0:b1], after or [()] * self.runs, strict=True))
            known: dict[Key, Cost | None] = {}

            def cost(start: int, end: int) -> Cost | None:
                # Runs over equal squares, with equal ones behind them, cost the same.
                alike = (start == 0, end == self.runs, *columns[start : end + 1])
                if alike not in known:
                    known[alike] = self.board.cost(self.rect(start, end, *at))
                return known[alike]

            self._band[at] = _shortest(self.runs, cost)
        return self._band[at]

    def candidates(self) -> Iterator[_Way]:
        """Give ways to cut with the least cost."""
        ways = sorted(_paths(self._back, self.bands), key=_uneven)[:_BANDS]
        for way in ways:
            for sign in (-1, 1):
                yield from self._cut(way, sign)

    def _cut(self, way: Cuts, sign: int) -> Iterator[_Way]:
        """Choose the runs of every band, keeping the few best partial answers (a beam search)."""
        kept: list[tuple[int, int, int, tuple[Rect, ...], frozenset[int]]] = [(0, 0, 0, (), frozenset())]
        for b0, b1 in pairwise(way):
            grown = []
            for _, staggered, shapes, rects, last in kept:
                for new, mask, cuts in self._options(b0, b1):
                    seen = shapes | mask
                    count = staggered + (len(cuts - last) if last else 0)
                    grown.append((seen.bit_count(), count, seen, (*rects, *new), cuts))
            grown.sort(key=lambda one: (one[0], sign * one[1]))
            kept = grown[:_KEPT]
        for kinds, staggered, _, rects, _ in kept:
            yield _Way(kinds, staggered, rects)

    def _options(self, b0: int, b1: int) -> list[tuple[tuple[Rect, ...], int, frozenset[int]]]:
        """Return ways to cut one band into runs: rectangles, a bit for each of their shapes, the inner cuts."""
        if (b0, b1) not in self._ways:
            band = self.band(b0, b1)
            options = sorted(_paths(band[1], self.runs), key=_uneven)[:_RUNS] if band is not None else []
            listed = []
            for cuts in options:
                rects = tuple(self.rect(r0, r1, b0, b1) for r0, r1 in pairwise(cuts))
                mask = 0
                for rect in rects:
                    mask |= self.board.shape_bits(rect)
                listed.append((rects, mask, frozenset(cuts[1:-1])))
            self._ways[b0, b1] = listed
        return self._ways[b0, b1]


def _shortest(count: int, cost: Callable[[int, int], Cost | None]) -> tuple[Cost, list[list[int]]] | None:
    """Return the least total cost of cutting 0..count into runs, and for each end the starts that reach it so."""
    totals: list[Cost | None] = [(0, 0, 0)] + [None] * count
    back: list[list[int]] = [[] for _ in range(count + 1)]
    for end in range(1, count + 1):
        for start in range(end - 1, -1, -1):
            own = cost(start, end)
            if own is None:
                break
            before = totals[start]
            if before is None:
                continue
            total = (before[0] + own[0], before[1] + own[1], before[2] + own[2])
            so_far = totals[end]
            if so_far is None or total < so_far:
                totals[end], back[end] = total, [start]
            elif total == so_far:
                back[end].append(start)
    least = totals[count]
    return None if least is None else (least, back)


def _paths(back: Sequence[Sequence[int]], end: int) -> list[Cuts]:
    """Return the ways to cut 0..end that the table of starts allows, at most a fixed number of them."""
    ways: list[Cuts] = [(end,)]
    done: list[Cuts] = []
    while ways and len(done) < _LISTED:
        way = ways.pop()
        if way[0] == 0:
            done.append(way)
        else:
            ways += [(start, *way) for start in back[way[0]]]
    return done


def _uneven(cuts: Cuts) -> tuple[int, int, Cuts]:
    """Sort key: few different sizes, then sizes near each other, then the cuts themselves."""
    sizes = [b - a for a, b in pairwise(cuts)]
    # The first and the last strip lie outside the lattice and count for nothing.
    sizes[0] -= 1
    sizes[-1] -= 1
    return len(set(sizes)), max(sizes) - min(sizes), cuts


def _any_between(numbers: Sequence[int], low: int, high: int) -> bool:
    """Return whether one of the sorted numbers lies strictly between two others."""
    index = bisect_right(numbers, low)
    return index < len(numbers) and numbers[index] < high


def _middle(cell: Cell, pitch: float) -> shapely.Point:
    half = pitch / 2.0
    return shapely.Point((cell.x + cell.width / 2.0) * half, (cell.y + cell.depth / 2.0) * half)


def _micro(shape: Polygon, x: float, y: float) -> Key:
    """Return a polygon's rings in micrometres from a corner."""
    points = [
        (round((px - x) * 1000.0 + 1e-6), round((py - y) * 1000.0 + 1e-6)) for px, py in shape.exterior.coords[:-1]
    ]
    return tuple(tidy(points))
