"""Tab places: the nodes at which the seams of a split carry a tab, and the tiles that it joins.

Where a seam ends at another one, the through seam has the tab, and the two tiles that meet there share its recess, or
have half of it each. At the crossing of two seams there is none. At the edge of the floor and beside a narrow border a
tab has a head on one side only. A loose key would fall out at an open edge, and would slide along with one of two tiles
that share it, so the first tile carries a tab there.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from worker.layout.floor.nodes import Node, TabRoom
from worker.layout.floor.tab import Half, Lobe
from worker.layout.floor.tile_groups import locked_pairs

#: The tiles on the low and on the high side of a tab.
Pair: TypeAlias = tuple[int | None, int | None]

#: Low and high side of a tab, in order of preference.
_WAYS: Final[tuple[tuple[Lobe, Lobe], ...]] = (
    ("head", "head"), ("head", "plain"), ("plain", "head"), ("head", "flush"), ("flush", "head"),
)  # fmt: skip
_SIDES: Final[tuple[Half, Half]] = ("low", "high")


@dataclass(frozen=True, slots=True, order=True)
class TabShape:
    """What a tile has at a place, in the tile's own view: outwards across the seam, with the low side to its right.

    ``male`` is whether the tile has the tab, not its recess.
    """

    male: bool
    low: Lobe
    high: Lobe
    half: Half = "both"


@dataclass(frozen=True, slots=True)
class TabPlace:
    """A tab or a loose key at a node: position in half cells, its two sides, and the tiles before and after the seam.

    ``closed`` is whether the recess encloses each side.
    """

    x: int
    y: int
    along_y: bool
    lobes: tuple[Lobe, Lobe]
    loose: bool
    before: Pair
    after: Pair
    closed: tuple[bool, bool]

    def shapes(self) -> Iterator[tuple[int, bool, TabShape]]:
        """Yield each tile of the place, whether it lies before the seam, and what it has there."""
        low, high = self.lobes
        if self.loose:
            for own in _tiles(self.before):
                yield own, True, TabShape(male=False, low=low, high=high)
        else:
            sides = [side for side in (0, 1) if self.lobes[side] != "flush"]
            tiles = [self.before[side] for side in sides]
            for side, tile in zip(sides, tiles, strict=True):
                if tile is None or tile in tiles[: sides.index(side)]:
                    continue
                whole = self.before[1 - side] in {tile, None}
                yield tile, True, TabShape(male=True, low=low, high=high, half="both" if whole else _SIDES[side])
        for own in _tiles(self.after):
            yield own, False, TabShape(male=False, low=high, high=low)

    def holds(self) -> Iterator[tuple[int, int, int]]:
        """Yield the pairs of tiles that the tab joins, each with the sense of v in which the second cannot slide.

        The neck stops the side of the recess beside its head, and so does a side without a head that is closed.
        """
        for side, sense in ((0, 1), (1, -1)):
            first, second = self.before[side], self.after[side]
            if self.lobes[side] != "head" or first is None or second is None:
                continue
            yield first, second, sense
            if self.lobes[1 - side] != "head" and self.closed[1 - side] and self.after[1 - side] == second:
                yield first, second, -sense


def _tiles(pair: Pair) -> list[int]:
    return sorted({tile for tile in pair if tile is not None})


def tab_places(
    nodes: Sequence[Node], tile_of: Mapping[int, int], room: TabRoom, left_at: Callable[[int, Node], bool], *,
    loose: bool,
) -> list[TabPlace]:  # fmt: skip
    """Return the places of all tabs and keys of a split.

    Args:
        nodes: the nodes of the floor.
        tile_of: the tile of each patch; patches that are left out have none.
        room: the room at the nodes.
        left_at: whether a tile keeps its plate at a node, once its seams cut it off.
        loose: whether the seams use loose keys.
    """
    places = []
    for node in nodes:
        tiles = [None if patch is None else tile_of.get(patch) for patch in node.quarters]
        if len(set(tiles) - {None}) < 2:  # noqa: PLR2004 - no seam
            continue
        tiles = [None if tile is None or not left_at(tile, node) else tile for tile in tiles]
        ways = [_place(node, tiles, room, along_y=along_y, loose=loose) for along_y in (True, False)]
        # there is plastic for one tab only where two seams meet
        places += sorted((way for way in ways if way is not None), key=lambda way: -way.lobes.count("head"))[:1]
    return _needed(places)


def _needed(places: Sequence[TabPlace]) -> list[TabPlace]:
    """Return the places without those at an edge or at the end of a seam whose tiles other tabs hold.

    Tabs at such places are smaller, and make more shapes.
    """
    whole = [place.lobes == ("head", "head") and not _shared(place.before, place.after) for place in places]
    held = locked_pairs(hold for place, inner in zip(places, whole, strict=True) if inner for hold in place.holds())
    return [
        place
        for place, inner in zip(places, whole, strict=True)
        if inner or any((min(a, b), max(a, b)) not in held for a, b, _ in place.holds())
    ]


def _shared(before: Pair, after: Pair) -> bool:
    """Return whether a tab has more than one tile on a side of its seam."""
    return any(None not in pair and pair[0] != pair[1] for pair in (before, after))


def _place(node: Node, tiles: Sequence[int | None], room: TabRoom, *, along_y: bool, loose: bool) -> TabPlace | None:
    """Return the tab of the seam in one direction through a node, or None if it has none."""
    sides = [(tiles[a], tiles[b]) for a, b in node.lobes(along_y=along_y)]
    before, after = (sides[0][0], sides[1][0]), (sides[0][1], sides[1][1])
    cut = [first is not None and second is not None and first != second for first, second in sides]
    if not any(cut) or any(first is not None and first == second for first, second in sides):
        return None
    split = before[0] != before[1] and all(cut)
    if split and (after[0] != after[1] or not room.divisible):
        return None
    if node.plain and all(cut):
        own = loose and not _shared(before, after)
        return TabPlace(node.x, node.y, along_y, ("head", "head"), own, before, after, (True, True))
    for lobes in _WAYS:
        if ("flush" in lobes and not room.divisible) or ("plain" in lobes and not room.thick_at_border):
            continue
        if split and lobes != ("head", "head"):
            continue
        if not all(cut[side] or lobe == "flush" for side, lobe in enumerate(lobes)):
            continue
        fits = [
            _closed(node, room, lobe, side, along_y=along_y, loose=loose, pair=sides[side])
            for side, lobe in enumerate(lobes)
        ]
        low, high = fits
        if low is None or high is None:
            continue
        own = loose and low[1] and high[1] and not _shared(before, after)
        if own or room.rooted(node, lobes, along_y=along_y):
            return TabPlace(node.x, node.y, along_y, lobes, own, before, after, (low[0], high[0]))
    return None


def _closed(
    node: Node, room: TabRoom, lobe: Lobe, side: int, *, along_y: bool, loose: bool, pair: Pair
) -> tuple[bool, bool] | None:
    """Return whether a recess encloses a side of a tab, and whether a loose key would stay in; None without room.

    Args:
        node: the node.
        room: the room at the nodes.
        lobe: what is on this side of the tab.
        side: 0 for the low side, 1 for the high side.
        along_y: whether the seam runs along y.
        loose: whether the seams use loose keys.
        pair: the tiles before and after the seam on this side.
    """
    second = room.fit(node, lobe, along_y=along_y, high=side == 1, first=False)
    if second is None:
        return None
    first = room.fit(node, lobe, along_y=along_y, high=side == 1, first=True) if loose else "open"
    if loose and lobe != "flush" and first is None:
        return None
    closed = second == "closed" and pair[1] is not None
    return closed, closed and first == "closed" and pair[0] is not None
