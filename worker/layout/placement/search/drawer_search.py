"""The search: the trays of one drawer, each in its place, of as much value as can be found within a counted effort.

It begins with a greedy choice of columns. Then it clears a region again and again (large-neighbourhood search: Shaw,
CP 1998, from memory), prices columns for what lay there and for what has no place, and lets the region solver choose.
Everything is counted, nothing timed: the same things give the same trays on any machine.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Final

from worker.layout.placement.bay import Bay
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import ColumnPool
from worker.layout.placement.columns.tray_columns import Column, ColumnKey
from worker.layout.placement.search.linear_prices import linear_prices
from worker.layout.placement.search.region_solver import Region, Spare, Standing, shapes_of, solve_region, total_value

__all__ = ["dict_of", "search_drawer", "search_stages"]

#: Half cells of a region, where trays stand on whole cells, and where they stand on halves: there are four times the
#: places.
_REGION: Final = {2: (120, 260), 1: (60, 130)}

#: Kinds without a place that are offered in a region, at most, and columns.
_MOST_LEFT: Final = 10
_MOST_COLUMNS: Final = 60

#: Deterministic time of the region solver.
_LIMIT: Final = 0.1

#: Rounds of pricing, and the columns that are added in each.
_ROUNDS: Final = 3
_MOST_PRICED: Final = 120

#: A region that has not improved for so many moves is left: nothing more is to be had.
_PATIENCE: Final = 60


@dataclass
class _Layout:
    """A layout as it changes: what stands where, and what is left of each kind."""

    pool: ColumnPool
    bay: Bay
    standing: list[Standing]
    spare: Spare
    skip: frozenset[int] = frozenset()

    @property
    def stock(self) -> Assortment:
        """Return the things."""
        return self.pool.stock

    @property
    def left(self) -> Counter[int]:
        """Return how many of each kind have no place."""
        left = Counter({index: item.count for index, item in enumerate(self.stock.items) if index not in self.skip})
        for column, _ in self.standing:
            left.subtract(dict_of(column))
        return left

    def free(self) -> int:
        """Return the free half cells as bits."""
        bits = self.bay.bits
        for column, at in self.standing:
            bits &= ~self.bay.under(*column.halves, at)
        return bits

    def value(self) -> float:
        """Return the layout's value in minutes."""
        variety = self.stock.weights.variety * len(shapes_of(self.standing))
        return total_value(self.standing, self.bay.bits.bit_count(), self.spare) - variety


def dict_of(column: Column) -> Counter[int]:
    """Return how many of each kind a column holds."""
    held: Counter[int] = Counter()
    for index, count in column.counts:
        held[index] += count
    return held


def search_drawer(
    pool: ColumnPool, bay: Bay, *, moves: int, spare: float, begin: Sequence[Standing] = (), skip: Collection[int] = ()
) -> list[Standing]:
    """Return the trays of a drawer in their places, after so many moves: see `search_stages`."""
    return list(search_stages(pool, bay, stages=(moves,), spare=spare, begin=begin, skip=skip))[-1]


def search_stages(
    pool: ColumnPool,
    bay: Bay,
    *,
    stages: Sequence[int],
    spare: float,
    begin: Sequence[Standing] = (),
    skip: Collection[int] = (),
) -> Iterator[list[Standing]]:
    """Yield the trays of a drawer in their places after each of some numbers of moves, of rising value.

    A search that finds nothing better for long ends early; its last layout is yielded in any case.

    Args:
        pool: the columns of the things.
        bay: what is free in the drawer.
        stages: after how many moves, rising; in each a region is cleared.
        spare: the share of the drawer's floor to keep free, where that costs no place.
        begin: a layout to begin with.
        skip: kinds, by their index, that are placed otherwise.
    """
    area = bay.bits.bit_count()
    layout = _Layout(pool, bay, list(begin), Spare(pool.stock.weights.spare / 4.0, int(area * spare)), frozenset(skip))
    _fill_greedily(layout)
    random = Random(1)
    idle = 0
    for move in range(stages[-1]):
        if move in stages:
            yield _topped_up(layout)
        before = layout.value()
        _improve(layout, random, move)
        idle = 0 if layout.value() > before + 1e-6 else idle + 1
        if idle > _PATIENCE:
            break
    yield _topped_up(layout)


def _fill_greedily(layout: _Layout) -> None:
    """Add columns by their value for each half cell, repriced for what is left, until none has room.

    A kind is split over columns only once no column that holds all of it has room.
    """
    for whole in (True, False):
        while _add_columns(layout, whole=whole):
            pass


def _add_columns(layout: _Layout, *, whole: bool) -> bool:
    """Add columns, or only those that hold all of each kind; return whether any was added."""
    stock, bay = layout.stock, layout.bay
    left, free = layout.left, layout.free()
    sizes = [pair for pair in stock.footprints if bay.corners(free, *pair)]
    pool = _priced(layout.pool, left, sizes, free.bit_count())
    added = False
    for column in sorted(pool, key=lambda column: (-column.value / (column.area + 2.0), column.key)):
        if column.value <= 0.0 or any(left[index] < count for index, count in dict_of(column).items()):
            continue
        if whole and any(count < stock.items[index].count for index, count in column.counts):
            continue
        at = next(bay.spots(bay.corners(free, *column.halves)), None)
        if at is not None:
            layout.standing.append((column, at))
            left.subtract(dict_of(column))
            free &= ~bay.under(*column.halves, at)
            added = True
    return added


def _priced(columns: ColumnPool, left: Mapping[int, int], sizes: Sequence[tuple[int, int]], area: int) -> list[Column]:
    """Return columns that go well together, for these footprints, those that pay most for their floor first."""
    stock = columns.stock
    pool: dict[ColumnKey, Column] = {}
    prices: dict[int, float] = {}
    # at first floor costs what is left would pay for all of it
    cell = sum(stock.worths[index] * count / stock.items[index].count for index, count in left.items()) / max(area, 1)
    for _ in range(_ROUNDS + 1):
        new = columns.columns(left, prices=prices, cell_price=cell, footprints=sizes, most=_MOST_PRICED)
        before = len(pool)
        pool.update({key: column for key, column in new.items() if key not in pool or column.value > pool[key].value})
        if len(pool) == before and before:
            break
        if pool:
            prices, cell = linear_prices(stock, list(pool.values()), left, area)
        else:
            cell /= 2.0

    def reduced(column: Column) -> float:
        paid = sum(prices.get(index, 0.0) * count / stock.items[index].count for index, count in column.counts)
        return column.value - paid - cell * column.area

    return sorted(pool.values(), key=lambda column: (-round(reduced(column), 6), column.key))


def _improve(layout: _Layout, random: Random, move: int) -> None:
    """Clear a region, and let the best columns stand there."""
    stock, bay = layout.stock, layout.bay
    cleared, middle = _region(layout, random, move)
    kept = [entry for number, entry in enumerate(layout.standing) if number not in cleared]
    current = [layout.standing[number] for number in sorted(cleared)]
    outside = _Layout(layout.pool, bay, kept, layout.spare)
    taken = 0
    for column, at in current:
        taken |= bay.under(*column.halves, at)
    free = _nearest(bay, outside.free() & ~taken, middle, _REGION[bay.step][1] - taken.bit_count()) | taken
    missing = {index: count for index, count in layout.left.items() if count > 0}
    held: Counter[int] = Counter()
    for column, _ in current:
        held.update(dict_of(column))
    if len(missing) > _MOST_LEFT:
        ranked = sorted(missing, key=lambda index: (-stock.worths[index] * (0.5 + random.random()), index))
        missing = {index: missing[index] for index in ranked[:_MOST_LEFT]}
    left = {index: missing.get(index, 0) + held[index] for index in sorted({*missing, *held})}
    if not left:
        return
    sizes = [pair for pair in stock.footprints if bay.corners(free, *pair)]
    pool = _priced(layout.pool, left, sizes, free.bit_count())[:_MOST_COLUMNS]
    if not pool:
        return
    keys = {id(column) for column, _ in current}
    pool = [column for column, _ in current] + [column for column in pool if id(column) not in keys]
    result = solve_region(
        Region(bay, free, left, layout.spare, stock.weights.variety, shapes_of(kept)), pool, current, _LIMIT
    )
    layout.standing = kept + result


def _nearest(bay: Bay, free: int, middle: tuple[int, int], most: int) -> int:
    """Return so many of these half cells, as bits, that lie nearest to one; whole cells where trays stand on them."""
    step = bay.step
    spots = sorted(
        bay.spots(bay.corners(free, step, step)),
        key=lambda spot: (abs(spot[0] - middle[0]) + abs(spot[1] - middle[1]), spot),
    )
    bits = 0
    for spot in spots[: max(most, 0) // step**2]:
        bits |= bay.under(step, step, spot)
    return bits


def _region(layout: _Layout, random: Random, move: int) -> tuple[set[int], tuple[int, int]]:
    """Return which trays are cleared, and the place about which: those near it, of one group, or like what has none."""
    stock, bay, standing = layout.stock, layout.bay, layout.standing
    least, most = _REGION[bay.step]
    budget = random.randint(least, most)
    free = layout.free().bit_count()
    missing = [index for index, count in sorted(layout.left.items()) if count > 0]
    x, y = random.randrange(bay.across), random.randrange(bay.back)

    def distance(number: int) -> float:
        column, at = standing[number]
        return abs(at[0] + column.halves[0] / 2.0 - x) + abs(at[1] + column.halves[1] / 2.0 - y)

    order = sorted(range(len(standing)), key=lambda number: (distance(number), number))
    scattered = _scattered(layout) if move % 3 == 1 else []
    if scattered:  # every third move
        use = scattered[random.randrange(len(scattered))]
        budget = most
        order.sort(key=lambda number: not any(stock.uses[index] == use for index, _ in standing[number][0].lanes))
    if move % 3 == 2 and (missing or standing):  # noqa: PLR2004 - every third move
        first = missing[random.randrange(len(missing))] if missing else standing[order[0]][0].lanes[0][0]
        alike = {index for family in stock.families if first in family for index in family}
        order.sort(key=lambda number: not any(index in alike for index, _ in standing[number][0].lanes))
    cleared: set[int] = set()
    area = min(free, least // 2)
    for number in order:
        size = standing[number][0].area
        if area + size <= budget or not cleared:
            cleared.add(number)
            area += size
    return cleared, (x, y)


def _scattered(layout: _Layout) -> list[str]:
    """Return what things in several trays belong to, a group or the like, in the order of the items."""
    uses = layout.stock.uses
    trays = Counter(use for column, _ in layout.standing for use in {uses[index] for index, _ in column.lanes})
    return [use for use in dict.fromkeys(uses) if use is not None and trays[use] > 1]


def _topped_up(layout: _Layout) -> list[Standing]:
    """Return the trays with what is left wherever it still has room, whatever its floor is worth."""
    full = replace(layout, standing=list(layout.standing))
    _fill_greedily(full)
    return full.standing
