"""The tile split: assigns the squares of the lattice to tiles.

Tiles are runs of squares in bands of rows (or columns), so every cut is a lattice line from edge to edge or ends at
one. Dynamic programming over bands and runs minimises the number of pieces; among these, a beam search takes the cuts
with the fewest different shapes, then the most staggered seams.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Final, TypeAlias

from worker.layout.floor.nodes import Node
from worker.layout.floor.plate_graph import Board, Cost
from worker.layout.floor.tab_places import TabPlace, TabShape, tab_places
from worker.layout.floor.tile_area import TileAreas
from worker.layout.floor.tile_groups import groups_of, locked_pairs
from worker.layout.floor.tile_keys import BACK, FRONT, LEFT, RIGHT, Rect, Tile

if TYPE_CHECKING:
    from worker.layout.floor.patches import Key

Cuts: TypeAlias = tuple[int, ...]

#: Limits of the search: bands, runs in a band, beam width, ways listed, ways compared.
_BANDS: Final = 8
_RUNS: Final = 12
_KEPT: Final = 4
_LISTED: Final = 200
_FINALISTS: Final = 3


class Partition:
    """A split of the plate: rectangles of squares, and the tiles they consist of."""

    def __init__(self, board: Board, areas: TileAreas, rects: Sequence[Rect]) -> None:
        """Derive the tiles and the nodes between them.

        Args:
            board: patches of the plate.
            areas: of its tiles.
            rects: rectangles of squares that cover the plate.
        """
        self.board = board
        self.tile_of: dict[int, int] = {}
        rectangles: list[tuple[Rect, tuple[int, ...]]] = []
        for rect in rects:
            for piece in board.components(rect):
                if any(board.patches[p].socket for p in piece):
                    self.tile_of.update(dict.fromkeys(piece, len(rectangles)))
                    rectangles.append((rect, piece))
        sides: list[tuple[list[tuple[int, int, TabShape]], ...]] = [([], [], [], []) for _ in rectangles]
        #: Tabs and keys at the nodes.
        self.places: list[TabPlace] = []
        if board.room is not None:

            def left_at(tile: int, node: Node) -> bool:
                cells = {patch for patch, cell in zip(node.quarters, node.cells, strict=True) if cell}
                return not cells.isdisjoint(rectangles[tile][1]) or areas.reaches(*rectangles[tile], node, reach)

            reach = board.seam.reach
            places = tab_places(board.nodes, self.tile_of, board.room, left_at, loose=board.seam.loose)
            self.places = self._on_bed(places, rectangles)
        for place in self.places:
            for tile, before, shape in place.shapes():
                side = (RIGHT if before else LEFT) if place.along_y else (BACK if before else FRONT)
                sides[tile][side].append((place.x, place.y, shape))
        self.tiles = tuple(
            Tile(rect, piece, tuple(tuple(sorted(tabs)) for tabs in own))
            for (rect, piece), own in zip(rectangles, sides, strict=True)
        )

    def _on_bed(self, places: Sequence[TabPlace], tiles: Sequence[tuple[Rect, tuple[int, ...]]]) -> list[TabPlace]:
        """Return the places without the tabs with which a tile would not fit the bed."""
        sides = [(False, False)] * len(tiles)
        kept = []
        for place in places:
            males = {tile for tile, _, shape in place.shapes() if shape.male}
            grown = {tile: (sides[tile][0] or place.along_y, sides[tile][1] or not place.along_y) for tile in males}
            if all(
                own == sides[tile] or self.board.bed.holds(*self.board.size(*tiles[tile], own))
                for tile, own in grown.items()
            ):
                for tile, own in grown.items():
                    sides[tile] = own
                kept.append(place)
        return kept

    @property
    def pairs(self) -> list[tuple[int, int]]:
        """Return the pairs of adjacent tiles, each once, in order."""
        met = {
            tuple(sorted((self.tile_of[a], self.tile_of[b])))
            for a, b in self.board.links
            if a in self.tile_of and b in self.tile_of and self.tile_of[a] != self.tile_of[b]
        }
        return sorted((a, b) for a, b in met)

    @cached_property
    def kinds(self) -> int:
        """Return the number of different shapes."""
        return len({self.board.keys.turned_key(tile) for tile in self.tiles})

    @cached_property
    def locked(self) -> set[tuple[int, int]]:
        """Return the pairs of tiles that tabs or keys hold in every direction."""
        return locked_pairs(hold for place in self.places for hold in place.holds())

    @cached_property
    def groups(self) -> tuple[tuple[int, ...], ...]:
        """Return the tiles in groups that tabs and keys hold together."""
        return groups_of(len(self.tiles), self.locked)


def partition(board: Board, areas: TileAreas) -> Partition | None:
    """Return the split with the fewest pieces, then the fewest groups of tiles that nothing holds together; or None.

    Among these it has the fewest shapes, then the most staggered seams.

    Border is left out only if its tile would not fit the bed otherwise.
    """
    plans = [plan for plan in (_Bands(board, 0), _Bands(board, 1)) if plan.best is not None]
    if not plans:
        return None
    least = min(plan.best[:2] for plan in plans if plan.best is not None)
    candidates: list[_Way] = []
    for plan in plans:
        if plan.best is not None and plan.best[:2] == least:
            candidates += plan.candidates()
    # staggering may add shapes that the search does not see (no tab where two seams meet), so both are compared
    ways = [
        *sorted(candidates, key=lambda way: (way.kinds, -way.staggered))[:_FINALISTS],
        *sorted(candidates, key=lambda way: (way.kinds, way.staggered))[:_FINALISTS],
    ]
    ranked = [(Partition(board, areas, way.rects), way) for way in dict.fromkeys(ways)]
    return min(ranked, key=lambda way: (len(way[0].groups), way[0].kinds, -way[1].staggered))[0]


@dataclass(frozen=True, slots=True)
class _Way:
    """Candidate split: number of shapes without regard to tabs, number of staggered cuts, and the rectangles."""

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
        return tuple(tuple(self.board.patches[p].content for p in self.board.at.get(square, ())) for square in squares)

    def _square(self, run: int, band: int) -> tuple[int, int]:
        return (run, band) if self.axis == 1 else (band, run)

    def rect(self, r0: int, r1: int, b0: int, b1: int) -> Rect:
        """Return the rectangle of squares of a run in a band."""
        return (r0, r1, b0, b1) if self.axis == 1 else (b0, b1, r0, r1)

    def band(self, b0: int, b1: int) -> tuple[Cost, list[list[int]]] | None:
        """Return the minimum cost of a band and the possible starts of a run for each end; None if none fits."""
        edge = (b0 == 0, b1 == self.bands)
        after = self._row_key[b1] if b1 < self.bands else ()
        key: Key = (edge, tuple(self._row_key[b0:b1]), after)
        at = self._same.setdefault(key, (b0, b1))
        if at not in self._band:
            columns = list(zip(*self._row_key[b0:b1], after or [()] * self.runs, strict=True))
            costs: dict[Key, Cost | None] = {}

            def cost(start: int, end: int) -> Cost | None:
                # runs over equal squares cost the same
                alike = (start == 0, end == self.runs, *columns[start : end + 1])
                if alike not in costs:
                    costs[alike] = self.board.cost(self.rect(start, end, *at))
                return costs[alike]

            self._band[at] = _shortest(self.runs, cost)
        return self._band[at]

    def candidates(self) -> Iterator[_Way]:
        """Return candidate splits with the minimum cost."""
        ways = sorted(_paths(self._back, self.bands), key=_uneven)[:_BANDS]
        for way in ways:
            for sign in (-1, 1):
                yield from self._cut(way, sign)

    def _cut(self, way: Cuts, sign: int) -> Iterator[_Way]:
        """Choose the runs of every band by beam search."""
        kept: list[tuple[int, int, int, tuple[Rect, ...], frozenset[int]]] = [(0, 0, 0, (), frozenset())]
        for b0, b1 in pairwise(way):
            grown = []
            for _, staggered, shapes, rects, last in kept:
                for new, mask, cuts in self._options(b0, b1):
                    seen = shapes | mask
                    count = staggered + (len(cuts - last) if last else 0)
                    grown.append((seen.bit_count(), count, seen, (*rects, *new), cuts))
            grown.sort(key=lambda way: (way[0], sign * way[1]))
            kept = grown[:_KEPT]
        for kinds, staggered, _, rects, _ in kept:
            yield _Way(kinds, staggered, rects)

    def _options(self, b0: int, b1: int) -> list[tuple[tuple[Rect, ...], int, frozenset[int]]]:
        """Return the ways to cut a band into runs: rectangles, bit set of their shapes, inner cuts."""
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
    """Return the minimum total cost of cutting 0..count into runs, and the optimal starts for each end."""
    totals: list[Cost | None] = [(0, 0, 0)] + [None] * count
    back: list[list[int]] = [[] for _ in range(count + 1)]
    first = 0
    for end in range(1, count + 1):
        # a run that is too long stays so with a later end, and every shorter one with the same end fits
        while first < end and cost(first, end) is None:
            first += 1
        for start in range(first, end):
            before, so_far = totals[start], totals[end]
            if before is None or (so_far is not None and (before[0], before[1], before[2] + 1) > so_far):
                continue
            own = cost(start, end)
            if own is None:
                continue
            total = (before[0] + own[0], before[1] + own[1], before[2] + own[2])
            if so_far is None or total < so_far:
                totals[end], back[end] = total, [start]
            elif total == so_far:
                back[end].append(start)
    least = totals[count]
    return None if least is None else (least, back)


def _paths(back: Sequence[Sequence[int]], end: int) -> list[Cuts]:
    """Return up to a fixed number of ways to cut 0..end by the table of starts."""
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
    # the first and last strips lie outside the lattice and do not count
    sizes[0] -= 1
    sizes[-1] -= 1
    return len(set(sizes)), max(sizes) - min(sizes), cuts
