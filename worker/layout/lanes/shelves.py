"""Rows of lanes: things shared out over rows of one depth, greedily, in a rectangle of a drawer's bottom.

A row runs along u, rows lie beside each other along v. For a drawer divided from back to front, u is x and v is y
counted from the back; for a drawer divided from side to side, u is y and v is x counted from the right.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Final, Literal, TypeAlias

from worker.layout.lanes.need import LaneNeed, Pile, arranged
from worker.layout.panels.profile import STUB
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["DIVIDER", "LaneItem", "LaneRow", "gross_depth", "least_need", "rows_of"]

#: Width kept for a panel between two lanes, mm: more than the thickest that is chosen.
DIVIDER: Final = 4.2

#: How the first things of a row choose its depth: as shallow as they can lie, or in the least area.
Rule: TypeAlias = Literal["shallow", "compact"]


@dataclass(frozen=True)
class LaneItem:
    """An item that is to have a lane: its JSON Pointer, and the piles of its things along u and v."""

    pointer: str
    item: Item
    piles: tuple[Pile, ...]


@dataclass
class LaneRow:
    """A row: its least depth, and the lanes in it with their items, in order along u; mm."""

    depth: float
    lanes: list[tuple[LaneItem, LaneNeed]] = field(default_factory=list)

    @property
    def length(self) -> float:
        """What its lanes take along u with the panels between them."""
        return sum(need.width for _, need in self.lanes) + DIVIDER * (len(self.lanes) - 1)


def rows_of(
    things: Sequence[LaneItem], length: float, depth: float, rule: Rule
) -> tuple[list[LaneRow], list[LaneItem]]:
    """Return rows that take the things in their order, and what has no place in them.

    A row is opened by the first things that still fit; all that fit beside them follow, at the least width each.

    Args:
        things: in the order in which they are taken.
        length: of the rectangle along u, mm.
        depth: of the rectangle along v, mm.
        rule: how a row's depth is chosen.
    """
    rows: list[LaneRow] = []
    left = list(things)
    while left:
        used = sum(gross_depth(row.depth, inner=True) + DIVIDER for row in rows)
        opened = _opened(left, length, depth - used - (2.0 * STUB if rows else 0.0), rule)
        if opened is None:
            break
        first, need = opened
        row = LaneRow(need.depth, [opened])
        left.remove(first)
        for other in tuple(left):
            best = _narrowest(other, row.depth)
            if best is not None and row.length + DIVIDER + best.width <= length + LENGTH_EPSILON:
                row.lanes.append((other, best))
                left.remove(other)
        rows.append(row)
    return rows, left


def gross_depth(depth: float, *, inner: bool) -> float:
    """Return the depth of a row with the stubs of panels that are let through its edges: two of an inner row, mm."""
    return depth + STUB * (2.0 if inner else 1.0)


def _opened(things: Sequence[LaneItem], length: float, depth: float, rule: Rule) -> tuple[LaneItem, LaneNeed] | None:
    for thing in things:
        options = [
            need for need in _depths(thing, depth) if need.width <= length + LENGTH_EPSILON
        ]  # fmt: skip
        if options:
            key = _shallow if rule == "shallow" else _compact
            return thing, min(options, key=key)
    return None


def _shallow(need: LaneNeed) -> tuple[float, float]:
    return need.depth, need.width


def _compact(need: LaneNeed) -> tuple[float, float]:
    return need.depth * need.width, need.depth


def _depths(thing: LaneItem, depth: float) -> list[LaneNeed]:
    """Return the lanes of a thing for each number of rows of piles that fits a depth."""
    needs = []
    for pile in thing.piles:
        for rows in range(1, ceil(thing.item.count / pile.layers) + 1):
            need = arranged(pile, thing.item.count, depth, most_rows=rows)
            if need is None or need.rows < rows:
                break
            needs.append(need)
    return needs


def _narrowest(thing: LaneItem, depth: float) -> LaneNeed | None:
    needs = [need for pile in thing.piles if (need := arranged(pile, thing.item.count, depth)) is not None]
    return min(needs, key=lambda need: (need.width, need.depth), default=None)


def least_need(thing: LaneItem, length: float) -> LaneNeed | None:
    """Return the lane of the least area that a thing could have in a drawer of this length along u."""
    options = [need for need in _depths(thing, float("inf")) if need.width <= length + LENGTH_EPSILON]
    return min(options, key=_compact, default=None)
