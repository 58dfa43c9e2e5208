"""Pricing: the columns that are worth more than their prices.

All patterns of whole kinds are known beforehand (`SharedPatterns`), so that pricing them only adds up numbers. Kinds
that may be split have columns of their own, made for what is left of them. Prices on things and on floor, taken from
the dual of the packing's linear relaxation, steer the choice to columns that go well together (Gilmore and Gomory,
Operations Research 11, 1963, from memory).
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cached_property
from math import inf
from typing import TYPE_CHECKING, Final

import numpy as np

from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.band_split import subset_sums
from worker.layout.placement.columns.family_patterns import MOST_MEMBERS
from worker.layout.placement.columns.part_columns import part_columns
from worker.layout.placement.columns.pocket_columns import nesting_sets, pocket_columns, shared_pocket_columns
from worker.layout.placement.columns.shared_patterns import SharedPatterns
from worker.layout.placement.columns.tray_columns import Column, ColumnKey, Footprint
from worker.layout.storage.poses import longest

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["MOST_PATTERN_WORK", "ColumnPool", "columns", "pattern_work"]

#: Of families that are too large for patterns those of a size are taken: the step from one such window to the next.
_STEP: Final = 4

#: Work that patterns are found with, at most: subsets of families times pairs of sides. The largest of 14 practice
#: drawers takes 31,000. Kinds for which it does not suffice share no tray, and have patterns of their own up to twice
#: the work.
MOST_PATTERN_WORK: Final = 400_000

#: The most columns of one set of things.
_ALIKE: Final = 4


def columns(
    stock: Assortment,
    left: Mapping[int, int],
    *,
    prices: Mapping[int, float] | None = None,
    cell_price: float = 0.0,
    footprints: Collection[Footprint] | None = None,
    any_value: bool = False,
    parts: bool = True,
    whole_set: Collection[int] = (),
) -> dict[ColumnKey, Column]:
    """Return the columns of an assortment: see `ColumnPool.columns`."""
    pool = ColumnPool(stock, [index for index, count in left.items() if count > 0], whole_set)
    return pool.columns(
        left, prices=prices, cell_price=cell_price, footprints=footprints, any_value=any_value, parts=parts
    )


class ColumnPool:
    """All columns of an assortment's things; those for parts of a kind are made when they are asked for.

    ``cut_short`` says whether there are too many things to find the patterns of all that could share a tray.
    """

    def __init__(
        self, stock: Assortment, members: Collection[int] | None = None, whole_set: Collection[int] = ()
    ) -> None:
        """Find the patterns of these members, or of all; given ``whole_set``, only columns that hold all of that."""
        self.stock, self._whole_set = stock, frozenset(whole_set)
        every = range(len(stock.items)) if members is None else sorted(members)
        windows, self.cut_short = _affordable(stock, list(_windows(stock, set(every))))
        windows = [window for window in windows if self._whole_set <= set(window)]
        whole = [SharedPatterns(stock, family) for family in windows]
        in_pieces, too_many = _affordable_joined(stock, whole)
        self.cut_short |= too_many
        self.families = (*whole, *(SharedPatterns(stock, members, joined) for members, joined in in_pieces))
        self._parts: dict[tuple[int, int], tuple[Column, ...]] = {}
        self._made: dict[tuple[int, int], Column | None] = {}
        self._recessed: dict[int, tuple[Column, ...]] = {}
        self._nested: dict[tuple[int, ...], tuple[Column, ...]] = {}

    def columns(
        self,
        left: Mapping[int, int],
        *,
        prices: Mapping[int, float] | None = None,
        cell_price: float = 0.0,
        footprints: Collection[Footprint] | None = None,
        any_value: bool = False,
        parts: bool = True,
        most: int | None = None,
    ) -> dict[ColumnKey, Column]:
        """Return the columns whose value is more than the prices of what is in them and of their floor, by their keys.

        Args:
            left: how many of each kind are to be placed, by index.
            prices: of a place for all things of each kind, in minutes.
            cell_price: of a half cell of floor, in minutes.
            footprints: that trays may have; None: any.
            any_value: whether columns are returned that cost more than they are worth, too.
            parts: whether trays that hold some of a kind's things are returned, too.
            most: how many patterns are looked at, the best ones; None: all.
        """
        prices = prices or {}
        allowed = self.stock.footprints if footprints is None else frozenset(footprints)
        best: dict[ColumnKey, Column] = {}
        for column in (
            *self._whole(left, prices, -inf if any_value else cell_price, allowed, most),
            *self._single(left, prices, -inf if any_value else cell_price, allowed, parts=parts),
            *self._nests(left, prices, -inf if any_value else cell_price, allowed),
        ):
            before = best.get(column.key)
            if before is None or column.value > before.value:
                best[column.key] = column
        return best

    def _whole(
        self,
        left: Mapping[int, int],
        prices: Mapping[int, float],
        cell_price: float,
        allowed: frozenset[Footprint],
        most: int | None,
    ) -> Iterator[Column]:
        """Yield the columns for whole kinds, the best first."""
        gains: list[NDArray[np.float64]] = []
        owners: list[NDArray[np.intp]] = []
        numbers: list[NDArray[np.intp]] = []
        for owner, family in enumerate(self.families):
            missing = sum(
                1 << k for k, m in enumerate(family.members) if left.get(m, 0) < self.stock.items[m].count
            )  # a kind of which some are placed has columns of its own
            open_sizes = np.array([pair in allowed for pair in family.footprints], dtype=bool)
            usable = ((family.subsets & missing) == 0) & open_sizes[family.sizes]
            if self._whole_set:
                usable &= family.subsets == sum(1 << k for k, m in enumerate(family.members) if m in self._whole_set)
            paid = subset_sums(np.array([prices.get(m, 0.0) for m in family.members]))[family.subsets]
            gain = family.values - paid - (max(cell_price, 0.0) * family.areas)
            chosen = np.flatnonzero(usable if cell_price == -inf else usable & (gain > 0.0))
            gains.append(gain[chosen])
            numbers.append(chosen)
            owners.append(np.full(len(chosen), owner, dtype=np.intp))
        if not gains:
            return
        every, owner_of, number_of = np.concatenate(gains), np.concatenate(owners), np.concatenate(numbers)
        order = np.lexsort((number_of, owner_of, -np.round(every, 6)))
        alike: Counter[tuple[int, int]] = Counter()
        yielded = 0
        for place in order:
            if most is not None and yielded >= most:
                return
            owner, number = int(owner_of[place]), int(number_of[place])
            key = owner, int(self.families[owner].subsets[number])
            if most is not None and alike[key] >= _ALIKE:
                continue
            alike[key] += 1
            column = self._column(owner, number)
            if column is not None:
                yielded += 1
                yield column

    def _column(self, owner: int, number: int) -> Column | None:
        if (owner, number) not in self._made:
            self._made[owner, number] = self.families[owner].column(number)
        return self._made[owner, number]

    def _single(
        self,
        left: Mapping[int, int],
        prices: Mapping[int, float],
        cell_price: float,
        allowed: frozenset[Footprint],
        *,
        parts: bool,
    ) -> Iterator[Column]:
        """Yield the columns for parts of a kind, and those in which each thing of one has a pocket."""
        for index, count in left.items():
            item = self.stock.items[index]
            if count <= 0:
                continue
            if parts and (index, count) not in self._parts:
                splits = count < item.count or self._splits[index]
                self._parts[index, count] = tuple(part_columns(self.stock, index, count)) if splits else ()
            in_part = self._parts[index, count] if parts else ()
            for column in (*in_part, *(self._pocketed(index) if count == item.count else ())):
                held = sum(number for _, number in column.counts) / item.count
                if column.halves in allowed and (
                    column.value > prices.get(index, 0.0) * held + max(cell_price, 0.0) * column.area
                    or cell_price == -inf
                ):
                    yield column

    def _pocketed(self, index: int) -> tuple[Column, ...]:
        if index not in self._recessed:
            self._recessed[index] = tuple(pocket_columns(self.stock, index))
        return self._recessed[index]

    def _nests(
        self,
        left: Mapping[int, int],
        prices: Mapping[int, float],
        cell_price: float,
        allowed: frozenset[Footprint],
    ) -> Iterator[Column]:
        """Yield the columns in which kinds of a group are nested, where they cost less than a tray for each."""
        for members in nesting_sets(self.stock, left):
            if self._whole_set and self._whole_set != set(members):
                continue
            if members not in self._nested:
                alone = [min((column.cost for column in self._pocketed(k)), default=inf) for k in members]
                self._nested[members] = tuple(shared_pocket_columns(self.stock, members, sum(alone)))
            paid = sum(prices.get(index, 0.0) for index in members)
            for column in self._nested[members]:
                if column.halves in allowed and (
                    column.value > paid + max(cell_price, 0.0) * column.area or cell_price == -inf
                ):
                    yield column

    @cached_property
    def _splits(self) -> tuple[bool, ...]:
        return self.stock.bulky


def pattern_work(stock: Assortment, family: Sequence[int], *, joined: bool = False) -> int:
    """Return the work that finding the patterns of a family takes: its subsets times pairs of sides."""
    pairs = len(stock.joined_footprints) if joined else len(stock.sides) ** 2
    return (1 << len(family)) * pairs


def _affordable_joined(
    stock: Assortment, families: Sequence[SharedPatterns]
) -> tuple[list[tuple[Sequence[int], Sequence[int]]], bool]:
    """Return the families that get trays in pieces, with the members that need them; whether some are left out.

    They take what work the others have left; where that does not suffice, such members share no tray.
    """
    needy = [(family.members, family.homeless) for family in families if family.homeless and stock.joined_footprints]
    spent = sum(pattern_work(stock, family.members) for family in families)
    chosen: dict[tuple[Sequence[int], Sequence[int]], None] = {}
    cut_short = False
    for members, homeless in sorted(needy, key=lambda some: (-sum(stock.worths[m] for m in some[1]), some)):
        for some, joined in ((members, homeless), *(((m,), (m,)) for m in homeless)):
            work = pattern_work(stock, some, joined=True)
            most = (1 + (len(some) == 1)) * MOST_PATTERN_WORK
            if (some, joined) not in chosen and spent + work <= most:
                spent += work
                chosen[some, joined] = None
                if some == members:
                    break
        cut_short |= (members, homeless) not in chosen
    return list(chosen), cut_short


def _affordable(stock: Assortment, windows: list[Sequence[int]]) -> tuple[list[Sequence[int]], bool]:
    """Return the families that patterns are found for, and whether some are left out: those that are worth least."""
    if sum(pattern_work(stock, window) for window in windows) <= MOST_PATTERN_WORK:
        return windows, False
    chosen: list[Sequence[int]] = []
    alone = dict.fromkeys(index for window in windows for index in window)
    spent = 0
    for window in sorted(windows, key=lambda members: (-sum(stock.worths[k] for k in members), members)):
        if spent + pattern_work(stock, window) <= MOST_PATTERN_WORK:
            spent += pattern_work(stock, window)
            chosen.append(window)
            for index in window:
                alone.pop(index, None)
    for index in sorted(alone, key=lambda k: (-stock.worths[k], k)):
        if spent + pattern_work(stock, (index,)) <= 2 * MOST_PATTERN_WORK:
            spent += pattern_work(stock, (index,))
            chosen.append((index,))
    return chosen, True


def _windows(stock: Assortment, members: Collection[int]) -> Iterator[Sequence[int]]:
    """Yield the families as far as they have these members, large ones as overlapping windows of things of a size."""
    present = dict.fromkeys(tuple(index for index in family if index in members) for family in stock.families)
    sets = {family: frozenset(family) for family in present}
    for family in present:
        if not family or any(sets[family] < other for other in sets.values()):
            continue
        if len(family) <= MOST_MEMBERS:
            yield family
            continue
        order = sorted(family, key=lambda index: (longest(stock.items[index].plain), index))
        last = len(order) - MOST_MEMBERS
        for start in dict.fromkeys((*range(0, last, _STEP), last)):
            yield tuple(sorted(order[start : start + MOST_MEMBERS]))
