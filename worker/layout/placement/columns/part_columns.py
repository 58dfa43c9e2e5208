"""Part columns: the trays that hold some of a kind's things, for kinds that no one tray takes whole."""

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.storage.lane_sizing import lanes
from worker.layout.storage.sizing_rules import LEDGE

if TYPE_CHECKING:
    from worker.layout.storage.lane import Lane

__all__ = ["part_columns"]


def part_columns(stock: Assortment, index: int, count: int) -> Iterator[Column]:
    """Yield trays of one lane for as many of a kind as they hold, but not for all of its things.

    Args:
        stock: the things.
        index: the kind's.
        count: how many of them a tray may hold at most.
    """
    item = stock.items[index]
    ledge = item.label_text is not None
    kind = replace(stock.kinds[index], count=count)
    for side in stock.sides:
        length = stock.usable(side) - (LEDGE.depth if ledge else 0.0)
        if length <= 0.0 or (ledge and stock.usable(side) < 2.0 * LEDGE.depth):
            continue
        every = [
            (lane, levels[0])
            for lane in lanes(kind, length, stock.ground, parts=True)
            if lane.count < item.count and (levels := stock.level_range(lane, ledge=ledge)) is not None
        ]
        narrower: tuple[Lane, int] | None = None
        for wide in stock.sides:
            room = stock.usable(wide)
            fits = [(lane, level) for lane, level in every if stock.lane_width(index, lane, labels=ledge) <= room]
            if not fits:
                continue
            largest = max(lane.count for lane, _ in fits)
            lane, level = min(
                ((lane, level) for lane, level in fits if lane.count == largest),
                key=lambda pair: (pair[1] + stock.weights.lane(item, pair[0]), pair[0].width),
            )
            if (lane, level) == narrower:
                continue  # a narrower tray holds the same
            narrower = lane, level
            for axis, halves in ((0, (wide, side)), (1, (side, wide))):
                whole = halves in stock.footprints and stock.cut(halves) is None
                if whole and not (axis and (ledge or wide == side)):
                    band = length, [(index, lane)]
                    yield stock.column(halves, axis, [band], stock.levels[level], ledge=ledge)
