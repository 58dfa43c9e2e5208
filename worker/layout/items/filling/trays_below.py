"""Trays below others: what finds no place and is used no more often lies under a tray that is lifted out.

A tray that stands on the floor is raised onto lower ones, laid out in its footprint for what is missing: with stacking
rims, of one height, as high as the drawer leaves room for.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from worker.layout.items.filling.stacked_trays import UpperTray, may_lie_above, may_lie_below, rank_of
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import ColumnPool
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.layers.upper_trays import LayeredTray, support
from worker.layout.placement.search.drawer_search import search_drawer
from worker.layout.placement.search.even_heights import LevelledTray
from worker.layout.placement.search.region_solver import Standing
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.layout.tray.interior import LEAST_HEIGHT, UNDER_RIM, on_grid
from worker.spec.items.item import access_rank
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["trays_below"]

#: Trays that are raised in one drawer, at most: each has to be lifted to see what is below (own choice).
_MOST: Final = 4

#: Trays that are tried each time, the largest.
_MOST_TRIED: Final = 6

#: Heights for which the lower trays are laid out, at most: things piled as high as there is room may forbid the walls
#: that their neighbours need, so they are laid out again for what all can have.
_MOST_HEIGHTS: Final = 2

#: Moves of the search below a tray.
_MOVES: Final = 1


@dataclass(frozen=True)
class _Raised:
    """A tray on the floor, by its number, that is raised onto lower ones, and the value that adds, in minutes."""

    number: int
    upper: UpperTray
    lower: tuple[Standing, ...]
    value: float


def trays_below(
    stock: Assortment, bay: Bay, standing: Sequence[Standing], missing: Sequence[tuple[int, int]], limit: float
) -> tuple[list[Standing], list[UpperTray]]:
    """Return the trays on the floor with more for what is missing, and those that are raised onto them.

    Args:
        stock: the things.
        bay: what is free in the drawer.
        standing: the trays on the floor, none with another on it.
        missing: which things have no place, by their index, and how many.
        limit: the highest that anything may reach, in mm.
    """
    left = {
        index: count
        for index, count in missing
        if count == stock.items[index].count and may_lie_below(stock.items[index])
    }
    trays: list[Standing | None] = list(standing)
    lower: list[Standing] = []
    upper: list[UpperTray] = []
    while left and len(upper) < _MOST:
        best = max(_ways(stock, bay, trays, left, limit), key=lambda way: (way.value, -way.number), default=None)
        if best is None:
            break
        trays[best.number] = None
        lower += best.lower
        upper.append(best.upper)
        for column, _ in best.lower:
            for index, count in column.counts:
                left[index] -= count
        left = {index: count for index, count in left.items() if count == stock.items[index].count}
    return [*(entry for entry in trays if entry is not None), *lower], upper


def _ways(
    stock: Assortment, bay: Bay, trays: Sequence[Standing | None], left: Mapping[int, int], limit: float
) -> Iterator[_Raised]:
    """Yield the trays that can be raised, with what lies below them then."""
    able = [
        (number, column, at)
        for number, (column, at) in ((number, entry) for number, entry in enumerate(trays) if entry is not None)
        if stock.cut(column.halves) is None and all(may_lie_above(stock.items[index]) for index, _ in column.counts)
    ]
    for number, column, at in sorted(able, key=lambda entry: (-entry[1].area, entry[0]))[:_MOST_TRIED]:
        rank = rank_of(stock, column)
        under = [index for index in left if access_rank(stock.items[index].access) >= rank]
        height = on_grid(limit - column.top + stock.ground.joint.nesting_depth)
        if under and height >= stock.ground.floor_top + LEAST_HEIGHT + 2.0 * stock.ground.joint.height:
            way = _raised(stock, bay, (number, column, at), under, height)
            if way is not None:
                yield way


def _raised(
    stock: Assortment, bay: Bay, tray: tuple[int, Column, Spot], under: Sequence[int], height: float
) -> _Raised | None:
    """Return a tray raised onto lower ones for what is missing; None where that is worth nothing.

    Args:
        stock: the things.
        bay: what is free in the drawer.
        tray: its number, column and place.
        under: the things that may lie below it, by their index.
        height: the greatest of the lower trays, mm.
    """
    _, column, at = tray
    footprints = frozenset(
        halves
        for halves in stock.footprints
        if stock.cut(halves) is None and halves[0] <= column.halves[0] and halves[1] <= column.halves[1]
    )
    covered = bay.under(*column.halves, at)
    region = Bay(
        tuple(
            tuple(bool(covered >> (y * bay.stride + x) & 1) for x in range(bay.across)) for y in range(bay.back)
        ),
        bay.step,
    )  # fmt: skip
    skip = set(range(len(stock.items))) - set(under)
    best: _Raised | None = None
    for _ in range(_MOST_HEIGHTS):
        ground = replace(stock.ground, height=height + FRAME_AIR)
        rimmed = replace(stock, rim="stacking", footprints=footprints, ground=ground)
        entries = search_drawer(ColumnPool(rimmed, under), region, moves=_MOVES, spare=0.0, skip=skip)
        lower = [(LevelledTray(rimmed, plain), plain, spot) for plain, spot in entries if plain.draft is None]
        for level in sorted({able.least for able, _, _ in lower}):
            way = _at_level(stock, tray, [(able.at_level(level), plain, spot) for able, plain, spot in lower], height)
            if way is not None and (best is None or way.value > best.value):
                best = way
        common = min((able.most for able, _, _ in lower), default=None)
        if common is None or all(able.least <= common for able, _, _ in lower):
            break
        height = rimmed.tray_height(rimmed.levels[common])
    return best if best is not None and best.value > 0.0 else None


def _at_level(
    stock: Assortment,
    tray: tuple[int, Column, Spot],
    lower: Sequence[tuple[Column | None, Column, Spot]],
    height: float,
) -> _Raised | None:
    """Return a tray on those of lower trays that have walls of a level; lower ones stay below it, others are left out.

    Args:
        stock: the things.
        tray: its number, column and place.
        lower: each lower tray with walls of the level, None where its things forbid that; as it was, and its place.
        height: the greatest that they may have, mm.
    """
    number, column, at = tray
    carriers = [(made, spot) for made, _, spot in lower if made is not None]
    if not carriers or carriers[0][0].height > height + LENGTH_EPSILON:
        return None
    z = on_grid(carriers[0][0].height - stock.ground.joint.nesting_depth)
    bridged = [(plain, spot) for made, plain, spot in lower if made is None and plain.top <= z - UNDER_RIM]
    walls = [LayeredTray(spot, made.halves, 0.0, made.height, made.rim) for made, spot in carriers]
    stands = support(LayeredTray(at, column.halves, z, column.height, column.rim), walls)
    if stands is None or not stands.holds:
        return None
    kept = (*carriers, *bridged)
    value = sum(made.value for made, _ in kept)
    value -= sum(stock.weights.below(stock.items[index]) for index in {i for made, _ in kept for i, _ in made.counts})
    return _Raised(number, UpperTray(column, at, z), kept, value)
