"""Allocation of a job's items to its drawers.

Items that belong together, by group or by `near`, make a cluster. The cluster that would lose most by not getting its
best drawer is given it first (regret). Then every drawer is stocked, and what found no room is tried in the others.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Final

from worker.layout.items.drawer_site import Site
from worker.layout.items.fill_drawer import Stock, stock
from worker.layout.placement.placement_problem import ACCESSES, Fit, GridPlace
from worker.layout.placement.search_budget import eased
from worker.layout.placement.stacking import Load, Pile
from worker.layout.storage.tray_option import Option
from worker.layout.storage.tray_sizes import options
from worker.spec.items.item import Item

__all__ = ["Shared", "added", "shared"]

#: Drawers are filled to this share first: the last places are hard to fill (own choice).
_FULL: Final = 0.85

#: A drawer with something new is stocked anew so often, at most, for items that found no room elsewhere.
_MOST_TRIALS: Final = 12

#: A drawer that is printed several times is taken only when nothing else has room.
_COPIES: Final = 1e6

#: What belongs to a tray that stays goes into another drawer only when that one has no room.
_ELSEWHERE: Final = 1e3

#: What a half cell costs whose height is not used at all, in half cells (own choice).
_UNUSED: Final = 0.5


@dataclass(frozen=True)
class Shared:
    """Every drawer with what is in it, in order, and the items of the job that are in none."""

    stocks: tuple[Stock, ...]
    left: tuple[Item, ...]


def shared(items: Sequence[Item], sites: Sequence[Site], own: Sequence[Sequence[Item]]) -> Shared:
    """Return the items of a job shared out over its drawers.

    Args:
        items: those of the job.
        sites: the drawers.
        own: the items that each drawer has of its own.
    """
    given = _assigned(items, sites, own) if items else [[] for _ in sites]
    lists = [[*its_own, *more] for its_own, more in zip(own, given, strict=True)]
    share = 1.0 / max(sum(1 for items in lists if items), 1)
    stocks = [stock(items, site, share_of_time=share) for items, site in zip(lists, sites, strict=True)]
    of_job = {id(item) for item in items}
    placed = {id(item) for stock in stocks for item in stock.items}
    waiting = [item for item in items if id(item) not in placed]
    stocks = [_without(stock, {id(item) for item in waiting}) for stock in stocks]
    tried = {id(item): index for index, items in enumerate(given) for item in items}
    left: list[Item] = []
    trials = eased(_MOST_TRIALS, max(map(len, lists), default=0))
    for item in sorted(waiting, key=lambda candidate: ACCESSES.index(candidate.access)):
        for index in sorted(
            range(len(sites)), key=lambda index: (sites[index].copies > 1, -_free(stocks[index]), index)
        ):
            after = added(item, stocks[index])
            if after is None and trials and tried.get(id(item)) != index:
                trials -= 1
                after = _with_item(item, stocks[index], share / 4.0)
            if after is not None:
                stocks[index] = after
                break
        else:
            left.append(item)
    return Shared(tuple(stocks), tuple(item for item in left if id(item) in of_job))


def added(item: Item, stocked: Stock) -> Stock | None:
    """Return a drawer with one more item where there is room as it is, or None when there is none."""
    load = Load((item,), stocked.site.options(item))
    if item.at is not None:
        return None
    free = stocked.left
    for number, option in enumerate(load.options):
        corners = free.corners(free.bits, *option.halves)
        if corners:
            place = GridPlace(*next(free.spots(corners)), number)
            fit = Fit((*stocked.fit.places, place))
            return replace(stocked, piles=(*stocked.piles, Pile.of(load)), fit=fit)
    return None


def _with_item(item: Item, stocked: Stock, share: float) -> Stock | None:
    """Return a drawer stocked anew with one more item, or None when something would have no room."""
    if stocked.missing or not stocked.site.options(item):
        return None
    if _least_area(item, stocked.site) > _free(stocked):
        return None
    items = [*stocked.items, item]
    if stock(items, stocked.site, share_of_time=0.0).missing:
        return None
    return stock(items, stocked.site, share_of_time=share)


def _free(stocked: Stock) -> int:
    """Return how many half cells are free."""
    return stocked.left.bits.bit_count()


def _without(stocked: Stock, items: set[int]) -> Stock:
    """Return a drawer without these items, none of which has a place in it."""
    pairs = [
        (pile, place)
        for pile, place in zip(stocked.piles, stocked.fit.places, strict=True)
        if place is not None or not any(id(item) in items for item in pile.items)
    ]
    return Stock(
        stocked.site,
        tuple(pile for pile, _ in pairs),
        Fit(tuple(place for _, place in pairs)),
        tuple(item for item in stocked.unsized if id(item) not in items),
    )


def _assigned(items: Sequence[Item], sites: Sequence[Site], own: Sequence[Sequence[Item]]) -> list[list[Item]]:
    """Return which of the job's items go into which drawer; those that fit none are in no list."""
    if len(sites) == 1:
        return [list(items)]
    room = [site.bay.bits.bit_count() * _FULL for site in sites]
    for index, its_own in enumerate(own):
        room[index] -= sum(_least_area(item, sites[index]) for item in its_own)
    given: list[list[Item]] = [[] for _ in sites]
    waiting = [_Bid.of(cluster, sites) for cluster in _clusters(items)]
    while waiting:
        # only what still has room counts
        open_ = {id(bid): [(cost, index) for cost, area, index in bid.costs if area <= room[index]] for bid in waiting}
        bid = min(
            waiting, key=lambda bidder: (-bidder.regret(open_[id(bidder)]), bidder.access_rank, -len(bidder.items))
        )
        waiting.remove(bid)
        if open_[id(bid)]:
            _, index = open_[id(bid)][0]
            given[index] += bid.items
            room[index] -= next(area for _, area, drawer in bid.costs if drawer == index)
        elif len(bid.items) > 1:
            waiting += [_Bid.of([item], sites) for item in bid.items]
        elif bid.costs:
            # fuller than is wise: the drawer with most room may still find a place
            index = max((drawer for _, _, drawer in bid.costs), key=lambda drawer: room[drawer])
            given[index] += bid.items
            room[index] -= next(area for _, area, drawer in bid.costs if drawer == index)
    order = {id(item): number for number, item in enumerate(items)}
    return [sorted(items, key=lambda item: order[id(item)]) for items in given]


@dataclass(frozen=True)
class _Bid:
    """A cluster, and for each drawer that could hold it: what that costs, the half cells it takes, the drawer.

    The best drawer comes first.
    """

    items: list[Item]
    costs: list[tuple[float, int, int]]

    @staticmethod
    def of(items: list[Item], sites: Sequence[Site]) -> "_Bid":
        """Return the bid of a cluster."""
        return _Bid(items, sorted(_costs(items, sites)))

    @property
    def access_rank(self) -> int:
        """How often it is wanted: 0 often."""
        return min(ACCESSES.index(item.access) for item in self.items)

    @staticmethod
    def regret(offers: list[tuple[float, int]]) -> float:
        """Return what is lost when the best of these offers is gone; endless for a last one."""
        if not offers:
            return -1.0
        return offers[1][0] - offers[0][0] if len(offers) > 1 else inf


def _costs(items: Sequence[Item], sites: Sequence[Site]) -> Iterator[tuple[float, int, int]]:
    """Yield what a cluster costs in each drawer that could hold it, how much room it takes, and the drawer.

    The cost is floor, and the height that it leaves unused: low things belong into low drawers. Sizes are worked out
    once, for a drawer as wide and high as any; those that are right for each drawer follow when it is stocked.
    What fits nowhere so is tried in every drawer at last.
    """
    grounds = [site.ground for site in sites]
    span = max(ground.span[0] for ground in grounds), max(ground.span[1] for ground in grounds)
    largest = replace(grounds[0], span=span, height=max(ground.height for ground in grounds))
    ways = [options(item, largest) for item in items]
    homes = [_belongs(items, site) for site in sites]
    for index, site in enumerate(sites):
        suiting = [[way for way in each if _suits(way, site)] for each in ways]
        if all(suiting):
            cost, area, _ = _cost(suiting, site, index)
            yield cost + _ELSEWHERE * (any(homes) and not homes[index]), area, index


def _belongs(items: Sequence[Item], site: Site) -> bool:
    """Return whether one of these items belongs to a tray that stays in a drawer, by its group or by `near`."""
    there = [item for anchor in site.anchors for item in anchor.items]
    return any(
        item.near == other.name or other.near == item.name or (item.group is not None and item.group == other.group)
        for item in items
        for other in there
    )


def _cost(ways: Sequence[Sequence[Option]], site: Site, index: int) -> tuple[float, int, int]:
    smallest = [min(each, key=lambda way: (way.area, way.top)) for each in ways]
    limit = site.ground.limit
    unused = sum(way.area * (limit - way.top) / limit for way in smallest)
    area = sum(way.area for way in smallest)
    return area + _UNUSED * unused + _COPIES * (site.copies > 1), area, index


def _suits(way: Option, site: Site) -> bool:
    span = site.ground.span
    return (
        way.top <= site.ground.limit
        and way.halves[0] <= span[0]
        and way.halves[1] <= span[1]
        and site.prints(way.halves)
    )


def _least_area(item: Item, site: Site) -> int:
    """Return the fewest half cells that an item takes in a drawer; 0 when it has no tray there."""
    return min((way.area for way in site.options(item)), default=0)


def _clusters(items: Sequence[Item]) -> list[list[Item]]:
    """Return the items that belong together, by group or by `near`, in the order of the first of each."""
    head = list(range(len(items)))

    def top(index: int) -> int:
        while head[index] != index:
            index = head[index]
        return index

    named = {item.name: index for index, item in enumerate(items)}
    groups: dict[str, int] = {}
    for index, item in enumerate(items):
        others = [] if item.group is None else [groups.setdefault(item.group, index)]
        if item.near is not None and item.near in named:
            others.append(named[item.near])
        for other in others:
            low, high = sorted((top(index), top(other)))
            head[high] = low
    clusters: dict[int, list[Item]] = {}
    for index, item in enumerate(items):
        clusters.setdefault(top(index), []).append(item)
    return list(clusters.values())
