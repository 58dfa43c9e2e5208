"""The bay: which half cells of a drawer are free, as the bits of one number."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

from worker.spec.items.item import Item

__all__ = ["Anchor", "Bay", "Spot", "block", "half_cells", "related"]

#: A half cell: across and front to back from the front left one.
Spot: TypeAlias = tuple[int, int]


def half_cells(cells: tuple[float, float]) -> Spot:
    """Return a place or a size that is given in cells, in half cells."""
    return round(2.0 * cells[0]), round(2.0 * cells[1])


@dataclass(frozen=True)
class Bay:
    """The free half cells of a drawer, row by row from the front, and the step in half cells that places go by."""

    free: tuple[tuple[bool, ...], ...]
    step: int = 1

    @staticmethod
    def open(across: int, back: int, *, step: int = 1) -> "Bay":
        """Return a bay that is free all over."""
        return Bay(((True,) * across,) * back, step)

    @property
    def across(self) -> int:
        """Half cells from left to right."""
        return len(self.free[0]) if self.free else 0

    @property
    def back(self) -> int:
        """Half cells from front to back."""
        return len(self.free)

    @cached_property
    def stride(self) -> int:
        """Bits in a row: one more than its half cells, so that nothing reaches from one row into the next."""
        return self.across + 1

    @cached_property
    def bits(self) -> int:
        """All free half cells as the bits of one number: bit ``y * stride + x``."""
        return sum(
            1 << (y * self.stride + x) for y, row in enumerate(self.free) for x, is_free in enumerate(row) if is_free
        )

    @cached_property
    def grid(self) -> int:
        """The half cells that a tray's corner may stand on, by the step."""
        return sum(
            1 << (y * self.stride + x)
            for y in range(0, self.back, self.step)
            for x in range(0, self.across, self.step)
        )  # fmt: skip

    def under(self, width: int, depth: int, at: Spot) -> int:
        """Return the bits under a tray."""
        return block(width, depth, self.stride) << (at[1] * self.stride + at[0])

    def corners(self, free: int, width: int, depth: int) -> int:
        """Return the half cells that the front left corner of a tray may stand on, as bits, of these free ones."""
        if width > self.across or depth > self.back:
            return 0
        return _runs(_runs(free, width, 1), depth, self.stride) & self.grid

    def spots(self, corners: int) -> Iterator[Spot]:
        """Yield the spots of these bits, front left first."""
        while corners:
            low = corners & -corners
            y, x = divmod(low.bit_length() - 1, self.stride)
            yield x, y
            corners ^= low

    def less(self, taken: Iterable[tuple[Spot, Spot]]) -> "Bay":
        """Return the bay without these rectangles of half cells: front left corner, and size."""
        return self._with(taken, free=False)

    def more(self, left: Iterable[tuple[Spot, Spot]]) -> "Bay":
        """Return the bay with these rectangles of half cells free, too: front left corner, and size."""
        return self._with(left, free=True)

    def _with(self, rectangles: Iterable[tuple[Spot, Spot]], *, free: bool) -> "Bay":
        rows = [list(row) for row in self.free]
        for (x, y), (width, depth) in rectangles:
            for row in rows[y : y + depth]:
                row[x : x + width] = [free] * len(row[x : x + width])
        return Bay(tuple(tuple(row) for row in rows), self.step)


def block(width: int, depth: int, stride: int) -> int:
    """Return the bits of a rectangle at the front left corner."""
    row = (1 << width) - 1
    return sum(row << (y * stride) for y in range(depth))


def _runs(bits: int, length: int, step: int) -> int:
    """Return the bits that begin a run of set bits, ``step`` bits apart, of this length."""
    done = 1
    while done < length:
        by = min(done, length - done)
        bits &= bits >> (by * step)
        done += by
    return bits


@dataclass(frozen=True)
class Anchor:
    """A tray that stays where it stands: what belongs to the items in it is to stand near it."""

    items: tuple[Item, ...]
    at: Spot
    halves: tuple[int, int]


def related(anchors: Iterable[Anchor], new: Collection[Item], step: int) -> tuple[Anchor, ...]:
    """Return the anchors that new items refer to, by group or by `near`, and that stand by the step.

    Args:
        anchors: trays that stay.
        new: items still to be placed.
        step: step of positions, in half cells.
    """
    names = {item.name for item in new}
    tied = {item.near for item in new if item.near is not None}
    groups = {item.group for item in new if item.group is not None}
    return tuple(
        anchor
        for anchor in anchors
        if any(item.group in groups or item.name in tied or item.near in names for item in anchor.items)
        # a tray placed on half cells may stand where positions now go by whole cells
        and not any(along % step for along in (*anchor.at, *anchor.halves))
    )
