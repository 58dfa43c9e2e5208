"""The stock of a drawer: its items in trays, each tray in its place."""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from worker.layout.items.bisection import most_with
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.filled_tray import tray_option
from worker.layout.items.filling.lift_out_trays import lift_out_trays
from worker.layout.items.filling.stacked_trays import UpperTray, stack_trays
from worker.layout.items.filling.tray_sizing import TraySizing, renumbered_alone
from worker.layout.items.filling.trays_below import trays_below
from worker.layout.placement.bay import Bay, Spot, half_cells
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import ColumnPool, columns
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.search.arrangement import arrange
from worker.layout.placement.search.drawer_search import search_stages
from worker.layout.placement.search.even_heights import even_heights
from worker.layout.placement.search.region_solver import Spare, Standing, shapes_of, total_value
from worker.layout.placement.search.regrouping import regrouped
from worker.layout.storage.tray_option import Option
from worker.spec.items.item import Item

__all__ = ["MOST_SIZINGS", "Settled", "Stock", "fill_drawer", "place_pinned", "with_parts", "with_rest"]

#: A kind that no tray takes is split over so many trays at last, at most.
_MOST_SPLIT: Final = 4

#: Sizings of trays for what is missing in a drawer, at most; of 14 practice drawers none takes more than 70.
MOST_SIZINGS: Final = 300


@dataclass(frozen=True, slots=True)
class Settled:
    """A tray in its place: the item of each compartment, its front left half cell, how high it stands."""

    items: tuple[Item, ...]
    option: Option
    at: Spot
    z: float = 0.0


@dataclass(frozen=True)
class Stock:
    """A drawer with its items placed, as far as there was room; ``cut_short``: as far as the counted work sufficed."""

    site: Site
    assortment: Assortment
    standing: tuple[Standing, ...] = ()
    upper: tuple[UpperTray, ...] = ()
    cut_short: bool = False

    @cached_property
    def trays(self) -> tuple[Standing, ...]:
        """All trays with the front left half cell of each, those on the floor first."""
        return (*self.standing, *((tray.column, tray.at) for tray in self.upper))

    @cached_property
    def value(self) -> float:
        """Its value in minutes.

        A tray that costs more than its things are worth counts nothing: it stands where nothing else would.
        """
        weights, area = self.assortment.weights, self.site.bay.bits.bit_count()
        spare = Spare(weights.spare / 4.0, int(area * self.site.layout.spare))
        return (
            total_value(self.standing, area, spare)
            + sum(max(-column.value, 0.0) for column, _ in self.standing)
            + sum(max(tray.column.value, 0.0) for tray in self.upper)
            - weights.variety * len(shapes_of(self.trays))
            - weights.height * len({column.height for column, _ in self.trays})
        )

    @cached_property
    def settled(self) -> tuple[Settled, ...]:
        """The trays in their places, front left first, those on one another from the bottom."""
        trays = [
            Settled(
                tuple(self.assortment.items[index] for index, _ in column.lanes),
                tray_option(self.assortment, column),
                at,
                z,
            )
            for column, at, z in (
                *((column, at, 0.0) for column, at in self.standing),
                *((tray.column, tray.at, tray.z) for tray in self.upper),
            )
        ]
        return tuple(sorted(trays, key=lambda tray: (tray.at[1], tray.at[0], tray.z)))

    @cached_property
    def lacking(self) -> dict[int, int]:
        """How many of each item have no place, by its index, where any have none."""
        left = Counter({index: item.count for index, item in enumerate(self.assortment.items)})
        for column, _ in self.trays:
            for index, count in column.counts:
                left[index] -= count
        return {index: count for index, count in sorted(left.items()) if count > 0}

    @cached_property
    def missing(self) -> tuple[tuple[Item, int], ...]:
        """The items of which some have no place, and how many."""
        return tuple((self.assortment.items[index], count) for index, count in self.lacking.items())

    @cached_property
    def pool(self) -> ColumnPool:
        """The columns of its items."""
        return ColumnPool(self.assortment)

    @cached_property
    def left(self) -> Bay:
        """What is still free."""
        upper = ((tray.at, tray.column.halves) for tray in self.upper)
        return self.site.bay.less((*((at, column.halves) for column, at in self.standing), *upper))

    @cached_property
    def carrying(self) -> frozenset[Spot]:
        """The front left half cells of the trays on the floor that others stand over."""
        above = [self.site.bay.under(*tray.column.halves, tray.at) for tray in self.upper]
        return frozenset(entry[1] for entry, under in self._under if any(under & bits for bits in above))

    @cached_property
    def _under(self) -> tuple[tuple[Standing, int], ...]:
        """The trays on the floor, each with the half cells under it."""
        return tuple((entry, self.site.bay.under(*entry[0].halves, entry[1])) for entry in self.standing)

    def displaced(self, column: Column) -> Iterator[tuple[Spot, tuple[Standing, ...]]]:
        """Yield each place of a tray on the empty floor, and the trays that stand there now."""
        bay = self.site.bay
        for spot in bay.spots(bay.corners(bay.bits, *column.halves)):
            bits = bay.under(*column.halves, spot)
            yield spot, tuple(entry for entry, taken in self._under if taken & bits)


def fill_drawer(
    site: Site,
    items: Sequence[Item],
    *,
    moves: int,
    stages: Sequence[int] = (),
    begin: Stock | None = None,
    settle: bool = True,
    hold: bool = False,
    split: bool = True,
    sizing: TraySizing | None = None,
) -> Stock:
    """Return a drawer with these items placed as well as can be.

    Pinned items come first, each in a tray of its own.

    Args:
        site: the drawer.
        items: in the order of the list; those of ``begin`` first.
        moves: how many regions the search clears.
        stages: after how many moves, rising, the drawer is finished too; the best finished one is returned, so that
            more moves never make it worse.
        begin: the drawer with some of the items placed.
        settle: whether trays are arranged at last: like ones in line, what is used often in front.
        hold: whether trays of ``begin`` keep their places when others are arranged.
        split: whether things of which no tray takes all are split over several at last.
        sizing: counts the sizings; None: only here.
    """
    assortment = site.assortment(items)
    standing = [] if begin is None else list(begin.standing)
    placed = {index for column, _ in standing for index, _ in column.counts}
    fixed, bay = place_pinned(assortment, site.bay, skip=placed)
    pins = {index for index, item in enumerate(items) if item.at is not None}
    held = [(column, at) for column, at in standing if column.lanes[0][0] in pins]
    bay = bay.less((at, column.halves) for column, at in held)
    loose = [entry for entry in standing if entry not in held]
    # without moves, columns are looked for only for what has no place yet
    lacking = None if moves or begin is None else Stock(site, assortment, tuple(standing)).lacking
    pool = ColumnPool(assortment, lacking)
    sizing = sizing or TraySizing()
    finished: list[Stock] = []
    for free in search_stages(pool, bay, stages=(*stages, moves), spare=site.layout.spare, begin=loose, skip=pins):
        trays = free
        if settle:
            trays = even_heights(assortment, free if begin is not None else regrouped(assortment, free))
            corners = {at for _, at in loose} if hold else set()
            staying = [entry for entry in trays if entry[1] in corners]
            around = bay.less((at, column.halves) for column, at in staying)
            moving = [entry for entry in trays if entry[1] not in corners]
            trays = [*staying, *arrange(assortment, around, moving, site.anchors)]
        stock = Stock(site, assortment, (*fixed, *held, *trays))
        finished.append(_filled_up(stock, sizing, stack=settle, split=split))
    stock = max(finished, key=lambda stock: stock.value)
    return replace(stock, cut_short=pool.cut_short or sizing.count >= MOST_SIZINGS)


def _filled_up(stock: Stock, sizing: TraySizing, *, stack: bool, split: bool) -> Stock:
    """Return a drawer with what is missing on other trays, where it still has room, and split over several trays."""
    assortment, site = stock.assortment, stock.site
    number = {id(item): index for index, item in enumerate(assortment.items)}
    missing = [(number[id(item)], count) for item, count in stock.missing]
    if stack and any(assortment.items[index].stacks for index, _ in missing):
        floor, upper = stack_trays(assortment, site.bay, stock.standing, missing, site.limit)
        stock = Stock(site, assortment, tuple(floor), tuple(upper))
    if stack and stock.missing and not stock.upper:
        missing = [(number[id(item)], count) for item, count in stock.missing]
        floor, upper = trays_below(assortment, site.bay, stock.standing, missing, site.limit)
        stock = replace(stock, standing=tuple(floor), upper=tuple(upper))
    if stack and stock.missing:
        missing = [(number[id(item)], count) for item, count in stock.missing]
        floor, upper = lift_out_trays(
            assortment, site.bay, (stock.standing, stock.upper), missing, site.limit, stock.carrying
        )
        stock = replace(stock, standing=tuple(floor), upper=tuple(upper))
    stock = _topped_up(stock, sizing)
    return _split_up(stock, sizing) if split else stock


def _topped_up(stock: Stock, sizing: TraySizing) -> Stock:
    """Return a drawer in which no tray for what is missing has a free place, whatever it costs."""
    for item, count in stock.missing:
        if sizing.count >= MOST_SIZINGS:
            break
        stock = with_rest(stock, item, count, sizing) or stock
    return stock


def _split_up(stock: Stock, sizing: TraySizing) -> Stock:
    """Return a drawer in which things of which no tray takes all are split over several, as far as there is room."""
    for item, count in stock.missing:
        stock, _ = with_parts(stock, item, count, sizing)
    return stock


def with_parts(stock: Stock, item: Item, count: int, sizing: TraySizing) -> tuple[Stock, int]:
    """Return a drawer with things of an item split over several trays, and how many of them have no room.

    Args:
        stock: the drawer.
        item: the item, of the drawer or not.
        count: how many things of it have no place in any drawer.
        sizing: the trays sized so far; where they are as many as they may be, nothing is split.
    """
    before, left = stock, count
    if all(other is not item for other in stock.assortment.items):
        stock = replace(stock, assortment=stock.site.assortment([*stock.assortment.items, item]))
    if sizing.count >= MOST_SIZINGS:
        return before, left
    if count == sum(missing for other, missing in stock.missing if other is item):
        whole = _split_evenly(stock, item, sizing)
        if whole is not None:
            return whole, 0
    for _ in range(_MOST_SPLIT):
        if sizing.trays(item.model_copy(update={"count": left}), stock.site):
            share = left
        else:
            share = _most_with_room(stock, item, left, sizing)
        more = with_rest(stock, item, share, sizing) if share else None
        if more is None:
            break
        stock, left = more, left - share
        if not left:
            break
    return (before if left == count else stock), left


def _split_evenly(stock: Stock, item: Item, sizing: TraySizing) -> Stock | None:
    """Return a drawer with all things of an item in as few trays of about equally many as have room.

    Trays that hold some of them now, and nothing else, give way: a tray for as many as it takes may leave a strip in
    which no tray for the rest has room. None where no such trays have room, or one tray takes all.
    """
    index = next(number for number, other in enumerate(stock.assortment.items) if other is item)
    held = [entry for entry in stock.standing if any(number == index for number, _ in entry[0].counts)]
    if item.at is not None or any(len(column.lanes) > 1 for column, _ in held):
        return None
    empty = replace(stock, standing=tuple(entry for entry in stock.standing if entry not in held))
    for trays in range(2, min(_MOST_SPLIT, item.count) + 1):
        tried: Stock | None = empty
        for share in (item.count // trays + (number < item.count % trays) for number in range(trays)):
            tried = None if tried is None else with_rest(tried, item, share, sizing)
        if tried is not None:
            return tried
    return None


def _most_with_room(stock: Stock, item: Item, count: int, sizing: TraySizing) -> int:
    """Return how many things of an item have a free place in one tray, fewer than so many."""

    def holds(some: int) -> bool:
        return with_rest(stock, item, some, sizing) is not None

    sure = min(sizing.most_in_part(item, count, stock.assortment, stock.left), count - 1)
    if sure < 1 or not holds(sure):
        return most_with(0, max(sure, 1), holds)
    step = 1
    while (more := sure + step) < count and holds(more):
        sure, step = more, 2 * step
    return most_with(sure, min(more, count), holds)


def with_rest(stock: Stock, item: Item, count: int, sizing: TraySizing) -> Stock | None:
    """Return a drawer with some things of an item in the smallest tray that has a free place; None where none has.

    Args:
        stock: the drawer.
        item: the item, of the drawer or not.
        count: how many.
        sizing: the trays sized so far.
    """
    rest = item if count == item.count else item.model_copy(update={"count": count})
    place = None if item.at is not None else sizing.room(rest, stock.site, stock.left)
    if place is None:
        return None
    items = stock.assortment.items
    index = next((number for number, other in enumerate(items) if other is item), len(items))
    assortment = stock.assortment if index < len(items) else stock.site.assortment([*items, item])
    column = renumbered_alone(place[0], index, assortment)
    return replace(stock, assortment=assortment, standing=(*stock.standing, (column, place[1])))


def place_pinned(stock: Assortment, bay: Bay, skip: Collection[int] = ()) -> tuple[list[Standing], Bay]:
    """Return the things that are pinned, each kind in a tray of its own, and what is free beside them.

    Args:
        stock: the things.
        bay: what is free for them.
        skip: kinds that are placed already, by index.
    """
    pinned: list[Standing] = []
    for index, item in enumerate(stock.items):
        if item.at is None or index in skip:
            continue
        spot = half_cells(item.at)
        column = _pinned_column(stock, index, bay, spot)
        if column is not None:
            pinned.append((column, spot))
            bay = bay.less([(spot, column.halves)])
    return pinned, bay


def _pinned_column(stock: Assortment, index: int, bay: Bay, at: Spot) -> Column | None:
    """Return the best tray for all things of a kind whose front left half cell is given; None where none fits."""
    alone = replace(stock, families=((index,),))
    every = columns(alone, {index: stock.items[index].count}, any_value=True).values()
    fits = [
        column
        for column in every
        if column.counts == ((index, stock.items[index].count),)
        and at in bay.spots(bay.corners(bay.bits, *column.halves))
    ]
    return max(fits, key=lambda column: (column.value, column.key), default=None)
