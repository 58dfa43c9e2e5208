"""The arrangement: where the trays of a drawer stand, once it is known which they are.

What is used often comes to the front, trays of a group stand side by side, and trays of one footprint in line. The
layout is mirrored as a whole, places are exchanged, neighbours swapped and trays moved to free places, as long as that
gains anything (local search by best exchange).
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from worker.layout.placement.bay import Anchor, Bay, Spot
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.objective import Weights
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.placement.search.region_solver import Standing
from worker.spec.items.item import Item

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["arrange"]

#: Rounds of exchanges, at most.
_ROUNDS = 6

#: What a tray in line with another of its width or depth is worth, in minutes.
_IN_LINE = 0.4

#: Terms of a cost that are worked out at once, at most: bounds the memory.
_MOST_TERMS: Final = 200_000


def arrange(
    stock: Assortment, bay: Bay, standing: Sequence[Standing], anchors: Sequence[Anchor] = ()
) -> list[Standing]:
    """Return the same trays in better places.

    Args:
        stock: the things.
        bay: what is free for them.
        standing: the trays where they stand.
        anchors: trays that stay, near which trays of their group are to stand.
    """
    board = _Board(bay, _PlaceCosts(stock, [column for column, _ in standing], anchors))
    if not standing:
        return []
    trays = board.best(list(board.mirrored(standing)))
    for _ in range(_ROUNDS):
        moved = False
        for number in range(len(trays)):
            best = board.best_move(trays, number)
            if best is not None:
                trays = best
                moved = True
        if not moved:
            break
    return trays


class _Board:
    """The drawer that trays are moved about in."""

    def __init__(self, bay: Bay, costs: "_PlaceCosts") -> None:
        self.bay, self.costs = bay, costs

    def mirrored(self, trays: Sequence[Standing]) -> Iterator[list[Standing]]:
        """Yield the trays as they stand, and the whole layout mirrored where that keeps every tray on free cells."""
        for left_right in (False, True):
            for front_back in (False, True):
                moved = [
                    (
                        column,
                        (
                            self.bay.across - x - column.halves[0] if left_right else x,
                            self.bay.back - y - column.halves[1] if front_back else y,
                        ),
                    )
                    for column, (x, y) in trays
                ]
                if all(self._stands(column, at) for column, at in moved):
                    yield moved

    def _stands(self, column: Column, at: Spot) -> bool:
        """Return whether a tray may stand somewhere: on the step, with nothing but free cells under it."""
        under = self.bay.under(*column.halves, at)
        return not any(along % self.bay.step for along in at) and under & self.bay.bits == under

    def best(self, trials: Sequence[list[Standing]], gain: float = 0.0) -> list[Standing]:
        """Return the first of the layouts that cost least, or the first of all where that gains no more than this."""
        costs = self.costs.of([[at for _, at in trays] for trays in trials])
        best = int(costs.argmin())
        return trials[best if costs[best] < costs[0] - gain else 0]

    def best_move(self, trays: list[Standing], number: int) -> list[Standing] | None:
        """Return the trays after the best move of one of them, or None when it stands best where it is."""
        best = self.best([trays, *self._moves(trays, number)], gain=1e-6)
        return None if best is trays else best

    def _moves(self, trays: list[Standing], number: int) -> Iterator[list[Standing]]:
        column, at = trays[number]
        for other in range(len(trays)):
            beside, spot = trays[other]
            if other != number and beside.halves == column.halves:
                trial = list(trays)
                trial[number], trial[other] = (column, spot), (beside, at)
                yield trial
        for other, (beside, spot) in enumerate(trays):
            pair = _swapped((column, at), (beside, spot))
            if pair is not None and all(self._stands(*moved) for moved in pair):
                trial = list(trays)
                trial[number], trial[other] = pair
                yield trial
        free = self.bay.bits
        for other, (beside, spot) in enumerate(trays):
            if other != number:
                free &= ~self.bay.under(*beside.halves, spot)
        for spot in self.bay.spots(self.bay.corners(free, *column.halves)):
            if spot != at:
                yield [*trays[:number], (column, spot), *trays[number + 1 :]]


class _PlaceCosts:
    """What the places of trays cost, in minutes: many layouts of the same trays at once.

    The terms of a layout are added one after another, so that equal ones cost the same to the last bit. In a drawer of
    60 kinds in 40 trays 5,900 layouts take 0.2 s, one by one in plain Python 4.4 s.
    """

    def __init__(self, stock: Assortment, columns: Sequence[Column], anchors: Sequence[Anchor]) -> None:
        weights = stock.weights
        items = [[stock.items[index] for index, _ in column.lanes] for column in columns]
        self._halves = np.array([column.halves for column in columns], dtype=np.intp).reshape(-1, 2)
        front = [(number, weights.front.of(item.access)) for number, own in enumerate(items) for item in own]
        self._fronts = np.array([number for number, _ in front], dtype=np.intp)
        self._front = np.array([cost for _, cost in front])
        same = self._halves[:, None, :] == self._halves[None, :, :]
        pulls = {
            (first, second): _pull(weights, items[first], items[second])
            for first in range(len(columns))
            for second in range(first)
        }
        pairs = [pair for pair, pull in pulls.items() if pull or same[pair].any()]
        self._first, self._second = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
        self._pulls = np.array([pulls[pair] for pair in pairs])
        self._same = same[self._first, self._second]
        self._anchors = [
            ((anchor.at[0] + anchor.halves[0] / 2.0) / 2.0, (anchor.at[1] + anchor.halves[1] / 2.0) / 2.0)
            for anchor in anchors
        ]
        self._anchored = np.array([[_pull(weights, own, anchor.items) for anchor in anchors] for own in items])
        trays = range(len(columns))
        order = [
            *((0, number, 0, 0) for number, _ in front),
            *((0, number, 1, 0) for number in trays),
            *((1, first, second, 0) for first, second in pairs),
            *((1, first, second, 1) for first, second in pairs),
            *((1, number, len(columns), 0) for _ in anchors for number in trays),
        ]
        self._order = np.array(sorted(range(len(order)), key=order.__getitem__), dtype=np.intp)

    def of(self, places: Sequence[Sequence[Spot]]) -> "NDArray[np.float64]":
        """Return what each layout costs, ``(n,)``; a layout is the front left half cell of each tray."""
        spots = np.array(places, dtype=np.intp).reshape(len(places), -1, 2)
        step = max(_MOST_TERMS // max(len(self._pulls), 1), 1)
        return np.concatenate([self._of(spots[k : k + step]) for k in range(0, len(spots), step)])

    def _of(self, spots: "NDArray[np.intp]") -> "NDArray[np.float64]":
        middles = (spots + self._halves / 2.0) / 2.0
        away = np.abs(middles[:, self._first] - middles[:, self._second]).sum(axis=2)
        terms = [
            self._front * spots[:, self._fronts, 1] / 2.0,
            0.01 * spots.sum(axis=2),  # what is free lies together, at the back right
            self._pulls * away,
            -_IN_LINE * self._lines(spots),
        ]
        for number, middle in enumerate(self._anchors):
            terms.append(self._anchored[:, number] * np.abs(middles - middle).sum(axis=2))
        costs: NDArray[np.float64] = np.add.accumulate(np.concatenate(terms, axis=1)[:, self._order], axis=1)[:, -1]
        return costs

    def _lines(self, spots: "NDArray[np.intp]") -> "NDArray[np.intp]":
        """Return how many edges two trays of one width or depth that touch have in line, for each pair."""
        first, second = spots[:, self._first], spots[:, self._second]
        touching = (second == first + self._halves[self._first]) | (second == first - self._halves[self._second])
        in_line = (first == second) & self._same & touching[:, :, ::-1]
        lines: NDArray[np.intp] = in_line.sum(axis=2)
        return lines


def _pull(weights: Weights, items: Sequence[Item], others: Sequence[Item]) -> float:
    """Return what each cell of distance between two trays costs."""
    names, theirs = {item.name for item in items}, {item.name for item in others}
    if any(item.near in theirs for item in items) or any(item.near in names for item in others):
        return weights.near
    groups = {item.group for item in items} & {item.group for item in others}
    return weights.apart if groups - {None} or names & theirs else 0.0


def _swapped(first: Standing, second: Standing) -> tuple[Standing, Standing] | None:
    """Return two trays in each other's order where the second stands flush behind the first or to its right."""
    (column, (x, y)), (other, (u, v)) = first, second
    if x == u and column.halves[0] == other.halves[0] and v == y + column.halves[1]:
        return (column, (x, y + other.halves[1])), (other, (x, y))
    if y == v and column.halves[1] == other.halves[1] and u == x + column.halves[0]:
        return (column, (x + other.halves[0], y)), (other, (x, y))
    return None
