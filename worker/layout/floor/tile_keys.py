"""Shape keys: what a tile consists of, so that equal tiles are recognised before their polygons are drawn."""

from dataclasses import dataclass
from typing import Final, TypeAlias

from worker.layout.floor.patches import Key, Patches
from worker.layout.floor.tab_places import TabShape

Rect: TypeAlias = tuple[int, int, int, int]

#: Sides of a tile, counter-clockwise.
FRONT: Final = 0
RIGHT: Final = 1
BACK: Final = 2
LEFT: Final = 3

#: Tabs and recesses on a side: node in half cells, and the shape there.
SideTabs: TypeAlias = tuple[tuple[int, int, TabShape], ...]


@dataclass(frozen=True, slots=True)
class Tile:
    """A tile: the rectangle of squares it was cut from, its patches, and the tabs and recesses on each side."""

    rect: Rect
    patches: tuple[int, ...]
    tabs: tuple[SideTabs, ...] = ((), (), (), ())


class TileKeys:
    """Keys of the tiles of a plate."""

    def __init__(self, patches: Patches) -> None:
        """Keep the patches that tiles consist of."""
        self._patches = patches
        self._least_turn: dict[Key, Key] = {}

    def key(self, tile: Tile) -> Key:
        """Return a key of the tile as it lies; tiles with equal keys are identical."""
        return _key(*self._short(tile))

    def turned_key(self, tile: Tile) -> Key:
        """Return the minimum key over the tile's four rotations; tiles with equal keys have the same shape."""
        squares, sides = self._short(tile)
        own = _key(squares, sides)
        if own not in self._least_turn:
            self._least_turn[own] = self._least(squares, sides)
        return self._least_turn[own]

    def _least(self, squares: list[tuple[int, int, int]], sides: list[Key]) -> Key:
        keys = []
        for _ in range(4):
            keys.append(_key(squares, sides))
            squares = [(-r, c, self._patches.turned(content)) for c, r, content in squares]
            sides = [sides[3], *sides[:3]]
        return min(keys)

    def _short(self, tile: Tile) -> tuple[list[tuple[int, int, int]], list[Key]]:
        i0, i1, j0, j1 = tile.rect
        (first_x, first_y), (columns, rows) = self._patches.first, (self._patches.columns, self._patches.rows)
        patches = [self._patches.patches[p] for p in tile.patches]
        squares = [(p.column, p.row, p.content) for p in patches]
        c0, c1 = min(s[0] for s in squares), max(s[0] for s in squares) + 1
        r0, r1 = min(s[1] for s in squares), max(s[1] for s in squares) + 1
        x0, x1, y0, y1 = (2 * (c0 - 1 + first_x), 2 * (c1 - 1 + first_x),
                          2 * (r0 - 1 + first_y), 2 * (r1 - 1 + first_y))  # fmt: skip
        cut = (j0 == r0 and j0 > 0, i1 == c1 and i1 < columns, j1 == r1 and j1 < rows, i0 == c0 and i0 > 0)
        front, right, back, left = tile.tabs
        places = (
            [(x - x0, shape) for x, _, shape in front], [(y - y0, shape) for _, y, shape in right],
            [(x1 - x, shape) for x, _, shape in back], [(y1 - y, shape) for _, y, shape in left],
        )  # fmt: skip
        return squares, [(int(cut[side]), tuple(sorted(places[side]))) for side in range(4)]


def _key(squares: list[tuple[int, int, int]], sides: list[Key]) -> Key:
    c0, r0 = min(s[0] for s in squares), min(s[1] for s in squares)
    return tuple(sorted((c - c0, r - r0, content) for c, r, content in squares)), tuple(sides)
