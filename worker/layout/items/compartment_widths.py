"""Compartment widths: the narrowest compartments of items, and the smallest floor of a tray for several.

That is quick enough for thousands of groups of kinds; `worker.layout.items.shared_tray` builds the best of them.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from functools import lru_cache
from math import ceil, inf
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.layout.storage.compartment import Compartment, Kind, compartments
from worker.layout.storage.in_rows import FINGER_BREADTH
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["LONGEST", "MOST_ROWS", "MOST_TOGETHER", "WALLS", "Cover", "Pool", "longs", "rooms_of", "row_length"]

#: More kinds than these make a tray that nobody finds anything in (own choice): three rows of three.
MOST_TOGETHER: Final = 9

#: No side of a shared tray is longer, in half cells: who wants one thing does not lift out a whole drawer (own choice).
LONGEST: Final = 12

#: Longer ones are tried in whole cells only, to save time: half cells.
_FINE: Final = 4

#: Rows of compartments, at most.
MOST_ROWS: Final = 3

#: Heights of walls over the floor that compartments are chosen for, in mm: near enough for things that stand.
WALLS: Final = (9.0, 12.0, 14.5, 17.5, 21.0, 25.0, 30.0, 36.0, 43.0, 52.0, 62.0, 90.0)

#: So many groups are compared at a time.
_BATCH: Final = 256

#: What a mm2 weighs beside a half cell where covers are compared: no tray has so many that they add up to one.
_SHARE: Final = 1e-9

#: The narrowest compartments of a kind: by rows, length and height of walls; endless where there is none.
_Widths: TypeAlias = NDArray[np.float64]


class Cover(NamedTuple):
    """What a tray for a group of kinds covers at the least: half cells, mm2 that are needed of it, its short side."""

    floor: int
    need: float
    short: int


class Pool:
    """Kinds of one drawer, any of which may share a tray."""

    def __init__(self, items: Sequence[Item], ground: DrawerLimits) -> None:
        """Look the kinds' compartments up.

        Args:
            items: one a kind; groups name them by their index.
            ground: the drawer's.
        """
        self.ground = ground
        self._known: dict[int, Cover | None] = {}
        self._kinds = np.stack([_widths(Kind.of(item), ground) for item in items]) if items else np.empty((0, 0, 0, 0))

    def covers(self, groups: Sequence[Sequence[int]]) -> list[Cover | None]:
        """Return the least that a tray for each of these groups of kinds covers; None stands for no tray.

        That is what `worker.layout.items.shared_tray.share` finds, but for labels, ramps and the drawer's sides.
        """
        keys = [sum(1 << kind for kind in group) for group in groups]
        sizes: dict[int, dict[int, Sequence[int]]] = {}
        for key, group in zip(keys, groups, strict=True):
            if key not in self._known:
                sizes.setdefault(len(group), {})[key] = group
        for order in sizes.values():
            members = list(order.items())
            for start in range(0, len(members), _BATCH):
                batch = members[start : start + _BATCH]
                kinds = self._kinds[np.array([group for _, group in batch], dtype=np.intp).T]
                for (key, _), cover in zip(batch, _least(kinds, self.ground), strict=True):
                    self._known[key] = cover
        return [self._known[key] for key in keys]


def _least(kinds: _Widths, ground: DrawerLimits) -> Iterator[Cover | None]:
    """Yield what groups of as many kinds each cover: axes kind, group, rows, length, walls."""
    size = len(kinds)
    lengths = np.array(longs(ground, max(ground.span)), dtype=np.float64)[None, :, None]
    edges = 2.0 * (ground.joint.body_inset + ground.start("straight"))
    half = ground.pitch / 2.0
    need = np.full_like(kinds[0], inf)
    for row in range(min(MOST_ROWS, size)):
        rows = kinds[:, :, row]
        if row == 0:
            total = rows.sum(axis=0)
        elif row == size - 1:
            total = rows.max(axis=0)
        elif size == 3:  # noqa: PLR2004 - two columns, of the widest two and of the narrowest; quicker than to sort
            total = rows.max(axis=0) + rows.min(axis=0)
        else:
            total = -np.sort(-rows, axis=0)[:: row + 1].sum(axis=0)
        need[:, row] = total + (ceil(size / (row + 1)) - 1) * ground.wall
    wide = np.ceil((need + (edges - LENGTH_EPSILON)) / (half * ground.step)) * ground.step
    wide[wide > min(LONGEST, max(ground.span))] = inf
    # the least floor; of equal ones, that of which least is needed, as a share too small to weigh more than half a cell
    area = (need * lengths).reshape(len(need), -1)
    rank = (wide * lengths).reshape(len(need), -1) + area * _SHARE
    best = rank.argmin(axis=1)
    at = np.arange(len(need)), best
    long = np.broadcast_to(lengths, need.shape[1:]).reshape(-1)[best]
    across = wide.reshape(len(need), -1)[at]
    for width, other, needed in zip(across.tolist(), long.tolist(), (area[at] * half).tolist(), strict=True):
        yield None if width == inf else Cover(round(width * other), needed, round(min(width, other)))


@lru_cache(maxsize=4096)
def _widths(kind: Kind, ground: DrawerLimits) -> _Widths:
    lengths = longs(ground, max(ground.span))
    levels = [walls for walls in WALLS if ground.stand(walls, 0.0, "straight") is not None]
    table = np.full((MOST_ROWS, len(lengths), max(len(levels), 1)), inf)
    for row in range(MOST_ROWS):
        for at, long in enumerate(lengths):
            length = row_length(ground.usable(long, "straight"), row + 1, ground)
            if length < FINGER_BREADTH:
                continue
            # the narrowest comes last, and stays
            for compartment in reversed(rooms_of(kind, 0, length, ground, row + 1)):
                table[row, at, bisect_left(levels, compartment.walls) : bisect_right(levels, compartment.most)] = (
                    compartment.width
                )
    return table


def longs(ground: DrawerLimits, span: int) -> tuple[int, ...]:
    """Return the lengths of compartments, all rows together, in half cells: long ones in whole cells."""
    return tuple(
        long for long in range(ground.step, min(span, LONGEST) + 1, ground.step) if long <= _FINE or long % 2 == 0
    )


def row_length(length: float, rows: int, ground: DrawerLimits) -> float:
    """Return how long each of so many rows of compartments is."""
    return (length - (rows - 1) * ground.wall) / rows


@lru_cache(maxsize=8192)
def rooms_of(kind: Kind, axis: int, length: float, ground: DrawerLimits, rows: int) -> tuple[Compartment, ...]:
    """Return a kind's compartments that the drawer is high enough for, narrowest first."""
    return tuple(
        compartment
        for compartment in compartments(kind, axis, length, ground)
        # a divider of its own would go through the other rows, too
        if (rows == 1 or not compartment.inner)
        and ground.stand(compartment.walls, compartment.stack, "straight") is not None
    )
