"""Making room: a place for what has none, for which as few other trays as possible move."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from typing import Final

from worker.layout.items.filling.drawer_stock import Stock
from worker.layout.items.filling.tray_sizing import TraySizing, renumbered_alone
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.search.region_solver import Standing

__all__ = ["with_room_made"]

#: So many trays move for an item, at most, and so many of its own trays and places are tried.
_MOST_MOVED: Final = 3
_MOST_TRAYS: Final = 6
_MOST_PLACES: Final = 80


def with_room_made(stock: Stock, names: Collection[str]) -> Stock:
    """Return a drawer in which others have moved aside for what has no place, as far as that is possible.

    Args:
        stock: the drawer.
        names: the items for which others move.
    """
    sizing = TraySizing()
    number = {id(item): index for index, item in enumerate(stock.assortment.items)}
    worths = stock.assortment.worths
    for item, count in sorted(stock.missing, key=lambda lack: -worths[number[id(lack[0])]]):
        if item.at is None and item.name in names:
            rest = item if count == item.count else item.model_copy(update={"count": count})
            trays = [
                renumbered_alone(column, number[id(item)], stock.assortment)
                for column in sizing.trays(rest, stock.site)[:_MOST_TRAYS]
            ]
            stock = _moved_aside(stock, trays)
    return stock


def _moved_aside(stock: Stock, trays: Sequence[Column]) -> Stock:
    tries = sorted(_tries(stock, trays), key=lambda entry: entry[0])
    for _, column, spot, moving in tries[:_MOST_PLACES]:
        staying = tuple(entry for entry in stock.standing if entry not in moving)
        left = stock.site.bay.less((at, other.halves) for other, at in (*staying, (column, spot)))
        moved = _placed_again(left, moving)
        if moved is not None:
            return replace(stock, standing=(*staying, *moved, (column, spot)))
    return stock


def _tries(
    stock: Stock, trays: Sequence[Column]
) -> Iterator[tuple[tuple[int, int, int, Spot], Column, Spot, tuple[Standing, ...]]]:
    """Yield the places for trays after their rank: how many kinds and half cells of others move, and their own size."""
    upon = stock.carrying
    for column in trays:
        for spot, moving in stock.displaced(column):
            pinned = any(at in upon or _is_pinned(stock, other) for other, at in moving)
            if len(moving) <= _MOST_MOVED and not pinned:
                kinds = len({index for other, _ in moving for index, _ in other.counts})
                yield (kinds, sum(other.area for other, _ in moving), column.area, spot), column, spot, moving


def _is_pinned(stock: Stock, column: Column) -> bool:
    items = [stock.assortment.items[index] for index, _ in column.counts]
    return any(item.at is not None or item.near is not None for item in items)


def _placed_again(left: Bay, moving: Sequence[Standing]) -> list[Standing] | None:
    """Return trays each in the free place nearest to where it was, the largest first; None where one has none."""
    placed: list[Standing] = []
    for column, at in sorted(moving, key=lambda entry: (-entry[0].area, entry[1])):
        spots = left.spots(left.corners(left.bits, *column.halves))
        near = min(
            spots, key=lambda spot: (abs(spot[0] - at[0]) + abs(spot[1] - at[1]), spot), default=None
        )  # fmt: skip
        if near is None:
            return None
        placed.append((column, near))
        left = left.less([(near, column.halves)])
    return placed
