"""Leaving out: what is worth least to leave out so that an item has a place.

Where all in the way of its tray is too much, the floor around that tray is filled again, and what then has no place is
left out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from heapq import nsmallest
from itertools import islice
from typing import Final, NamedTuple

from worker.layout.items.filling.drawer_stock import Stock
from worker.layout.items.filling.tray_sizing import TraySizing
from worker.layout.items.reasons.shortage import pinned_rectangles
from worker.layout.placement.bay import Spot
from worker.layout.placement.columns.objective import WEIGHTS, worth
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.search.drawer_search import search_drawer
from worker.layout.placement.search.region_solver import Standing
from worker.spec import Spec
from worker.spec.items.item import Item

__all__ = ["LeavingOut"]

#: No more kinds than these are offered to be left out for an item, and so many of its trays are tried.
_MOST_KINDS: Final = 3
_MOST_TRAYS: Final = 4

#: What is left out for an item may be worth so many times as much: nobody gives up all knives for a cookie cutter.
_WORTH: Final = 2.0

#: Places for its tray around which the floor is filled again, at most; each counts as so many sizings of a tray.
_MOST_PLACES: Final = 3
_REFILL: Final = 5


class _Place(NamedTuple):
    """A place for the item's tray: the worth of what is in the way, those trays, the tray, its front left half cell."""

    worth: float
    standing: tuple[Standing, ...]
    tray: Column
    at: Spot


@dataclass(frozen=True)
class LeavingOut:
    """What could be left out for an item, or for those of its things that have no place, ``rest``."""

    spec: Spec
    item: Item
    rest: Item
    sizing: TraySizing

    def whole_trays(self, stocks: Sequence[Stock]) -> str | None:
        """Return the names of what is in the trays that are worth least on any place for one of the item's.

        None where all is too much: more than `_MOST_KINDS` kinds, or some that are worth much more than the item.
        """
        return self._names(lost for stock in stocks for lost in self._displaced(stock))

    def anything(self, stocks: Sequence[Stock], most: int) -> str | None:
        """Return the same where what was in the way may have another place.

        Args:
            stocks: the drawers.
            most: nothing is filled again once so many trays were sized.
        """
        names = self.whole_trays(stocks)
        return names or self._names(
            (sum(stock.assortment.worths[index] for index in lost), [stock.assortment.items[index] for index in lost])
            for stock in stocks
            for lost, _ in self.filled_around(stock, most)
        )

    def _displaced(self, stock: Stock) -> Iterator[tuple[float, list[Item]]]:
        """Yield what is in the way of each place for its trays, and its worth."""
        for place in self._places(stock):
            indices = dict.fromkeys(index for column, _ in place.standing for index, _ in column.lanes)
            yield place.worth, [stock.assortment.items[index] for index in indices]

    def filled_around(self, stock: Stock, most: int) -> Iterator[tuple[tuple[int, ...], tuple[Standing, ...]]]:
        """Yield drawers filled again around a tray for the item: what has lost its place, by index, and the trays.

        The item's own tray is the last; in it the item has the index 0.

        Args:
            stock: the drawer as it is.
            most: nothing is filled again once so many trays were sized.
        """
        items = stock.assortment.items
        upper = {index for tray in stock.upper for index, _ in tray.column.counts}
        fixed = {index for index, item in enumerate(items) if item is self.item or item.at is not None}
        places = nsmallest(
            _MOST_PLACES, self._places(stock), key=lambda place: (place.worth, place.tray.area, place.at)
        )
        for place in places:
            if self.sizing.count + _REFILL > most:
                return
            self.sizing.count += _REFILL
            filled = search_drawer(
                stock.pool,
                stock.site.bay.less([(place.at, place.tray.halves)]),
                moves=0,
                spare=0.0,
                begin=[entry for entry in stock.standing if entry not in place.standing],
                skip=upper | fixed,
            )
            lacking = replace(stock, standing=tuple(filled)).lacking
            lost = (index for index, count in lacking.items() if count > stock.lacking.get(index, 0))
            yield tuple(index for index in lost if items[index] is not self.item), (*filled, (place.tray, place.at))

    def _places(self, stock: Stock) -> Iterator[_Place]:
        """Yield the places for trays of the item where all that is in the way may be left out.

        Trays that carry others or are pinned stay, and those that hold some of the item.
        """
        kept = stock.carrying | {at for _, (at, _) in pinned_rectangles(self.spec, stock)}
        kept |= {
            at
            for column, at in stock.standing
            if any(stock.assortment.items[index] is self.item for index, _ in column.lanes)
        }
        for tray in islice(self.sizing.trays(self.rest, stock.site), _MOST_TRAYS):
            for spot, standing in stock.displaced(tray):
                if standing and kept.isdisjoint(at for _, at in standing):
                    yield _Place(sum(column.worth for column, _ in standing), standing, tray, spot)

    def _names(self, every: Iterator[tuple[float, list[Item]]]) -> str | None:
        """Return the names of the least that is lost; None where nothing would do."""
        most = _WORTH * worth(self.rest, WEIGHTS[self.spec.layout.profile])
        able = [(lost, [item.name for item in items]) for lost, items in every if lost <= most]
        names = [(lost, names) for lost, names in able if 0 < len(names) <= _MOST_KINDS]
        if not names:
            return None
        *first, last = (repr(name) for name in min(names)[1])
        return f"{', '.join(first)} and {last}" if first else last
