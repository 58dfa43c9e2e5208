"""Shortage: why an item could not be placed, and what would help."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

from worker.layout.items.drawer_site import Site
from worker.layout.items.fill_drawer import Stock, stock
from worker.layout.placement.placement_problem import Bay, Spot
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.layout.storage.tray_option import Option
from worker.layout.storage.tray_sizes import Shortfall, shortfall
from worker.spec.items.item import Item

__all__ = ["Shortage", "shortage"]

#: Higher than any drawer, mm.
_ANY_HEIGHT: Final = 1000.0

#: Half cells are tried where no more items than these are without a place, in this share of a job's time.
_MOST_MISSING: Final = 3
_SHARE: Final = 0.1

#: What always helps.
_LAST: Final = "Take a larger drawer, or leave something else out."


@dataclass(frozen=True, slots=True)
class Shortage:
    """Why an item has no place, and the cheapest remedy, in words."""

    reason: str
    remedy: str


def shortage(
    item: Item, own: Sequence[Stock], others: Sequence[Stock], *, half_cells: bool, brief: bool = False
) -> Shortage:
    """Return why an item has no place, and the cheapest of what would give it one.

    Cheapest is another drawer of the job, then half cells, fewer things, more height.

    Args:
        item: the item.
        own: the drawers that it might have gone into, as they are filled.
        others: the other drawers of the job.
        half_cells: whether the grid has half cells.
        brief: look for no remedy, where there are many such items already.
    """
    if brief:
        return Shortage(_reason(item, own), _LAST)
    return Shortage(_reason(item, own), next(_remedies(item, _likely(own), others, half_cells=half_cells)))


def _likely(own: Sequence[Stock]) -> Sequence[Stock]:
    """Return the drawers that a remedy is looked for in: the one with most room, and the highest."""
    roomy = max(own, key=lambda stock: stock.left.bits.bit_count())
    high = max(own, key=lambda stock: stock.site.ground.height)
    return [roomy] if high is roomy else [roomy, high]


def _reason(item: Item, own: Sequence[Stock]) -> str:
    ways = [(stock, stock.site.options(item)) for stock in own]
    sized = [(stock, options) for stock, options in ways if options]
    if not sized:
        lacks = [shortfall(item, stock.site.ground) for stock, _ in ways]
        lack = min(lacks, key=lambda lack: lack.needed / lack.there)
        return _lacking(lack, "the highest drawer" if len(own) > 1 else "the drawer")
    needed = min((options[0] for _, options in sized), key=lambda option: option.area)
    if item.at is not None:
        return f"no room at its place: needs {_cells(needed.halves)} cells free from {item.at[0]:g}, {item.at[1]:g}"
    free = max((largest_free(stock.left)[1] for stock, _ in sized), key=lambda size: size[0] * size[1])
    area = free[0] * free[1] / 4.0
    if area < needed.area / 4.0:
        return f"no room: needs {needed.area / 4.0:g} cells, {area:g} are free in one place"
    return f"no room: needs {_cells(needed.halves)} cells, {_cells(free)} are free in one place"


def _lacking(lack: Shortfall, where: str) -> str:
    if lack.what == "height":
        return f"too tall: needs {lack.needed:g} mm, {where} has {lack.there:g}"
    if lack.what == "area":
        across = where.replace("highest", "largest")
        return f"too large: needs {lack.needed / 2.0:g} cells in a row, {across} has {lack.there / 2.0:g}"
    return f"no tray holds it: it is {lack.needed:g} mm long"


def _remedies(item: Item, own: Sequence[Stock], others: Sequence[Stock], *, half_cells: bool) -> Iterator[str]:
    """Yield what would help, the cheapest first."""
    for other in others:
        if _fits(other.site.options(item), other.left) is not None:
            yield f"List it for drawer {other.site.name!r}, which has room."
    free = [(stock.site, stock.left) for stock in own]
    if item.at is not None:
        if any(_fits(site.options(item), bay) is not None for site, bay in free):
            yield "Leave out `at`: there is room in another place."
        yield "Move what stands there, or give it another place."
    if not half_cells and len(own) == 1 and _halves_help(item, own[0]):
        yield "Set half_cells of the grid: with trays that are less too large, it has room."
    if (count := _fewer(item, free)) is not None:
        yield f"Take {count} instead of {item.count}."
    heights = [
        ceil(way.top + FRAME_AIR)
        for site, bay in free
        for way in replace(site, ground=replace(site.ground, height=_ANY_HEIGHT)).options(item)
        if way.top + FRAME_AIR > site.ground.height and bay.corners(bay.bits, *way.halves)
    ]
    if heights:
        yield f"A drawer of {min(heights)} mm inner height would hold it."
    yield _LAST


def _halves_help(item: Item, stocked: Stock) -> bool:
    """Return whether the item has room when all trays of its drawer may have half cells."""
    if len(stocked.missing) > _MOST_MISSING:
        return False
    site = stocked.site
    halved = replace(site, ground=replace(site.ground, half_cells=True), bay=replace(site.bay, step=1))
    return not stock([*stocked.items, item], halved, share_of_time=_SHARE).missing


def _fits(ways: Sequence[Option], bay: Bay) -> Option | None:
    """Return the first tray that has room."""
    return next((way for way in ways if bay.corners(bay.bits, *way.halves)), None)


def _fewer(item: Item, free: Sequence[tuple[Site, Bay]]) -> int | None:
    """Return the largest count that has room, or None when not one has."""

    def has_room(count: int) -> bool:
        some = item.model_copy(update={"count": count})
        return any(_fits(site.options(some), bay) is not None for site, bay in free)

    low, high = 0, item.count
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if has_room(middle) else (low, middle)
    return low or None


def largest_free(bay: Bay) -> tuple[Spot, Spot]:
    """Return the largest free rectangle, the front left most of equal ones: its front left half cell, and its sides.

    Time is linear in the half cells: in each row only rectangles that can grow to no side are looked at.
    """
    at, best = (0, 0), (0, 0)
    heights = [0] * bay.across
    for y, row in enumerate(bay.free):
        heights = [height + 1 if is_free else 0 for height, is_free in zip(heights, row, strict=True)]
        area, left, width, height = max(
            _upright(heights), key=lambda rectangle: (rectangle[0], -rectangle[1], -rectangle[2])
        )
        if area > best[0] * best[1]:
            at, best = (left, y - height + 1), (width, height)
    return at, best


def _upright(heights: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """Yield area, left end, width and height of each rectangle under these heights that can grow to no side."""
    rising: list[tuple[int, int]] = []  # where a height begins, and the height
    for right, height in enumerate((*heights, 0)):
        begin = right
        while rising and rising[-1][1] >= height:
            begin, tall = rising.pop()
            yield (right - begin) * tall, begin, right - begin, tall
        rising.append((begin, height))


def _cells(halves: Spot) -> str:
    return f"{halves[0] / 2.0:g} x {halves[1] / 2.0:g}"
