"""A drawer as before: what is new or has grown finds a place, and as little as possible of an earlier plan moves."""

from collections import defaultdict
from collections.abc import Sequence

from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Stock, fill_drawer, place_pinned
from worker.layout.items.filling.earlier_layout import EarlierTray, standing_as_before
from worker.layout.items.filling.making_room import with_room_made
from worker.layout.placement.bay import Spot
from worker.spec.items.item import Item

__all__ = ["fill_as_before"]


def fill_as_before(site: Site, items: Sequence[Item], *, moves: int) -> Stock:
    """Return a drawer with these items placed, those of its earlier trays where they were as far as that is possible.

    For what has no place then but had one, or is new, others move aside, as few as possible. Where that does not help,
    the drawer is searched from the earlier layout on; that answer counts only if it is worth more than its moves.

    Args:
        site: the drawer, with its earlier trays.
        items: in the order of the list.
        moves: how many regions the search clears where something has no place.
    """
    stock = site.assortment(items)
    pinned, bay = place_pinned(stock, site.bay)
    begin = Stock(site, stock, (*pinned, *standing_as_before(stock, bay, site.earlier)))
    result = fill_drawer(site, items, moves=0, begin=begin, hold=True)
    new = {item.name for item, _ in result.missing} - site.left_out
    if new:
        result = with_room_made(result, new)
    if new.isdisjoint(item.name for item, _ in result.missing):
        return result
    partly = Stock(site, stock, (*pinned, *standing_as_before(stock, bay, site.earlier, partly=True)))
    results = [result, fill_drawer(site, items, moves=0, begin=partly, hold=True)]
    if moves:
        results.append(fill_drawer(site, items, moves=moves, begin=begin))
    return max(results, key=lambda other: other.value - stock.weights.moved * _moved(other, site.earlier))


def _moved(stock: Stock, earlier: Sequence[EarlierTray]) -> int:
    """Return how many kinds are in another place than before."""
    now = defaultdict[int, set[Spot]](set)
    for column, at in stock.trays:
        for index, _ in column.counts:
            now[id(stock.assortment.items[index])].add(at)
    before = defaultdict[int, set[Spot]](set)
    for tray in earlier:
        for item, _ in tray.contents:
            before[id(item)].add(tray.at)
    return sum(not spots <= now[item] for item, spots in before.items())
