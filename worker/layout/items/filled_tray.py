"""The filled tray: a column as the tray to be printed, and where each thing is in it."""

from collections.abc import Sequence
from typing import Literal

from worker.layout.placement.tray_columns import UNDER_FOOT, Assortment, Column
from worker.layout.storage.loose import heap, ramp_radius
from worker.layout.storage.sizing_rules import LEDGE
from worker.layout.storage.tray_option import Bulk, DividerWall, Lot, Option
from worker.layout.tray.interior import on_grid

__all__ = ["tray_option"]


def tray_option(stock: Assortment, column: Column) -> Option:
    """Return the tray of a column, with what lies where in it."""
    ground, axis = stock.ground, column.axis
    names = tuple(stock.items[index].name for index, _ in column.lanes)
    labels = tuple(stock.items[index].label_text for index, _ in column.lanes)
    if column.draft is not None:
        return column.draft.option(names, labels[0], ground)
    rim = column.rim
    start, overhang = ground.start(rim), ground.rim_overhang(rim)
    usable = [ground.usable(halves, rim) for halves in column.halves]
    usable[1] -= LEDGE.depth if column.ledge else 0.0
    room, length = usable[axis], usable[1 - axis]
    widths = _widths(stock, column, room)
    ramp = _ramp(stock, column, widths, length)
    content: list[Lot | Bulk] = []
    middles: list[float] = []
    at = start
    for (_, lane), name, width in zip(column.lanes, names, widths, strict=True):
        if content:
            middles.append(at - ground.wall / 2.0)
        lot, stops = lane.fill(name, at, width, (start, length), axis, ground, column.walls, ramp)
        content.append(lot)
        middles.extend(stops)
        at += width + ground.wall
    across: Literal["x", "y"] = "x" if axis == 0 else "y"
    # under a foot that may settle, dividers end where things do
    high = None if rim == "straight" else on_grid(column.walls - UNDER_FOOT)
    alone = len(column.lanes) == 1 or not any(labels)
    return Option(
        items=names,
        storages=tuple(lane.storage for _, lane in column.lanes),
        halves=column.halves,
        height=column.height,
        top=column.top,
        rim=rim,
        plastic=column.plastic,
        wall=ground.wall,
        floor=ground.floor,
        content=tuple(content),
        dividers=tuple(DividerWall(across, middle - start + overhang, high) for middle in sorted(middles)),
        ramp=ramp,
        label=labels[0] if alone else None,
        labels=() if alone else labels,
    )


def _widths(stock: Assortment, column: Column, room: float) -> list[float]:
    """Return how wide each lane is: what is left over goes to all alike."""
    needs = [max(lane.width, stock.label_width(index) if column.ledge else 0.0) for index, lane in column.lanes]
    spare = (room - sum(needs) - (len(needs) - 1) * stock.ground.wall) / len(needs)
    return [need + spare for need in needs]


def _ramp(stock: Assortment, column: Column, widths: Sequence[float], length: float) -> float | None:
    """Return the radius of a finger ramp along the front; None where things do not lie loose or would lie too deep."""
    lanes = [lane for _, lane in column.lanes]
    if column.axis == 1 or any(lane.way != "heap" for lane in lanes):
        return None
    margin = 2.0 * stock.ground.margin(0.0)
    radius = ramp_radius(max(lane.stack for lane in lanes), length - margin)
    if radius is None:
        return None
    for lane, width in zip(lanes, widths, strict=True):
        lying = None if lane.goods is None else heap(lane.goods, width - margin, length - margin, radius)
        if lying is None or lying.walls > column.walls:
            return None
    return radius
