"""Stacked trays: what finds no place on the floor stands on trays that are rarely reached into.

A tray stands in the stacking rim of one of its own footprint, as deep as a tile is high and what it settles.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import columns
from worker.layout.placement.columns.tray_columns import Column, Footprint
from worker.layout.placement.search.region_solver import Standing
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Item, access_rank
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["UpperTray", "alone", "may_lie_above", "may_lie_below", "rank_of", "stack_trays"]


@dataclass(frozen=True, slots=True)
class UpperTray:
    """A tray on another: its column, the half cell that both stand on, how high over the drawer's bottom it stands."""

    column: Column
    at: tuple[int, int]
    z: float


def stack_trays(
    stock: Assortment, bay: Bay, standing: Sequence[Standing], missing: Sequence[tuple[int, int]], limit: float
) -> tuple[list[Standing], list[UpperTray]]:
    """Return trays with others on them, for things that have no place on the floor.

    Args:
        stock: the things.
        bay: what is free in the drawer.
        standing: the trays on the floor.
        missing: which things have no place, by their index, and how many.
        limit: the highest that anything may reach, in mm.
    """
    left = {index: count for index, count in missing if _stacks(stock.items[index])}
    floor = list(standing)
    upper: list[UpperTray] = []
    depth = stock.ground.joint.nesting_depth
    for number, (column, at) in enumerate(floor):
        if not left or column.draft is not None or not all(_stacks(stock.items[index]) for index, _ in column.counts):
            continue
        around = bay.less((spot, other.halves) for other, spot in (*floor[:number], *floor[number + 1 :]))
        for below in _lower(stock, column, stock.footprints):
            spot = _nearest(around, below, at)
            if spot is None:
                continue
            z = on_grid(below.height - depth)
            tower: list[UpperTray] = []
            base, rest = below, dict(left)
            while rest and (above := _upper(stock, base, rest, limit - z)) is not None:
                tower.append(UpperTray(above, spot, z))
                rest = _less(rest, above)
                stackable = next(iter(_lower(stock, above, {above.halves})), None)
                if (
                    stackable is None
                    or not rest
                    or _upper(stock, stackable, rest, limit - z - stackable.height + depth) is None
                ):
                    break
                tower[-1] = UpperTray(stackable, spot, z)
                base, z = stackable, on_grid(z + stackable.height - depth)
            if tower:
                lowest, rest_of_stack = _heaviest_lowest(stock, below, tower, limit)
                floor[number] = lowest, spot
                upper += rest_of_stack
                left = rest
                break
    return floor, upper


def _heaviest_lowest(
    stock: Assortment, below: Column, tower: Sequence[UpperTray], limit: float
) -> tuple[Column, list[UpperTray]]:
    """Return a stack with what is used least at the bottom, then the heaviest; unchanged if that is too high."""
    stack = [below, *(tray.column for tray in tower)]
    order = sorted(stack, key=lambda column: (-rank_of(stock, column), -_mass(stock, column)))
    trays: list[Column] = []
    heights: list[float] = []
    z = 0.0
    for column in order:
        rim: Rim = "straight" if len(trays) == len(tower) else "stacking"
        tray = column if column.rim == rim else next(alone(stock, column, {column.halves}, rim), None)
        if tray is None or z + tray.top > limit + LENGTH_EPSILON:
            return below, list(tower)
        trays.append(tray)
        heights.append(z)
        z = on_grid(z + tray.height - stock.ground.joint.nesting_depth)
    at = tower[0].at
    return trays[0], [UpperTray(tray, at, z) for tray, z in zip(trays[1:], heights[1:], strict=True)]


def rank_of(stock: Assortment, column: Column) -> int:
    """Return how often a tray is reached into: 0 often, 1 sometimes, 2 rarely."""
    return min(access_rank(stock.items[index].access) for index, _ in column.counts)


def _mass(stock: Assortment, column: Column) -> float:
    """Return the mass of the things in a tray in g, as far as it is given."""
    return sum((stock.items[index].mass or 0.0) * count for index, count in column.counts)


def _nearest(bay: Bay, column: Column, at: Spot) -> Spot | None:
    """Return the free place for a tray that is nearest to a half cell."""
    spots = bay.spots(bay.corners(bay.bits, *column.halves))
    return min(spots, key=lambda spot: (abs(spot[0] - at[0]) + abs(spot[1] - at[1]), spot[::-1]), default=None)


def _stacks(item: Item) -> bool:
    return item.stacks and item.at is None and item.near is None and not item.fixed


def may_lie_above(item: Item) -> bool:
    """Return whether a tray with it may be lifted out from over others."""
    return item.stack is not False and item.at is None and item.near is None and not item.fixed


def may_lie_below(item: Item) -> bool:
    """Return whether it may lie below a tray that is lifted out: what is used often only if its spec says so."""
    return may_lie_above(item) and (item.stacks or item.access != "often")


def _less(left: dict[int, int], column: Column) -> dict[int, int]:
    rest = dict(left)
    for index, count in column.counts:
        rest[index] -= count
    return {index: count for index, count in rest.items() if count > 0}


def _lower(stock: Assortment, column: Column, footprints: Collection[Footprint]) -> Iterator[Column]:
    """Yield trays with a stacking rim for what is in a column, the smallest first, then the lowest."""
    yield from alone(stock, column, footprints, "stacking")


def alone(stock: Assortment, column: Column, footprints: Collection[Footprint], rim: Rim) -> Iterator[Column]:
    """Yield trays with a rim for just what is in a column, the smallest first, then the lowest."""
    held: dict[int, int] = {}
    for index, count in column.counts:
        held[index] = held.get(index, 0) + count
    rimmed = replace(stock, rim=rim, families=(tuple(sorted(held)),), footprints=frozenset(footprints))
    every = columns(rimmed, held, any_value=True).values()
    whole = [tray for tray in every if tray.draft is None and _holds(tray, held)]
    yield from sorted(whole, key=lambda tray: (tray.area, tray.height, tray.key))


def _holds(column: Column, held: dict[int, int]) -> bool:
    return not _less(held, column)


def _upper(stock: Assortment, below: Column, left: dict[int, int], room: float) -> Column | None:
    """Return the best tray of a footprint for what is left that is no higher than there is room."""
    narrowed = replace(stock, footprints=frozenset({below.halves}))
    every = columns(narrowed, left).values()
    fits = [tray for tray in every if tray.top <= room + LENGTH_EPSILON]
    return max(fits, key=lambda tray: (tray.value, tray.key), default=None)
