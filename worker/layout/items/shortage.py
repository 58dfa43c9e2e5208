"""Shortage: why an item has no place, and what would help.

The cause is found by lifting one limit after another: the item is sized again without it. What is offered as a remedy
was tried: a tray was sized and had a free place.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

from worker.layout.items.drawer_site import Site
from worker.layout.items.drawer_stock import Stock, fill_drawer
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.column_pricing import columns
from worker.layout.placement.tray_columns import Column
from worker.layout.storage.poses import longest
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.spec import Spec
from worker.spec.items.item import Item

__all__ = ["Shortage", "largest_free", "shortage"]

#: Larger than any drawer: mm, and half cells.
_ANY_HEIGHT: Final = 1000.0
_ANY_SPAN: Final = 40

#: Half cells are tried where no more items than these are without a place.
_MOST_MISSING: Final = 3

#: So many trays, at most, are tried to be left out for an item.
_MOST_GIVEN_UP: Final = 6

#: Regions that the search clears when half cells are tried.
_MOVES: Final = 4


@dataclass(frozen=True, slots=True)
class Shortage:
    """Why an item has no place, and the cheapest remedy, in words."""

    reason: str
    remedy: str


def shortage(
    spec: Spec, item: Item, count: int, own: Sequence[Stock], others: Sequence[Stock], *, brief: bool = False
) -> Shortage:
    """Return why things of an item have no place, and the cheapest of what would give them one.

    Args:
        spec: the job.
        item: the item.
        count: how many of its things have no place.
        own: the drawers that it might have gone into, as they are filled.
        others: the other drawers of the job.
        brief: look for no remedy that takes a search, where there are many such items already.
    """
    rest = item if count == item.count else item.model_copy(update={"count": count})
    likely = _likely(own)
    return Shortage(_reason(rest, likely), next(_remedies(spec, rest, likely, others, brief=brief)))


def _likely(own: Sequence[Stock]) -> Sequence[Stock]:
    """Return the drawers that are looked at: the one with most room, and the highest."""
    roomy = max(own, key=lambda stock: stock.left.bits.bit_count())
    high = max(own, key=lambda stock: stock.site.ground.height)
    return [roomy] if high is roomy else [roomy, high]


def _trays(item: Item, site: Site) -> list[Column]:
    """Return the trays that would hold all things of an item, the smallest first."""
    every = columns(site.assortment([item]), {0: item.count}, any_value=True).values()
    whole = [column for column in every if sum(count for _, count in column.counts) == item.count]
    return sorted(whole, key=lambda column: (column.area, column.key))


def _no_bed(site: Site) -> Site:
    return replace(site, bed=None)


def _high(site: Site) -> Site:
    return replace(site, ground=replace(site.ground, height=_ANY_HEIGHT))


def _wide(site: Site) -> Site:
    return replace(site, ground=replace(site.ground, span=(_ANY_SPAN, _ANY_SPAN)))


def _reason(item: Item, own: Sequence[Stock]) -> str:
    sized = [(stock, trays) for stock in own if (trays := _trays(item, stock.site))]
    if not sized:
        return _unsized(item, own)
    needed = min((trays[0] for _, trays in sized), key=lambda tray: tray.area)
    if item.at is not None:
        return f"no room at its place: needs {_cells(needed.halves)} cells free from {item.at[0]:g}, {item.at[1]:g}"
    free = max((largest_free(stock.left)[1] for stock, _ in sized), key=lambda size: size[0] * size[1])
    if free == (0, 0):
        return f"no floor left: needs {_cells(needed.halves)} cells, and none is free"
    return f"no floor left: needs {_cells(needed.halves)} cells, {_cells(free)} are free in one place"


def _unsized(item: Item, own: Sequence[Stock]) -> str:
    """Return the limit that is in the way of every tray for an item."""
    sites = [stock.site for stock in own]
    where = "the highest drawer" if len(sites) > 1 else "the drawer"
    higher = [(tray, site) for site in sites for tray in _trays(item, _high(site))[:1]]
    if higher:
        needed = min(tray.top for tray, _ in higher) + FRAME_AIR
        return f"too tall: needs {ceil(needed)} mm, {where} has {max(site.ground.height for site in sites):g}"
    for site in sites:
        trays = _trays(item, _no_bed(site))
        if trays:
            wide, deep = _outer(site, _least_side(trays))
            return f"too long for the printer's bed: its tray is {wide:g} x {deep:g} mm"
    across = where.replace("highest", "largest")
    for site in sites:
        trays = _trays(item, _high(_wide(_no_bed(site))))
        if trays:
            side = max(_least_side(trays).halves) / 2.0
            if max(site.ground.span) / 2.0 < side:
                return f"too long: needs {side:g} cells in a row, {across} has {max(site.ground.span) / 2.0:g}"
            return f"too large: its tray exceeds the height of {where} and the printer's bed"
    return f"no way to keep it lets a finger reach it: it is {longest(item.plain):g} mm long"


def _least_side(trays: Sequence[Column]) -> Column:
    return min(trays, key=lambda tray: (max(tray.halves), tray.area))


def _outer(site: Site, tray: Column) -> tuple[float, float]:
    """Return a tray's sides in mm."""
    wide, deep = (side * site.ground.pitch / 2.0 - 2.0 * site.ground.joint.body_inset for side in tray.halves)
    return round(wide, 1), round(deep, 1)


def _remedies(spec: Spec, item: Item, own: Sequence[Stock], others: Sequence[Stock], *, brief: bool) -> Iterator[str]:
    """Yield what would help, the cheapest first."""
    for other in others:
        if _has_room(item, other.site, other.left):
            yield f"List it for drawer {other.site.name!r}, which has room."
    if item.at is not None:
        if any(_has_room(item.model_copy(update={"at": None}), stock.site, stock.left) for stock in own):
            yield "Leave out `at`: there is room in another place."
        yield "Move what stands there, or give it another place."
    if item.storage is not None:
        free = item.model_copy(update={"storage": None})
        if any(_has_room(free, stock.site, stock.left) for stock in own):
            yield "Leave out `storage`: kept otherwise, it has room."
    if (count := _fewer(item, own)) is not None:
        yield f"Take {count} instead of {item.count}."
    yield from _larger_remedies(spec, item, own, brief=brief)


def _larger_remedies(spec: Spec, item: Item, own: Sequence[Stock], *, brief: bool) -> Iterator[str]:
    """Yield what would help and costs more: another grid or printer, other things, another drawer."""
    if not brief and not spec.grid.half_cells and len(own) == 1 and _halves_help(item, own[0]):
        yield "Set half_cells of the grid: with trays that are less too large, it has room."
    for stock in own:
        if not any(_trays(item, each.site) for each in own) and (trays := _trays(item, _no_bed(stock.site))):
            wide, deep = _outer(stock.site, _least_side(trays))
            yield f"A bed that takes {wide:g} x {deep:g} mm would print its tray."
    if (given_up := _given_up(item, own)) is not None:
        yield f"Leave out {given_up}: it would have room there."
    heights = [
        ceil(tray.top + FRAME_AIR)
        for stock in own
        for tray in _trays(item, _high(stock.site))
        if tray.top + FRAME_AIR > stock.site.ground.height and stock.left.corners(stock.left.bits, *tray.halves)
    ]
    if heights:
        yield f"A drawer of {min(heights)} mm inner height would hold it."
    yield "Leave something else out, or take a larger drawer."


def _has_room(item: Item, site: Site, bay: Bay) -> bool:
    """Return whether a tray for all things of an item has a free place."""
    return any(bay.corners(bay.bits, *tray.halves) for tray in _trays(item, site))


def _fewer(item: Item, own: Sequence[Stock]) -> int | None:
    """Return the largest count that has room, or None when not one has."""

    def has_room(count: int) -> bool:
        some = item.model_copy(update={"count": count})
        return any(_has_room(some, stock.site, stock.left) for stock in own)

    low, high = 0, item.count
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if has_room(middle) else (low, middle)
    return low or None


def _halves_help(item: Item, stock: Stock) -> bool:
    """Return whether the item has room when all trays of its drawer may have half cells."""
    if len(stock.missing) > _MOST_MISSING:
        return False
    site = replace(stock.site, ground=replace(stock.site.ground, half_cells=True), bay=replace(stock.site.bay, step=1))
    missing = {id(other) for other, _ in stock.missing}
    items = [other for other in stock.assortment.items if id(other) not in missing]
    return not fill_drawer(site, [*items, item], moves=_MOVES, settle=False).missing


def _given_up(item: Item, own: Sequence[Stock]) -> str | None:
    """Return what is worth least of the trays in whose place an item would have room, by the names in it."""
    for stock in own:
        trays = _trays(item, stock.site)
        ranked = sorted(stock.standing, key=lambda entry: (entry[0].worth, entry[1]))
        for column, at in ranked[:_MOST_GIVEN_UP]:
            free = stock.left.more([(at, column.halves)])
            if any(free.corners(free.bits, *tray.halves) for tray in trays):
                return " and ".join(stock.assortment.items[index].name for index, _ in column.lanes)
    return None


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
