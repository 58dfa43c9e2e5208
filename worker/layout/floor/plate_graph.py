"""The plate graph: rectangles of squares of a floor's plate, their connected pieces, cost and shape."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from worker.layout.floor.border import Plate
from worker.layout.floor.nodes import TabRoom, nodes_of
from worker.layout.floor.patches import Key, Patches
from worker.layout.floor.print_bed import Bed
from worker.layout.floor.tile_keys import Rect, Tile, TileKeys
from worker.layout.model.plan import Cell

Cost: TypeAlias = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Seam:
    """How tiles join: gap in mm, and whether the tabs are loose keys.

    ``reach`` is the length in mm by which a tab extends beyond the centre of a seam; 0 without tabs.
    """

    gap: float
    loose: bool
    reach: float


class Board(Patches):
    """Graph of the patches of a plate, with the nodes at which its seams may carry tabs."""

    def __init__(  # noqa: PLR0917 - one caller, same names
        self, plate: Plate, cells: Sequence[Cell], pitch: float, bed: Bed, seam: Seam, room: TabRoom | None
    ) -> None:
        """Cut the plate into patches.

        Args:
            plate: cells and border, with the lattice's origin at 0, 0.
            cells: cells of the lattice.
            pitch: side of a cell, mm.
            bed: free rectangles of the bed.
            seam: how tiles join.
            room: the room for tabs at the nodes; None for plain seams.
        """
        super().__init__(plate, cells, pitch)
        self.bed, self.seam, self.room = bed, seam, room
        self.keys = TileKeys(self)
        self.nodes = nodes_of(self, cells, plate.nicked) if room is not None else []
        self._bits: dict[Rect, int] = {}
        self._bit_of: dict[Key, int] = {}
        self._costs: dict[Rect, Cost | None] = {}
        # keys do not extend beyond a seam, but at the edge of the floor tabs stand in for them
        tabs = [node for node in self.nodes if not (seam.loose and all(node.cells))]
        self._rows = _lines((node.x - 2 * self.first[0], node.y) for node in tabs)
        self._columns = _lines((node.y - 2 * self.first[1], node.x) for node in tabs)

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
        whole = self.whole
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

    def size(self, rect: Rect, piece: Sequence[int], tabs: tuple[bool, bool] | None = None) -> tuple[float, float]:
        """Return an upper bound of the bounding box of a piece with its tabs, ``(x, y)`` mm.

        Args:
            rect: the rectangle of squares that it was cut from.
            piece: its patches.
            tabs: whether it has tabs on its right and on its back side; None for wherever a node may carry one.
        """
        i0, i1, j0, j1 = rect
        lefts, fronts, rights, backs = zip(*[self.patches[p].bounds for p in piece], strict=True)
        half = self.seam.gap / 2.0
        left = max(min(lefts), self.line(i0, 0) + half)
        front = max(min(fronts), self.line(j0, 1) + half)
        right = min(max(rights), self.line(i1, 0) - half)
        back = min(max(backs), self.line(j1, 1) - half)
        if self.seam.reach > 0.0:
            on_right, on_back = self._may_have_tabs(rect) if tabs is None else tabs
            if on_right:
                right = max(right, self.line(i1, 0) + self.seam.reach)
            if on_back:
                back = max(back, self.line(j1, 1) + self.seam.reach)
        return right - left, back - front

    def _may_have_tabs(self, rect: Rect) -> tuple[bool, bool]:
        i0, i1, j0, j1 = rect
        x0, x1, y0, y1 = (2 * (index - 1 + self.first[axis]) for index, axis in ((i0, 0), (i1, 0), (j0, 1), (j1, 1)))
        return (
            _any_between(self._rows.get(2 * (i1 - 1), ()), y0, y1),
            _any_between(self._columns.get(2 * (j1 - 1), ()), x0, x1),
        )

    def shape_bits(self, rect: Rect) -> int:
        """Return a bit set of the shapes that a rectangle of squares consists of, without regard to tabs."""
        if rect not in self._bits:
            bits = 0
            for piece in self.components(rect):
                if any(self.patches[p].socket for p in piece):
                    key = self.keys.turned_key(Tile(rect, piece))
                    bits |= 1 << self._bit_of.setdefault(key, len(self._bit_of))
            self._bits[rect] = bits
        return self._bits[rect]


def _lines(points: Iterable[tuple[int, int]]) -> dict[int, list[int]]:
    """Return the sorted second numbers of the points by their first."""
    lines: dict[int, list[int]] = {}
    for line, place in sorted(points):
        lines.setdefault(line, []).append(place)
    return lines


def _any_between(numbers: Sequence[int], low: int, high: int) -> bool:
    """Return whether any of the sorted numbers lies between two bounds, or on one."""
    index = bisect_left(numbers, low)
    return index < len(numbers) and numbers[index] <= high
