"""The placement problem: trays to place on half cells, their positions, and the score of a solution.

A request is one tray that is wanted, with the sizes that it may have; a bay is the free part of a drawer; a fit says
where each request stands and in which size. Scores compare fits, objective by objective.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeAlias

from worker.spec.items.item import Access

__all__ = ["ACCESSES", "Bay", "Bill", "Fit", "GridPlace", "Request", "Score", "SizeChoice", "bill", "score", "ties"]

Spot: TypeAlias = tuple[int, int]

#: From what must find room first to what may go without.
ACCESSES: tuple[Access, ...] = ("often", "sometimes", "rarely")


@dataclass(frozen=True, slots=True)
class SizeChoice:
    """One size that a tray may have: half cells across and front to back, and its plastic in mm3."""

    width: int
    depth: int
    plastic: float = 0.0

    @property
    def area(self) -> int:
        """Half cells that it covers."""
        return self.width * self.depth

    @property
    def cost(self) -> int:
        """Its plastic in hundredths of a cubic centimetre, so that sums are exact."""
        return round(self.plastic / 10.0)


@dataclass(frozen=True, slots=True)
class Request:
    """One tray that is wanted.

    ``choices`` are its sizes, smallest first. ``holds`` counts the items in it by access: often, sometimes, rarely.
    ``near`` are indices of requests that it is to stand next to. ``pin`` is the half cell that its front left corner
    must stand on.
    """

    name: str
    choices: tuple[SizeChoice, ...]
    holds: tuple[int, int, int] = (0, 1, 0)
    group: str | None = None
    near: tuple[int, ...] = ()
    pin: Spot | None = None

    @property
    def often(self) -> bool:
        """Whether something in it is wanted often."""
        return self.holds[0] > 0


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


class GridPlace(NamedTuple):
    """Where a request stands: its front left half cell, and which of its choices it has."""

    x: int
    y: int
    choice: int


@dataclass(frozen=True, slots=True)
class Fit:
    """An answer: a place for each request, in their order, or None."""

    places: tuple[GridPlace | None, ...]


class Score(NamedTuple):
    """What fits are compared by, least first.

    ``missing`` counts the items without a place, often wanted ones first. ``front`` adds up how many half cells from
    the front the often wanted ones stand, ``spread`` half the girth of the box around each group and around each two
    that are to be near. ``plastic`` is in hundredths of a cubic centimetre.
    """

    missing: tuple[int, ...]
    front: int
    spread: int
    plastic: int


def ties(requests: Sequence[Request]) -> tuple[tuple[int, ...], ...]:
    """Return the requests that belong together: of one group, or near each other."""
    groups: dict[str, list[int]] = {}
    for index, request in enumerate(requests):
        if request.group is not None:
            groups.setdefault(request.group, []).append(index)
    groups_of_several = [tuple(group) for group in groups.values() if len(group) > 1]
    pairs = {(min(index, near), max(index, near)) for index, request in enumerate(requests) for near in request.near}
    return (*groups_of_several, *sorted(pair for pair in pairs if pair[0] != pair[1]))


def score(requests: Sequence[Request], fit: Fit) -> Score:
    """Return the score of a fit."""
    missing = [0, 0, 0]
    front = 0
    for request, place in zip(requests, fit.places, strict=True):
        if place is None:
            missing = [count + held for count, held in zip(missing, request.holds, strict=True)]
            continue
        if request.often:
            front += place.y
    spread = sum(_girth(requests, fit, tie) for tie in ties(requests))
    return Score(tuple(missing), front, spread, bill(requests, fit).plastic)


class Bill(NamedTuple):
    """What a fit takes: plastic in hundredths of a cubic centimetre, and half cells of floor."""

    plastic: int
    floor: int

    def within(self, most: "Bill | None") -> bool:
        """Return whether it is neither more plastic nor more floor than that."""
        return most is None or (self.plastic <= most.plastic and self.floor <= most.floor)


def bill(requests: Sequence[Request], fit: Fit) -> Bill:
    """Return what a fit takes."""
    pairs = zip(requests, fit.places, strict=True)
    taken = [request.choices[place.choice] for request, place in pairs if place is not None]
    return Bill(sum(choice.cost for choice in taken), sum(choice.area for choice in taken))


def _girth(requests: Sequence[Request], fit: Fit, members: Iterable[int]) -> int:
    """Return half the girth of the box around these requests, as far as they have places."""
    left = front = 1 << 30
    right = back = count = 0
    for index in members:
        place = fit.places[index]
        if place is None:
            continue
        choice = requests[index].choices[place.choice]
        left, front = min(left, place.x), min(front, place.y)
        right, back = max(right, place.x + choice.width), max(back, place.y + choice.depth)
        count += 1
    return right - left + back - front if count > 1 else 0
