"""The arrangement: where the trays of a drawer stand, once it is known which they are.

What is used often comes to the front, trays of a group stand side by side, and trays of one footprint in line. The
layout is mirrored as a whole, places are exchanged, neighbours swapped and trays moved to free places, as long as that
gains anything (local search by best exchange).
"""

from collections.abc import Iterator, Sequence

from worker.layout.placement.assortment import Assortment
from worker.layout.placement.bay import Anchor, Bay, Spot
from worker.layout.placement.region_solver import Standing
from worker.layout.placement.tray_columns import Column
from worker.spec.items.item import Item

__all__ = ["arrange"]

#: Rounds of exchanges, at most.
_ROUNDS = 6

#: What a tray in line with another of its width or depth is worth, in minutes.
_IN_LINE = 0.4


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
    board = _Board(stock, bay, anchors)
    trays = min(board.mirrored(standing), key=board.cost)
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

    def __init__(self, stock: Assortment, bay: Bay, anchors: Sequence[Anchor]) -> None:
        self.stock, self.bay, self.anchors = stock, bay, anchors

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

    def best_move(self, trays: list[Standing], number: int) -> list[Standing] | None:
        """Return the trays after the best move of one of them, or None when it stands best where it is."""
        best, least = None, self.cost(trays) - 1e-6
        for trial in self._moves(trays, number):
            cost = self.cost(trial)
            if cost < least:
                best, least = trial, cost
        return best

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

    def cost(self, trays: Sequence[Standing]) -> float:
        """Return what the places cost, in minutes."""
        weights, cost = self.stock.weights, 0.0
        middles: list[tuple[float, float]] = []
        for column, (x, y) in trays:
            middles.append(((x + column.halves[0] / 2.0) / 2.0, (y + column.halves[1] / 2.0) / 2.0))
            for index, _ in column.lanes:
                cost += weights.front.of(self.stock.items[index].access) * y / 2.0
            cost += 0.01 * (x + y)  # what is free lies together, at the back right
        for first, (column, _) in enumerate(trays):
            for second in range(first):
                cost += self._tie(column, trays[second][0]) * _distance(middles[first], middles[second])
                cost -= _IN_LINE * self._lines(trays[first], trays[second])
            for anchor in self.anchors:
                middle = (anchor.at[0] + anchor.halves[0] / 2.0) / 2.0, (anchor.at[1] + anchor.halves[1] / 2.0) / 2.0
                cost += self._pull(self._items(column), anchor.items) * _distance(middles[first], middle)
        return cost

    def _items(self, column: Column) -> list[Item]:
        return [self.stock.items[index] for index, _ in column.lanes]

    def _tie(self, column: Column, other: Column) -> float:
        return self._pull(self._items(column), self._items(other))

    def _pull(self, items: Sequence[Item], others: Sequence[Item]) -> float:
        """Return what each cell of distance between two trays costs."""
        weights = self.stock.weights
        names, theirs = {item.name for item in items}, {item.name for item in others}
        if any(item.near in theirs for item in items) or any(item.near in names for item in others):
            return weights.near
        groups = {item.group for item in items} & {item.group for item in others}
        return weights.apart if groups - {None} or names & theirs else 0.0

    @staticmethod
    def _lines(first: Standing, second: Standing) -> int:
        """Return how many edges two trays of one width or depth that touch have in line."""
        (column, (x, y)), (other, (u, v)) = first, second
        lines = 0
        if x == u and column.halves[0] == other.halves[0] and v in {y + column.halves[1], y - other.halves[1]}:
            lines += 1
        if y == v and column.halves[1] == other.halves[1] and u in {x + column.halves[0], x - other.halves[0]}:
            lines += 1
        return lines


def _swapped(first: Standing, second: Standing) -> tuple[Standing, Standing] | None:
    """Return two trays in each other's order where the second stands flush behind the first or to its right."""
    (column, (x, y)), (other, (u, v)) = first, second
    if x == u and column.halves[0] == other.halves[0] and v == y + column.halves[1]:
        return (column, (x, y + other.halves[1])), (other, (x, y))
    if y == v and column.halves[1] == other.halves[1] and u == x + column.halves[0]:
        return (column, (x + other.halves[0], y)), (other, (x, y))
    return None


def _distance(first: tuple[float, float], second: tuple[float, float]) -> float:
    return abs(first[0] - second[0]) + abs(first[1] - second[1])
