"""Even heights: few heights of trays in a drawer, for rims in line and a calm look.

Each tray keeps its things and its footprint and may be as high as they allow; where they lie otherwise with walls of
another height, they are laid anew. Of all sets of heights the one is chosen that costs least: plastic for walls that
are higher than they need to be, and each height of its own. A tray takes the lowest height of the set that its things
allow, so the best set is found by dynamic programming from the lowest height to the highest.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import cached_property

from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.family_patterns import MOST_MEMBERS
from worker.layout.placement.columns.shared_patterns import SharedPatterns
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.search.region_solver import Standing
from worker.layout.tray.interior import on_grid

__all__ = ["LevelledTray", "even_heights"]


def even_heights(stock: Assortment, standing: Sequence[Standing]) -> list[Standing]:
    """Return the same trays with fewer heights.

    Args:
        stock: the things.
        standing: the trays in their places.
    """
    fixed = {column.height for column, _ in standing if column.draft is not None}
    trays = [LevelledTray(stock, column) for column, _ in standing if column.draft is None]
    chosen = _cheapest(stock, trays, fixed)
    changed = {id(tray.column): tray.at_level(next(level for level in chosen if level >= tray.least)) for tray in trays}
    return [(changed.get(id(column)) or column, at) for column, at in standing]


class LevelledTray:
    """A tray with the levels of walls that it may have: from the ``least`` one that suits all of its things."""

    def __init__(self, stock: Assortment, column: Column) -> None:
        """Take a column of these things."""
        self.stock, self.column = stock, column
        joined = stock.cut(column.halves) is not None
        ranges = [
            levels
            for index, lane in column.lanes
            if (levels := stock.level_range(lane, ledge=stock.items[index].label_text is not None, joined=joined))
            is not None
        ]
        self.least, self.most = max(low for low, _ in ranges), min(high for _, high in ranges)
        self._made: dict[int, Column | None] = {}

    @cached_property
    def _patterns(self) -> SharedPatterns | None:
        """The patterns of its things in its footprint; None where it holds some of a kind only, or too many kinds."""
        stock, counts = self.stock, dict(self.column.counts)
        parts = len(counts) < len(self.column.counts) or any(n < stock.items[k].count for k, n in counts.items())
        if parts or len(counts) > MOST_MEMBERS:
            return None
        members = tuple(sorted(counts))
        narrowed = replace(stock, families=(members,), footprints=frozenset({self.column.halves}))
        return SharedPatterns(narrowed, members, members if stock.cut(self.column.halves) is not None else ())

    def at_level(self, level: int) -> Column | None:
        """Return the tray with walls of a level; None where its things forbid them."""
        if level not in self._made:
            if level < self.least:
                self._made[level] = None
            elif level <= self.most:
                self._made[level] = self._raised(self.stock.levels[level])
            else:
                patterns = self._patterns
                self._made[level] = None if patterns is None else patterns.column_at(self.column.halves, level)
        return self._made[level]

    def _raised(self, walls: float) -> Column:
        """Return the tray with its things where they are and walls of another height."""
        column, stock = self.column, self.stock
        if walls == column.walls:
            return column
        height = stock.tray_height(walls)
        before, after = (stock.plastic(column.halves, tall, ledge=column.ledge) for tall in (column.height, height))
        plastic = after + (column.plastic - before) * walls / column.walls
        cost = column.cost + (plastic - column.plastic) * stock.weights.plastic
        top = max(height, on_grid(stock.ground.floor_top + max(lane.stack for _, lane in column.lanes)))
        return replace(column, walls=walls, height=height, top=top, plastic=plastic, cost=cost)


def _cheapest(stock: Assortment, trays: Sequence[LevelledTray], fixed: Collection[float]) -> tuple[int, ...]:
    """Return the levels, rising, that cost least with the walls of all trays."""
    lows = sorted({tray.least for tray in trays})
    best: dict[int, tuple[float, tuple[int, ...]]] = {-1: (0.0, ())}  # by the highest level so far
    for level in lows:
        own = 0.0 if stock.tray_height(stock.levels[level]) in fixed else stock.weights.height
        ways: list[tuple[float, tuple[int, ...]]] = []
        for below, (cost, levels) in best.items():
            raised = [tray.at_level(level) for tray in trays if below < tray.least <= level]
            if all(column is not None for column in raised):
                ways.append((cost + own + sum(column.cost for column in raised if column), (*levels, level)))
        if ways:
            best[level] = min(ways)
    return best[max(best)][1]
