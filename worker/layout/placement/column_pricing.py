"""Pricing: the columns that are worth more than their prices.

For a family of like things, a length of lanes and a height of walls one knapsack finds the best lanes for every width
of tray at once (Gilmore and Gomory's pricing of cutting patterns, Operations Research 11, 1963, from memory). Prices on
things and on floor, taken from the dual of the packing's linear relaxation, steer it to columns that go well together.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from worker.layout.placement.tray_columns import LANE_UNIT, Assortment, Column, ColumnKey, Footprint, Offer
from worker.layout.storage.lane import Lane
from worker.layout.storage.sizing_rules import LEDGE
from worker.spec.drawer.tray import MOST_DIVIDERS

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["columns"]


class _Choice(NamedTuple):
    """One lane that a kind may have: its width in units, and its gain in minutes."""

    units: int
    gain: float
    lane: Lane


#: A kind, by its index, with its choices.
_Row = tuple[int, list[_Choice]]


def columns(
    stock: Assortment,
    left: Mapping[int, int],
    *,
    prices: Mapping[int, float] | None = None,
    cell_price: float = 0.0,
    footprints: Collection[Footprint] | None = None,
    any_value: bool = False,
) -> dict[ColumnKey, Column]:
    """Return the columns whose value is more than the prices of what is in them and of their floor, by their keys.

    Args:
        stock: the things.
        left: how many of each kind are to be placed, by index.
        prices: of a place for all things of each kind, in minutes.
        cell_price: of a half cell of floor, in minutes.
        footprints: that trays may have; None: any.
        any_value: whether columns are returned that cost more than they are worth, too.
    """
    allowed = stock.footprints if footprints is None else frozenset(footprints)
    pricing = _Pricing(stock, left, prices or {}, -inf if any_value else cell_price, allowed)
    best: dict[ColumnKey, Column] = {}
    for column in (*pricing.shared(), *pricing.recessed()):
        before = best.get(column.key)
        if before is None or column.value > before.value:
            best[column.key] = column
    return best


@dataclass(frozen=True)
class _Pricing:
    """What columns are priced by: see `columns`."""

    stock: Assortment
    left: Mapping[int, int]
    prices: Mapping[int, float]
    cell_price: float
    allowed: frozenset[Footprint]

    def shared(self) -> Iterator[Column]:
        """Yield the best columns of each family."""
        present = dict.fromkeys(
            tuple(index for index in family if self.left.get(index, 0) > 0) for family in self.stock.families
        )
        for members in present:
            if not members or any(set(members) < set(other) for other in present):
                continue
            labelled = any(self._label(index) for index in members)
            for ledge in (False, True) if labelled else (False,):
                for side in self.stock.long_sides:
                    # a ledge takes no more than half the room (worker.layout.tray.ramp_and_ledge)
                    if not ledge or self.stock.usable(side) >= 2.0 * LEDGE.depth:
                        yield from self._patterns(members, side, ledge=ledge)

    def recessed(self) -> Iterator[Column]:
        """Yield the columns in which each thing has a pocket."""
        for index, count in self.left.items():
            if count == self.stock.items[index].count:
                for column in self.stock.recessed(index):
                    if column.halves in self.allowed and self._pays(column):
                        yield column

    def _label(self, index: int) -> bool:
        return self.stock.items[index].label_text is not None

    def _pays(self, column: Column) -> bool:
        items = self.stock.items
        paid = sum(self.prices.get(index, 0.0) * count / items[index].count for index, count in column.counts)
        return column.value > paid + self.cell_price * column.area

    def _patterns(self, members: Sequence[int], side: int, *, ledge: bool) -> Iterator[Column]:
        """Yield the best column for each width of trays whose lanes are so long."""
        widths = {wide for wide, deep in self.allowed if deep == side}
        if not ledge:
            widths |= {deep for wide, deep in self.allowed if wide == side}
        offered = [
            (index, offers)
            for index in members
            if ledge or not self._label(index)
            if (offers := self._offers(index, side, ledge=ledge))
        ]
        if not widths or not offered or (ledge and not any(self._label(index) for index, _ in offered)):
            return
        most = self._units(max(widths))
        for number in sorted({offer.levels[0] for _, offers in offered for offer in offers}):
            rows = [
                (index, choices)
                for index, offers in offered
                if (choices := list(self._choices(index, offers, number, most)))
            ]
            if rows:
                yield from self._best_widths(rows, number, side, sorted(widths), ledge=ledge)

    def _units(self, wide: int) -> int:
        """Return how many units of width the room of a tray has, with one more divider."""
        return int((self.stock.usable(wide) + self.stock.ground.wall) / LANE_UNIT + 1e-6)

    def _offers(self, index: int, side: int, *, ledge: bool) -> list[Offer]:
        """Return the lanes that take all that is left of a kind, or some where it may be split."""
        whole = min(self.left[index], self.stock.items[index].count)
        return [
            offer
            for offer in self.stock.offers(index, side, ledge=ledge)
            if offer.lane.count == whole or (offer.lane.count < whole and self.stock.bulky[index])
        ]

    def _choices(self, index: int, offers: Sequence[Offer], number: int, most: int) -> Iterator[_Choice]:
        """Yield the lanes that walls of this level suit."""
        price = self.prices.get(index, 0.0) / self.stock.items[index].count
        for offer in offers:
            if offer.levels[0] <= number <= offer.levels[1] and offer.units <= most:
                gain = offer.gain - price * offer.lane.count - offer.divider * self.stock.levels[number]
                if gain > 0.0:
                    yield _Choice(offer.units, gain, offer.lane)

    def _best_widths(
        self, rows: Sequence[_Row], number: int, side: int, widths: Sequence[int], *, ledge: bool
    ) -> Iterator[Column]:
        stock, level = self.stock, self.stock.levels[number]
        picks, gains = _knapsack(rows, self._units(widths[-1]))
        seen: set[tuple[tuple[int, int, float], ...]] = set()
        for wide in widths:
            gain = float(gains[self._units(wide)])
            sizes = [
                (axis, halves)
                for axis, halves in ((0, (wide, side)), (1, (side, wide)))
                if halves in self.allowed
                and not (axis and (ledge or wide == side))
                and gain > stock.least_cost(halves, level, ledge=ledge) + self.cell_price * halves[0] * halves[1]
            ]
            if not sizes:
                continue
            chosen = _picked(rows, picks, self._units(wide))
            key = tuple((index, lane.count, lane.width) for index, lane in chosen)
            if not chosen or key in seen:
                continue
            seen.add(key)
            if len(chosen) - 1 + sum(lane.inner for _, lane in chosen) > MOST_DIVIDERS:
                continue
            for axis, halves in sizes:
                column = stock.column(halves, axis, chosen, level, ledge=ledge)
                if self._pays(column):
                    yield column


def _knapsack(rows: Sequence[_Row], most: int) -> "tuple[list[NDArray[np.int8]], NDArray[np.float64]]":
    """Return which choice of each kind is best for each width in units, -1 for none, and what all of them gain.

    The arrays are ``(most + 1,)``: int8, and float64 in minutes.
    """
    best = np.zeros(most + 1)
    picks: list[NDArray[np.int8]] = []
    for _, choices in rows:
        pick = np.full(most + 1, -1, dtype=np.int8)
        grown = best.copy()
        for number, (units, gain, _) in enumerate(choices):
            candidate = best[: most + 1 - units] + gain
            better = candidate > grown[units:] + 1e-9
            grown[units:][better] = candidate[better]
            pick[units:][better] = number
        best = grown
        picks.append(pick)
    return picks, best


def _picked(rows: Sequence[_Row], picks: "Sequence[NDArray[np.int8]]", units: int) -> list[tuple[int, Lane]]:
    """Return the best lanes within a width."""
    chosen: list[tuple[int, Lane]] = []
    for (index, choices), pick in zip(reversed(rows), reversed(picks), strict=True):
        number = int(pick[units])
        if number >= 0:
            chosen.append((index, choices[number].lane))
            units -= choices[number].units
    return chosen
