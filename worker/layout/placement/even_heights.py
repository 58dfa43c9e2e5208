"""Even heights: few heights of trays in a drawer, for rims in line and a calm look.

Each tray keeps its things and may be as high as they allow. Of all sets of heights the one is chosen that costs least:
plastic for walls that are higher than they need to be, and each height of its own. A tray takes the lowest height of the
set that its things allow, so the best set is found by dynamic programming from the lowest height to the highest.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import inf

from worker.layout.placement.assortment import Assortment
from worker.layout.placement.region_solver import Standing
from worker.layout.placement.tray_columns import Column
from worker.layout.tray.interior import on_grid

__all__ = ["even_heights"]


def even_heights(stock: Assortment, standing: Sequence[Standing]) -> list[Standing]:
    """Return the same trays with fewer heights.

    Args:
        stock: the things.
        standing: the trays in their places.
    """
    fixed = {column.height for column, _ in standing if column.draft is not None}
    plain = [(column, _range(stock, column)) for column, _ in standing if column.draft is None]
    chosen = _cheapest(stock, plain, fixed)
    if chosen is None:
        return list(standing)
    changed = {
        id(column): _with_walls(stock, column, stock.levels[next(level for level in chosen if level >= low)])
        for column, (low, _) in plain
    }
    return [(changed.get(id(column), column), at) for column, at in standing]


def _range(stock: Assortment, column: Column) -> tuple[int, int]:
    """Return the least and the greatest level of walls, by their index, that suit all things of a tray."""
    ranges = [
        levels
        for index, lane in column.lanes
        if (levels := stock.level_range(lane, ledge=stock.items[index].label_text is not None)) is not None
    ]
    return max(low for low, _ in ranges), min(high for _, high in ranges)


def _cheapest(
    stock: Assortment, trays: Sequence[tuple[Column, tuple[int, int]]], fixed: set[float]
) -> tuple[int, ...] | None:
    """Return the levels, rising, that cost least with the walls of all trays; None where there are no trays."""
    lows = sorted({low for _, (low, _) in trays})
    if not lows:
        return None
    best: dict[int, tuple[float, tuple[int, ...]]] = {-1: (0.0, ())}  # by the highest level so far
    for level in lows:
        own = 0.0 if stock.tray_height(stock.levels[level]) in fixed else stock.weights.height
        ways = []
        for below, (cost, levels) in best.items():
            raised = [(column, high) for column, (low, high) in trays if below < low <= level]
            if all(level <= high for _, high in raised):
                walls = sum(_with_walls(stock, column, stock.levels[level]).cost for column, _ in raised)
                ways.append((cost + own + walls, (*levels, level)))
        if ways:
            best[level] = min(ways)
    return best[lows[-1]][1] if best.get(lows[-1], (inf, ()))[0] < inf else None


def _with_walls(stock: Assortment, column: Column, walls: float) -> Column:
    """Return a tray with walls of another height, which suit its things."""
    if walls == column.walls:
        return column
    ground = stock.ground
    height = stock.tray_height(walls)
    empty = (ground.plastic(column.halves, tall, column.rim, ledge=column.ledge) for tall in (column.height, height))
    before, after = empty
    plastic = after + (column.plastic - before) * walls / column.walls
    cost = column.cost + (plastic - column.plastic) * stock.weights.plastic
    top = max(height, on_grid(ground.floor_top + max(lane.stack for _, lane in column.lanes)))
    return replace(column, walls=walls, height=height, top=top, plastic=plastic, cost=cost)
