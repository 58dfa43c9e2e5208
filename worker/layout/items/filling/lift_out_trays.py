"""Lift-out trays: what finds no place on the floor lies in a tray over several that are rarely reached into.

The lower trays that carry it get stacking rims of one height; lower ones and free floor are bridged. It covers only
things that are used no more often than what is in it, and only where its things are worth more than the plastic and
the lifting.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from worker.layout.items.filling.stacked_trays import UpperTray, alone, may_lie_above, may_lie_below, rank_of
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import columns
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.layers.upper_trays import LayeredTray, support
from worker.layout.placement.search.even_heights import LevelledTray
from worker.layout.placement.search.region_solver import Standing
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.layout.tray.interior import LEAST_HEIGHT, UNDER_RIM, on_grid

__all__ = ["lift_out_trays"]

#: Lift-out trays in one drawer, at most: each has to be lifted to see what is below (own choice).
_MOST: Final = 3

#: Trays that are tried at all places, the best ones.
_MOST_TRIED: Final = 24

#: Heights of lower trays that are tried, at most.
_MOST_LEVELS: Final = 3


@dataclass(frozen=True)
class _Lower:
    """A tray on the floor that others may stand over: as it stands, and with a stacking rim by its levels of walls."""

    number: int
    column: Column
    at: Spot
    rimmed: LevelledTray | None
    bits: int


@dataclass(frozen=True)
class _Way:
    """A tray over others: the value in minutes that it adds, and the lower trays with their stacking rims."""

    value: float
    upper: UpperTray
    carriers: tuple[tuple[int, Column], ...]
    order: tuple[object, ...]


def lift_out_trays(  # noqa: PLR0917 - what stack_trays takes, and what stands already
    stock: Assortment,
    bay: Bay,
    standing: tuple[Sequence[Standing], Sequence[UpperTray]],
    missing: Sequence[tuple[int, int]],
    limit: float,
    carrying: Collection[Spot],
) -> tuple[list[Standing], list[UpperTray]]:
    """Return the trays on the floor, some with stacking rims, and those on them, with more for what is missing.

    Args:
        stock: the things.
        bay: what is free in the drawer.
        standing: the trays on the floor, and those on them so far.
        missing: which things have no place, by their index, and how many.
        limit: the highest that anything may reach, in mm.
        carrying: front left half cells of the trays on the floor that others stand on so far.
    """
    floor, upper = list(standing[0]), list(standing[1])
    left = {index: count for index, count in missing if may_lie_above(stock.items[index])}
    used = set(carrying)
    for _ in range(_MOST):
        if not left:
            break
        lower = [
            _Lower(number, column, at, _rimmed(stock, column), bay.under(*column.halves, at))
            for number, (column, at) in enumerate(floor)
            if at not in used and all(may_lie_below(stock.items[index]) for index, _ in column.counts)
        ]
        others = [
            (at, column.halves) for number, (column, at) in enumerate(floor) if all(number != t.number for t in lower)
        ]
        others += [(tray.at, tray.column.halves) for tray in upper]
        way = max(_ways(stock, bay.less(others), lower, left, limit), key=lambda way: way.order, default=None)
        if way is None:
            break
        for number, column in way.carriers:
            floor[number] = column, floor[number][1]
        upper.append(way.upper)
        covered = bay.under(*way.upper.column.halves, way.upper.at)
        used |= {tray.at for tray in lower if tray.bits & covered}
        for index, count in way.upper.column.counts:
            left[index] -= count
        left = {index: count for index, count in left.items() if count > 0}
    return floor, upper


def _ways(stock: Assortment, bay: Bay, lower: Sequence[_Lower], left: dict[int, int], limit: float) -> Iterator[_Way]:
    """Yield the ways to keep what is left in a tray over others."""
    whole = frozenset(halves for halves in stock.footprints if stock.cut(halves) is None)
    for level in _some({tray.rimmed.least for tray in lower if tray.rimmed is not None}):
        raised = {tray.number: _at_level(tray, level) for tray in lower}
        heights = {made.height for made in raised.values() if made is not None}
        if not heights:
            continue
        z = on_grid(heights.pop() - stock.ground.joint.nesting_depth)
        room = on_grid(limit - z)
        if room < stock.ground.floor_top + LEAST_HEIGHT:
            continue
        narrowed = replace(stock, footprints=whole, ground=replace(stock.ground, height=room + FRAME_AIR))
        above = [column for column in columns(narrowed, left).values() if column.value > 0.0]
        for column in sorted(above, key=lambda column: (-column.value, column.key))[:_MOST_TRIED]:
            rank = rank_of(stock, column)
            for spot in bay.spots(bay.corners(bay.bits, *column.halves)):
                covered = bay.under(*column.halves, spot)
                below = [(tray, raised[tray.number]) for tray in lower if tray.bits & covered]
                if below and all(rank_of(stock, tray.column) >= rank for tray, _ in below):
                    way = _way(stock, UpperTray(column, spot, z), below)
                    if way is not None:
                        yield way


def _some(levels: Collection[int]) -> list[int]:
    """Return some levels of many: the least, the greatest and those between in even steps."""
    every = sorted(levels)
    steps = min(len(every), _MOST_LEVELS)
    return [every[round(step * (len(every) - 1) / max(steps - 1, 1))] for step in range(steps)]


def _way(stock: Assortment, tray: UpperTray, below: Sequence[tuple[_Lower, Column | None]]) -> _Way | None:
    """Return a tray over others; None where it cannot stand there, or is not worth the lifting.

    Args:
        stock: the things.
        tray: the tray.
        below: the trays under it, and what they are with a stacking rim of its height; None: what cannot be.
    """
    column = tray.column
    carriers = [(lower, made) for lower, made in below if made is not None]
    if any(made is None and lower.column.top > tray.z - UNDER_RIM for lower, made in below):
        return None
    own = LayeredTray(tray.at, column.halves, tray.z, column.height, column.rim)
    walls = [LayeredTray(lower.at, made.halves, 0.0, made.height, made.rim) for lower, made in carriers]
    stands = support(own, walls) if walls else None
    if stands is None or not stands.holds:
        return None
    lifted = {index for lower, _ in below for index, _ in lower.column.counts}
    value = column.value - sum(stock.weights.below(stock.items[index]) for index in lifted)
    value -= sum(max(made.cost - lower.column.cost, 0.0) for lower, made in carriers)
    if value <= 0.0:
        return None
    order = (value, -len(carriers), -tray.at[1], -tray.at[0])
    return _Way(value, tray, tuple((lower.number, made) for lower, made in carriers), order)


def _at_level(tray: _Lower, level: int) -> Column | None:
    """Return a tray with a stacking rim and walls of a level; None where its things forbid them."""
    return None if tray.rimmed is None else tray.rimmed.at_level(level)


def _rimmed(stock: Assortment, column: Column) -> LevelledTray | None:
    """Return a tray with just what is in a column and a stacking rim, in its footprint; None where there is none."""
    tray = next(alone(stock, column, {column.halves}, "stacking"), None)
    return None if tray is None else LevelledTray(replace(stock, rim="stacking"), tray)
