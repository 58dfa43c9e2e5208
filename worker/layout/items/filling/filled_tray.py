"""The filled tray: a column as the tray to be printed, and where each thing is in it."""

from collections.abc import Mapping
from math import pi
from typing import Final, Literal

from worker.layout.placement.columns.assortment import UNDER_FOOT, Assortment
from worker.layout.placement.columns.tray_columns import Column, LaneBand
from worker.layout.storage.loose import heap, ramp_radius
from worker.layout.storage.tray_option import Bulk, DividerWall, Lot, Option
from worker.layout.storage.ways import Way
from worker.layout.tray.interior import on_grid
from worker.layout.tray.made_tray import TrayMaker
from worker.spec.errors import TrayError

__all__ = ["can_be_cut", "tray_option"]

#: How the width that is left over is shared out, by the width that each lane needs: heaps lie flatter and may grow,
#: fingers need room beside what lies, leaves of a file lean less in a narrow lane (own choice).
_SLACK_SHARE: Final[Mapping[Way, float]] = {"row": 1.0, "heap": 2.0, "stand": 0.5, "file": 0.2}


def tray_option(stock: Assortment, column: Column) -> Option:
    """Return the tray of a column, with what lies where in it."""
    ground, axis = stock.ground, column.axis
    names = tuple(stock.items[index].name for index, _ in column.lanes)
    if column.draft is not None:
        return column.draft.option(names, stock.items[column.lanes[0][0]].label_text, ground)
    rim = column.rim
    start, overhang = ground.start(rim), ground.rim_overhang(rim)
    room, inner = stock.room(column.halves, axis), ground.usable(column.halves[axis], rim) + 2.0 * overhang
    posts = stock.beside_posts(column.halves)
    first = start + posts[axis]
    ramp = _ramp(stock, column, room)
    # under a foot that may settle, dividers end where things do
    high = None if rim == "straight" else on_grid(column.walls - UNDER_FOOT)
    along: Literal["x", "y"] = "x" if axis == 0 else "y"
    across: Literal["x", "y"] = "y" if axis == 0 else "x"
    content: list[Lot | Bulk] = []
    dividers: list[DividerWall] = []
    labels: list[str | None] = []
    begin, low, plastic = start + posts[1 - axis], 0.0, column.plastic
    if ramp is not None:
        plastic += (1.0 - pi / 4.0) * ramp**2 * room  # what a square has over a quarter of a circle
    for number, band in enumerate(column.bands):
        last = number == len(column.bands) - 1
        end = ground.usable(column.halves[1 - axis], rim) + 2.0 * overhang
        if not last:
            end = on_grid(begin + band.length + ground.wall / 2.0 - start + overhang)
            dividers.append(DividerWall(across, end, high))
        middles: list[float] = []
        at = first
        widths = _widths(stock, column, band, room, labels=last)
        stop = len(band.lanes) == 1 or not (last and column.ledge)  # a label needs the whole width of its lane
        for place, ((index, lane), width) in enumerate(zip(band.lanes, widths, strict=True), start=1):
            if at > first:
                middles.append(at - ground.wall / 2.0)
            name = stock.items[index].name
            lot, stops = lane.fill(name, at, width, (begin, band.length), axis, ground, column.walls, ramp, stop=stop)
            left = middles[-1] - start + overhang if at > first else 0.0
            right = inner if place == len(band.lanes) else at + width + ground.wall / 2.0 - start + overhang
            whole = [own.at for own in stops if own.axis == axis and own.span == (None, None)]
            if last:  # a file that stops divide has its label over the first of its compartments
                labels += [stock.items[index].label_text, *(None for _ in whole)]
            plastic += (len(whole) - lane.inner) * ground.wall * band.length * column.walls
            for own in stops[len(whole) :]:
                sides = (low, end) if own.axis == axis else (left, right)
                divider = own.divider(sides, start - overhang, high)
                dividers.append(divider)
                ends = divider.span or sides
                plastic += ground.wall * (ends[1] - ends[0]) * column.walls
            content.append(lot)
            middles.extend(whole)
            at += width + ground.wall
        span = None if len(column.bands) == 1 else (low, on_grid(end))
        dividers += [DividerWall(along, on_grid(middle - start + overhang), high, span) for middle in sorted(middles)]
        begin, low = begin + band.length + ground.wall, end
    alone = len(column.bands[-1].lanes) == 1 or not any(labels)
    return Option(
        items=names,
        storages=tuple(lane.storage for _, lane in column.lanes),
        halves=column.halves,
        height=column.height,
        top=column.top,
        rim=rim,
        plastic=plastic,
        wall=ground.wall,
        floor=ground.floor,
        content=tuple(content),
        dividers=tuple(sorted(dividers, key=lambda divider: (divider.axis, divider.at, divider.span or ()))),
        ramp=ramp,
        label=labels[0] if alone else None,
        labels=() if alone else tuple(labels),
    )


def can_be_cut(maker: TrayMaker, stock: Assortment, column: Column) -> bool:
    """Return whether the tray of a column can be cut as its footprint is, on whole feet and on half feet.

    Args:
        maker: makes trays in pieces.
        stock: the things.
        column: the tray.
    """
    cut = stock.cut(column.halves)
    tray = tray_option(stock, column).tray()
    ways = (True,) if any(along % 2 for along in column.halves) else (False, True)[: 1 + stock.ground.half_cells]
    for half_feet in ways:
        try:
            made = maker.made(tray, half_feet=half_feet, pointer="")
        except TrayError:
            return False
        if made.jointed is None or cut is None:
            return False
        if tuple(sum(line.axis == axis for line in made.jointed.splices) + 1 for axis in ("x", "y")) != cut.along:
            return False
    return True


def _widths(stock: Assortment, column: Column, band: LaneBand, room: float, *, labels: bool) -> list[float]:
    """Return how wide each lane is: all grow by what is left over, heaps most, those that hold things upright least."""
    labelled = labels and column.ledge
    needs = [stock.lane_width(index, lane, labels=labelled) for index, lane in band.lanes]
    spare = room - sum(needs) - (len(needs) - 1) * stock.ground.wall
    shares = [need * _SLACK_SHARE[lane.way] for need, (_, lane) in zip(needs, band.lanes, strict=True)]
    return [need + spare * share / sum(shares) for need, share in zip(needs, shares, strict=True)]


def _ramp(stock: Assortment, column: Column, room: float) -> float | None:
    """Return the radius of a finger ramp along the front; None where things do not lie loose or would lie too deep."""
    band = column.bands[0]
    if len(column.bands) > 1 or stock.cut(column.halves) is not None:
        return None
    widths, length = _widths(stock, column, band, room, labels=True), band.length
    lanes = [lane for _, lane in column.lanes]
    if column.axis == 1 or any(lane.goods is None or lane.goods.soft for lane in lanes):
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
