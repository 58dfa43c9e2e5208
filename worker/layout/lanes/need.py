"""The need of a lane: the room that things of one kind take, in rows of piles on a drawer's bare bottom."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, inf
from typing import Final

from worker.layout.storage.poses import lying_poses, poses
from worker.layout.storage.reach import FINGER_GAP
from worker.layout.tray.interior import on_grid
from worker.spec.items.handling import pile_height
from worker.spec.items.item import Item
from worker.spec.items.shape import Cylinder, Screw
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["LEAST_LANE", "LaneNeed", "Pile", "arranged", "content_size", "piles_of"]

#: Air between two things, and in all between things and both sides of their lane, mm: for a fingertip on one side, and
#: so that nothing stands on the base of a clip.
_BESIDE: Final = 3.0
_CLEAR: Final = FINGER_GAP + 5.0
#: Least width and depth of a lane, mm: the end shoes of panels have room beside each other.
LEAST_LANE: Final = 55.0
#: Ratio of the height of a pile to its smaller side up to which it stands between panels (own choice).
_MOST_SLENDER: Final = 2.5


@dataclass(frozen=True, slots=True)
class Pile:
    """A pile of things of one kind: width along x, depth along y, number in a pile, and its height, mm."""

    width: float
    depth: float
    layers: int
    top: float


@dataclass(frozen=True, slots=True)
class LaneNeed:
    """Things of one kind: the least width and depth of their lane, columns and rows of piles, their number; mm."""

    width: float
    depth: float
    columns: int
    rows: int
    pile: Pile
    count: int

    @property
    def capacity(self) -> int:
        """The number of things that the piles take."""
        return self.columns * self.rows * self.pile.layers


def piles_of(item: Item, height: float) -> list[Pile]:
    """Return the piles that an item's things may form under a height, mm, each the highest in its pose."""
    piles = []
    for width, depth, high in dict.fromkeys(_sizes(item)):
        pressed = high if item.soft is None or item.soft.height is None else item.soft.height
        step = pressed if item.nest is None else item.nest
        if high > height + LENGTH_EPSILON:
            continue
        limit = max(min(height, _MOST_SLENDER * min(width, depth)), high)
        layers = min(item.count, 1 + int((limit - high) / step + LENGTH_EPSILON))
        top = max(high, pressed * layers) if item.nest is None else high + (layers - 1) * step
        piles.append(Pile(width, depth, layers, on_grid(top)))
    return piles


def _sizes(item: Item) -> Iterator[tuple[float, float, float]]:
    """Yield the boxes around a thing in the poses that the item allows; by default round things lie."""
    shape = item.plain
    every = poses(shape)
    match item.pose:
        case "any":
            chosen = every
        case "flat":
            chosen = lying_poses(every)
        case "upright":
            highest = max(pose.size[2] for pose in every)
            chosen = tuple(pose for pose in every if pose.size[2] == highest)
        case "on_edge":
            middle = sorted(every[0].size)[1]
            chosen = tuple(pose for pose in every if pose.size[2] == middle)
        case _ if item.nest is not None:
            # a nested pile stands on its lowest thing
            chosen = tuple(pose for pose in every if pose.size[2] == pile_height(shape))
        case _ if isinstance(shape, Cylinder | Screw):
            chosen = lying_poses(every)
        case _:
            # the first pose is the one that the shape describes
            chosen = tuple(pose for pose in every if pose.size[2] == every[0].size[2])
    for pose in chosen:
        yield pose.size


def arranged(pile: Pile, count: int, depth: float, most_rows: int | None = None) -> LaneNeed | None:
    """Return the narrowest lane of a number of things that is no deeper than ``depth`` mm; None if none is.

    Args:
        pile: how they lie.
        count: their number.
        depth: greatest depth, mm; infinite only with ``most_rows``.
        most_rows: most rows of piles.
    """
    if _depth(pile, 1) > depth + LENGTH_EPSILON:
        return None
    piles = ceil(count / pile.layers)
    rows = piles if most_rows is None else min(piles, most_rows)
    if depth < inf:
        rows = min(rows, int((depth - _CLEAR + _BESIDE) / (pile.depth + _BESIDE) + LENGTH_EPSILON))
    columns = ceil(piles / rows)
    width = max(columns * (pile.width + _BESIDE) - _BESIDE + _CLEAR, LEAST_LANE)
    return LaneNeed(width, _depth(pile, rows), columns, rows, pile, count)


def _depth(pile: Pile, rows: int) -> float:
    return max(rows * (pile.depth + _BESIDE) - _BESIDE + _CLEAR, LEAST_LANE)


def content_size(need: LaneNeed) -> tuple[float, float, float]:
    """Return the box around the things of a lane, mm."""
    pile = need.pile
    return (
        on_grid(need.columns * (pile.width + _BESIDE) - _BESIDE),
        on_grid(need.rows * (pile.depth + _BESIDE) - _BESIDE),
        pile.top,
    )
