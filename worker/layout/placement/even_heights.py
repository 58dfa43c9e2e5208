"""Even heights: few heights of trays in a drawer, for rims in line and a calm look.

Each tray keeps its things and may be as high as they allow. Of the heights that trays have, the set is chosen that
costs least: plastic for walls that are higher than they need to be, and each height of its own.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

from worker.layout.placement.assortment import Assortment
from worker.layout.placement.region_solver import Standing
from worker.layout.placement.tray_columns import Column
from worker.layout.tray.interior import on_grid

__all__ = ["even_heights"]

#: Heights in a drawer that are tried, at most: more have too many sets.
_MOST_HEIGHTS: Final = 10


def even_heights(stock: Assortment, standing: Sequence[Standing]) -> list[Standing]:
    """Return the same trays with fewer heights.

    Args:
        stock: the things.
        standing: the trays in their places.
    """
    plain = [column for column, _ in standing if column.draft is None]
    levels = sorted({column.walls for column in plain})
    if not 1 < len(levels) <= _MOST_HEIGHTS:
        return list(standing)
    best: tuple[float, dict[int, Column]] | None = None
    raised = {(id(column), walls): _raised(stock, column, walls) for column in plain for walls in levels}
    for number in range(1, len(levels) + 1):
        for chosen in combinations(levels, number):
            cost, columns = number * stock.weights.height, dict[int, Column]()
            for column in plain:
                other = next((tray for walls in chosen if (tray := raised[id(column), walls]) is not None), None)
                if other is None:
                    break
                cost += other.cost
                columns[id(column)] = other
            else:
                if best is None or cost < best[0] - 1e-9:
                    best = cost, columns
    if best is None:
        return list(standing)
    return [(best[1].get(id(column), column), at) for column, at in standing]


def _raised(stock: Assortment, column: Column, walls: float) -> Column | None:
    """Return a tray with walls of another height; None where its things forbid them."""
    if walls == column.walls:
        return column
    for index, lane in column.lanes:
        levels = stock.level_range(lane, ledge=stock.items[index].label_text is not None)
        if levels is None or not stock.levels[levels[0]] <= walls <= stock.levels[levels[1]]:
            return None
    ground = stock.ground
    height = stock.tray_height(walls)
    empty = (ground.plastic(column.halves, tall, column.rim, ledge=column.ledge) for tall in (column.height, height))
    before, after = empty
    plastic = after + (column.plastic - before) * walls / column.walls
    cost = column.cost + (plastic - column.plastic) * stock.weights.plastic
    top = max(height, on_grid(ground.floor_top + max(lane.stack for _, lane in column.lanes)))
    return replace(column, walls=walls, height=height, top=top, plastic=plastic, cost=cost)
