"""The allocation: which of a job's items go into which drawer, and the stock of each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf
from typing import Final

from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Stock, fill_drawer, with_parts, with_rest
from worker.layout.items.filling.drawer_task import DrawerTask, Spread, filled_stocks, one_by_one
from worker.layout.items.filling.likeness import use_of
from worker.layout.items.filling.tray_sizing import TraySizing
from worker.layout.storage.loose import FILL_DEPTH, SOFT_DEPTH, bulk_volume
from worker.layout.storage.poses import Pose, lying_poses, poses
from worker.layout.storage.ways import Kind, natural_ways
from worker.spec.items.item import Item, access_rank
from worker.spec.items.layout import Effort

__all__ = ["Allocation", "allocate"]

#: Regions that the search of one drawer clears, by effort: about 1, 5 and 30 seconds on one core of 2020.
_MOVES: Final[Mapping[Effort, int]] = {"quick": 12, "normal": 60, "thorough": 450}

#: As many regions are cleared for each kind, at most.
_MOVES_PER_KIND: Final[Mapping[Effort, float]] = {"quick": 0.5, "normal": 3.0, "thorough": 20.0}

#: A drawer is taken to be full when things cover this share of it.
_FULL: Final = 0.8

#: What things take beyond the floor that they cover: walls, gaps, what is left over in a cell.
_OVERHEAD: Final = 1.35

#: Layers that are counted on when floor is estimated.
_LAYERS: Final = 3


@dataclass(frozen=True)
class Allocation:
    """The stock of each drawer, and the items of the job of which some have no place, with how many."""

    stocks: tuple[Stock, ...]
    left: tuple[tuple[Item, int], ...]


def allocate(
    items: Sequence[Item],
    sites: Sequence[Site],
    own: Sequence[Sequence[Item]],
    effort: Effort,
    spread: Spread = one_by_one,
) -> Allocation:
    """Return a job's drawers with their own items and those of the job in them.

    Things that belong together go into one drawer: the lowest that is high enough and has room. What finds no place in
    its drawer is tried in the others.

    Args:
        items: those of the job.
        sites: its drawers.
        own: the items of each drawer.
        effort: how far to search.
        spread: runs the tasks of drawers, which do not depend on each other.
    """
    given = _given(items, sites, own)
    tasks = [
        _task(site, (*its_own, *more), effort, split=len(sites) == 1)
        for site, its_own, more in zip(sites, own, given, strict=True)
    ]
    stocks = filled_stocks(tasks, spread)
    left = _left(items, stocks)
    if len(sites) > 1:
        for index in sorted(
            range(len(sites)), key=lambda k: (sites[k].copies > 1, -stocks[k].left.bits.bit_count(), k)
        ):
            there = {id(item) for item in stocks[index].assortment.items}
            offered = [
                item
                for item, count in left
                if count == item.count and id(item) not in there and _least_area(item, sites[index]) < inf
            ]
            if offered and stocks[index].left.bits and not stocks[index].upper:
                stocks[index] = _more(stocks[index], offered, effort)
                left = _left(items, stocks)
        stocks = _anywhere(stocks, left)
        stocks = _in_parts(stocks, items)
        left = _left(items, stocks)
    return Allocation(tuple(stocks), tuple(left))


def _anywhere(stocks: Sequence[Stock], left: Sequence[tuple[Item, int]]) -> list[Stock]:
    """Return drawers in which no tray for what is left has a free place: what it costs does not count any more."""
    stocks, sizing = list(stocks), TraySizing()
    for item, count in left:
        for index, stock in enumerate(stocks):
            if stock.left.bits and (more := with_rest(stock, item, count, sizing)) is not None:
                stocks[index] = more
                break
    return stocks


def _in_parts(stocks: Sequence[Stock], items: Sequence[Item]) -> list[Stock]:
    """Return drawers in which what none of them takes whole is split: their own things first, then those of the job."""
    stocks, shared = list(stocks), {id(item) for item in items}
    for index, stock in enumerate(stocks):
        sizing = TraySizing()
        for item, count in stock.missing:
            if id(item) not in shared:
                stocks[index], _ = with_parts(stocks[index], item, count, sizing)
    sizing = TraySizing()
    for item, count in _left(items, stocks):
        rest = count
        for index in sorted(range(len(stocks)), key=lambda k: (-stocks[k].left.bits.bit_count(), k)):
            if (
                rest
                and stocks[index].left.bits
                and _least_area(item.model_copy(update={"count": 1}), stocks[index].site) < inf
            ):
                stocks[index], rest = with_parts(stocks[index], item, rest, sizing)
    return stocks


def _left(items: Sequence[Item], stocks: Sequence[Stock]) -> list[tuple[Item, int]]:
    """Return the items of which some have no place in any drawer, and how many."""
    left = {id(item): item.count for item in items}
    for stock in stocks:
        missing = {id(item): count for item, count in stock.missing}
        for item in stock.assortment.items:
            if id(item) in left:
                left[id(item)] -= item.count - missing.get(id(item), 0)
    return [(item, left[id(item)]) for item in items if left[id(item)] > 0]


def _task(site: Site, items: tuple[Item, ...], effort: Effort, *, split: bool) -> DrawerTask:
    stages = [min(_MOVES[some], ceil(_MOVES_PER_KIND[some] * len(items))) if len(items) > 1 else 0 for some in _MOVES]
    moves = stages[list(_MOVES).index(effort)]
    return DrawerTask(site, items, moves, split, tuple(stage for stage in stages if stage < moves))


def _more(stock: Stock, offered: Sequence[Item], effort: Effort) -> Stock:
    """Return a drawer with more items in it, if none of those that it has loses its place."""
    missing = {id(item) for item, _ in stock.missing}
    tried = fill_drawer(
        stock.site,
        [*stock.assortment.items, *offered],
        moves=0 if stock.site.earlier else min(_MOVES[effort] // 4, ceil(_MOVES_PER_KIND[effort])),
        begin=stock,
        hold=bool(stock.site.earlier),
        split=False,
    )
    before = {id(item) for item in stock.assortment.items}
    lost = {id(item) for item, _ in tried.missing if id(item) in before}
    if not lost <= missing:
        return stock
    still = {id(item) for item, count in tried.missing if count == item.count} - before
    kept = [item for item in tried.assortment.items if id(item) not in still]
    if len(kept) == len(tried.assortment.items):
        return tried
    number = {id(item): index for index, item in enumerate(kept)}
    return renumbered(tried, kept, number)


def renumbered(stock: Stock, items: Sequence[Item], number: Mapping[int, int]) -> Stock:
    """Return a drawer without the items that are not listed, none of which has a place in it.

    Args:
        stock: the drawer.
        items: its items from now on.
        number: the index of each, by the identity of the object.
    """
    standing = tuple((column.renumbered(stock.assortment.items, number), at) for column, at in stock.standing)
    upper = tuple(replace(tray, column=tray.column.renumbered(stock.assortment.items, number)) for tray in stock.upper)
    return Stock(stock.site, stock.site.assortment(items), standing, upper, stock.cut_short)


def _given(items: Sequence[Item], sites: Sequence[Site], own: Sequence[Sequence[Item]]) -> list[list[Item]]:
    """Return which of the job's items go into which drawer; those that fit none are in no list."""
    if len(sites) == 1:
        return [list(items)]
    room = [
        site.bay.bits.bit_count() * (site.ground.pitch / 2.0) ** 2 * _FULL
        - sum(area for item in its_own if (area := _least_area(item, site)) < inf)
        for site, its_own in zip(sites, own, strict=True)
    ]
    given: list[list[Item]] = [[] for _ in sites]
    before = {id(item): k for k, site in enumerate(sites) for tray in site.earlier for item, _ in tray.contents}
    for item in (item for item in items if id(item) in before):
        index = before[id(item)]
        given[index].append(item)
        room[index] -= min(_least_area(item, sites[index]), max(room[index], 0.0))
    _give([item for item in items if id(item) not in before], sites, own, given, room)
    order = {id(item): number for number, item in enumerate(items)}
    return [sorted(some, key=lambda item: order[id(item)]) for some in given]


def _give(
    items: Sequence[Item],
    sites: Sequence[Site],
    own: Sequence[Sequence[Item]],
    given: list[list[Item]],
    room: list[float],
) -> None:
    """Add items to the lists of drawers, and take what they need from the room of these."""
    waiting = _bundles(items)
    while waiting:
        bundle = waiting.pop(0)
        best: tuple[float, int, float] | None = None
        for index, site in enumerate(sites):
            areas = [_least_area(item, site) for item in bundle]
            if (area := sum(areas)) <= room[index]:
                cost = _misfit(bundle, site, [*own[index], *given[index]])
                if best is None or cost < best[0]:
                    best = cost, index, area
        if best is not None:
            given[best[1]] += bundle
            room[best[1]] -= best[2]
        elif len(bundle) > 1:
            waiting = [*([item] for item in bundle), *waiting]
        else:
            # fuller than is wise: the drawer with most room may still have a place
            able = [index for index, site in enumerate(sites) if _least_area(bundle[0], site) < inf]
            if able:
                index = max(able, key=lambda k: room[k])
                given[index] += bundle
                room[index] -= _least_area(bundle[0], sites[index])


def _bundles(items: Sequence[Item]) -> list[list[Item]]:
    """Return the items that go into one drawer together: what is used often first, then what is more."""
    names = {item.name: item for item in items}
    groups: dict[object, list[Item]] = {}
    for item in items:
        tied = item if item.near is None else names.get(item.near, item)
        groups.setdefault(use_of(tied) or id(tied), []).append(item)
    return sorted(groups.values(), key=lambda some: (min(access_rank(item.access) for item in some), -len(some)))


def _misfit(bundle: Sequence[Item], site: Site, others: Sequence[Item]) -> float:
    """Return how badly items suit a drawer: the height that they leave unused, and what they belong to elsewhere."""
    high = max(min(pose.size[2] for _, pose in _ways(item)) for item in bundle)
    unused = 1.0 - min(high / site.ground.height, 1.0)
    names = {item.name for item in others} | {item.name for anchor in site.anchors for item in anchor.items}
    uses = {use_of(item) for item in (*others, *(item for anchor in site.anchors for item in anchor.items))} - {None}
    ties = {item.near for item in others} | {item.near for anchor in site.anchors for item in anchor.items}
    belongs = any(use_of(item) in uses or item.near in names or item.name in ties for item in bundle)
    return unused + 2.0 * (site.copies > 1) - 3.0 * belongs


def _ways(item: Item) -> list[tuple[str, Pose]]:
    ways = natural_ways(Kind.of(item))
    return [(str(way), pose) for way, pose in ways] or [("pocket", pose) for pose in lying_poses(poses(item.plain))]


def _least_area(item: Item, site: Site) -> float:
    """Return about how much floor an item takes in a drawer, in mm2; endless where it has no room at all."""
    ground = site.ground
    high = ground.limit - ground.floor_top
    longest = max((ground.usable(max(pair), "straight") for pair in site.footprints), default=0.0)
    best = inf
    for way, pose in _ways(item):
        wide, deep, tall = pose.size
        if tall > high or max(wide, deep) > longest:
            continue
        if way == "heap":
            fill = None if item.soft is None else item.soft.fill
            area = bulk_volume(item.plain, item.count, fill) / min(FILL_DEPTH if fill is None else SOFT_DEPTH, high)
        elif item.nesting_step is not None:
            area = wide * deep * ceil(item.count / max(int((high - tall) / item.nesting_step) + 1, 1))
        else:
            layers = 1 if way in {"stand", "file"} else max(min(int(high / tall), _LAYERS, item.count), 1)
            area = wide * deep * ceil(item.count / layers)
        best = min(best, area * _OVERHEAD)
    return best
