"""The earlier layout: a drawer's trays as an earlier plan placed them, of which none is printed yet.

Trays stay where they were for what is in them now. One that has become too small grows over free cells about it; where
it cannot, it stays for the kinds that did not change.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import columns
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.search.drawer_search import dict_of
from worker.layout.placement.search.region_solver import Standing
from worker.spec.items.item import Item

__all__ = ["EarlierTray", "standing_as_before"]


@dataclass(frozen=True)
class EarlierTray:
    """A tray of an earlier plan: its front left half cell, its size in half cells, its height in mm.

    ``contents`` are the items of this job that were in it, and how many of each.
    """

    at: Spot
    halves: Spot
    height: float
    contents: tuple[tuple[Item, int], ...]


def standing_as_before(
    stock: Assortment, bay: Bay, earlier: Sequence[EarlierTray], *, partly: bool = False
) -> list[Standing]:
    """Return the trays that stay for the things of an assortment, each as near to where it was as can be.

    Args:
        stock: the things.
        bay: what is free for them.
        earlier: the trays of the earlier plan.
        partly: whether a tray that cannot grow stays for as many things as it held, instead of for the other kinds.
    """
    number = {id(item): index for index, item in enumerate(stock.items)}
    shares = _shares(number, earlier)
    standing: list[Standing] = []
    outgrown: list[tuple[EarlierTray, dict[int, int]]] = []
    for tray, held in zip(earlier, shares, strict=True):
        column = _same_size(stock, tray, held)
        if column is None or tray.at not in bay.spots(bay.corners(bay.bits, *tray.halves)):
            outgrown.append((tray, held))
        else:
            standing.append((column, tray.at))
            bay = bay.less([(tray.at, tray.halves)])
    for place, (tray, held) in enumerate(outgrown):
        # it grows over free cells, not over those of trays that are still to be looked at
        others = [(other.at, other.halves) for other, _ in outgrown[place + 1 :] if _within(bay, other)]
        around = bay.less(others)
        before = {number[id(item)]: count for item, count in tray.contents if id(item) in number}
        unchanged = {index: count for index, count in held.items() if before.get(index) == count}
        fewer = {index: min(count, before.get(index, 0)) for index, count in held.items()}
        entry = _grown(stock, around, tray, held)
        ways = [(stock, unchanged), (_with_counts(stock, fewer), fewer)]
        for sized, share in reversed(ways) if partly else ways:
            entry = entry or _grown(sized, around, tray, share)
        if entry is not None:
            standing.append(entry)
            bay = bay.less([(entry[1], entry[0].halves)])
    return standing


def _with_counts(stock: Assortment, counts: Mapping[int, int]) -> Assortment:
    """Return an assortment with other counts of some items, by their indices."""
    items = (item.model_copy(update={"count": counts.get(k, item.count)}) for k, item in enumerate(stock.items))
    return replace(stock, items=tuple(items))


def _shares(number: Mapping[int, int], earlier: Sequence[EarlierTray]) -> list[dict[int, int]]:
    """Return what each tray is to hold, by the indices of items: as before, the last one takes more or less of each."""
    left = Counter[int]()
    trays = Counter(id(item) for tray in earlier for item, _ in tray.contents)
    for tray in earlier:
        left.update({id(item): item.count for item, _ in tray.contents if id(item) not in left})
    shares: list[dict[int, int]] = []
    for tray in earlier:
        held: dict[int, int] = {}
        for item, count in tray.contents:
            trays[id(item)] -= 1
            share = left[id(item)] if not trays[id(item)] else min(count, left[id(item)])
            left[id(item)] -= share
            if share and id(item) in number:
                held[number[id(item)]] = share
        shares.append(held)
    return shares


def _same_size(stock: Assortment, tray: EarlierTray, held: Mapping[int, int]) -> Column | None:
    """Return the tray of the same size that holds this, of the same height if there is one."""
    # among trays of all sizes, one in which its things have room to spare gives way to a smaller one
    narrowed = replace(stock, footprints=stock.footprints & {tray.halves})
    # beside others of its family a thing may have been given a lane of another length
    every = _holding(narrowed, held, {tray.halves}) or _holding(narrowed, held, {tray.halves}, stock.families)
    return min(every, key=lambda column: _unlike(column, tray), default=None)


def _unlike(column: Column, tray: EarlierTray) -> tuple[bool, float]:
    return abs(column.height - tray.height) > 1e-6, -column.value  # noqa: PLR2004 - of one coordinate grid


def _grown(stock: Assortment, bay: Bay, tray: EarlierTray, held: Mapping[int, int]) -> Standing | None:
    """Return a tray that holds this and covers some of the cells of the earlier one; at the same corner if it can."""
    there = bay.under(*tray.halves, tray.at) if _within(bay, tray) else 0
    sizes = {pair for pair in stock.footprints if bay.corners(bay.bits, *pair)}
    best: tuple[tuple[int, int, float, Spot], Standing] | None = None
    for column in _holding(stock, held, sizes):
        for spot in bay.spots(bay.corners(bay.bits, *column.halves)):
            if bay.under(*column.halves, spot) & there:
                away = abs(spot[0] - tray.at[0]) + abs(spot[1] - tray.at[1])
                rank = away, column.area, -column.value, spot
                if best is None or rank < best[0]:
                    best = rank, (column, spot)
    return None if best is None else best[1]


def _within(bay: Bay, tray: EarlierTray) -> bool:
    return all(tray.at[axis] + tray.halves[axis] <= (bay.across, bay.back)[axis] for axis in (0, 1))


def _holding(
    stock: Assortment, held: Mapping[int, int], sizes: set[Spot], families: Sequence[tuple[int, ...]] = ()
) -> list[Column]:
    """Return the trays of these sizes that hold just this, sized alone or with what else is of these families."""
    if not held or not sizes:
        return []
    narrowed = replace(stock, families=tuple(families) or (tuple(sorted(held)),))
    beside = {index: stock.items[index].count for family in families if set(held) <= set(family) for index in family}
    # only trays for all of it are made: of one for 8 kinds there are 255 times as many for some of them
    every = columns(narrowed, beside | dict(held), footprints=sizes & stock.footprints, any_value=True, whole_set=held)
    return [column for column in every.values() if dict_of(column) == held]
