"""The lower bound of the number of runs that any packing of given pieces needs."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from math import ceil, gcd, prod
from typing import Final, TypeAlias

from worker.printing.packing.bed_surface import Size, Surface
from worker.printing.packing.side_sums import MOST_STEPS, longest, with_copies

#: Hours by which a sum of times may exceed the limit: rounding.
HOURS_SLACK: Final = 1e-9

#: The kinds from which the greedy search for pairwise conflicting pieces starts, at most.
_STARTS: Final = 20

#: The shorter sides tried, about; of more an even sample is tried, which may lower the bound.
_SIDES: Final = 40

#: The scalings that `_scaled` tries: roundings to 1 .. `_PARTS` - 1 parts of a side, and the longest `_CUTS` cuts.
_PARTS: Final = 6
_CUTS: Final = 8

#: Rounding of sums of a few hundred fractions of a bed.
SHARE_SLACK: Final = 1e-9

#: A piece for the bound: its grown footprint in units, the shorter side first, and its hours.
Kind: TypeAlias = tuple[Size, float]
_Conflict: TypeAlias = Callable[[Kind, Kind], bool]


def least_runs(copies: Sequence[Kind], surface: Surface, limit: float | None) -> int:
    """Return a lower bound of the runs for the pieces of one group.

    Leaving out small pieces never needs more runs, so a bound for the pieces from some shorter side up holds for all.
    In such a set, each piece that can share a bed with no other needs its own bed. The others need at least the
    greatest of: their area over what they can cover of the bed, both grown by the spacing; their hours over the limit;
    and the size of a set of pieces that conflict pairwise. The bound of `_scaled` is taken where it is higher.

    Args:
        copies: one entry for each copy; each fits the bed, and none takes more hours than the limit.
        surface: the bed.
        limit: the hours that a run may take, or ``None``.
    """

    @cache
    def conflict(first: Kind, second: Kind) -> bool:
        if limit is not None and first[1] + second[1] > limit + HOURS_SLACK:
            return True
        return not surface.holds_both(first[0], second[0])

    counts = Counter(((min(size), max(size)), hours) for size, hours in copies)
    sides = sorted({kind[0][0] for kind in counts}, reverse=True)
    step = max(1, len(sides) // _SIDES)
    kinds: dict[Kind, int] = {}
    alone: set[Kind] = set()
    best = 0
    covered = _Covered(counts, surface)
    for place, side in enumerate(sides, start=1):
        new = {kind: count for kind, count in counts.items() if kind[0][0] == side}
        # a piece that shares a bed in a smaller set does so in a larger one
        alone = {kind for kind in alone if all(conflict(kind, other) for other in new)}
        kinds |= new
        covered.add(new)
        alone |= {
            kind
            for kind, count in new.items()
            if all(conflict(kind, other) for other in kinds if other != kind or count > 1)
        }
        if place % step and place < len(sides):
            continue
        rest = {kind: count for kind, count in kinds.items() if kind not in alone}
        area = -(-sum(kind[0][0] * kind[0][1] * count for kind, count in rest.items()) // covered.area)
        total = sum(kind[1] * count for kind, count in rest.items())
        hours = 0 if limit is None else ceil(total / (limit + HOURS_SLACK))
        best = max(best, sum(kinds[kind] for kind in alone) + max(area, hours, _apart(rest, conflict)))
    return max(best, _scaled(counts, surface))


class _Covered:
    """The area of a bed that pieces can cover: no row of them is longer than the longest sum of their sides.

    It raises the bound of 3 of 60 random jobs of trays on cells of 42 mm.
    """

    def __init__(self, kinds: Iterable[Kind], surface: Surface) -> None:
        self._surface = surface
        self._step = max(gcd(*(side for size, _ in kinds for side in size)), 1)
        self._reach = [length // self._step for length in surface.reach]
        self._sums = [1, 1] if len(surface.boxes) == 1 and max(self._reach) <= MOST_STEPS else []

    def add(self, kinds: Iterable[Kind]) -> None:
        """Add pieces, any number of each."""
        for side in sorted({side // self._step for size, _ in kinds for side in size} if self._sums else ()):
            self._sums = [with_copies(sums, side, most) for sums, most in zip(self._sums, self._reach, strict=True)]

    @property
    def area(self) -> int:
        """The area in square units, 1 without pieces."""
        if not self._sums:
            return self._surface.area
        return max(prod(longest(sums) * self._step for sums in self._sums), 1)


def _scaled(counts: Mapping[Kind, int], surface: Surface) -> int:
    """Return the area bound on the bed's bounding box for sides scaled by dual feasible functions.

    Source: Fekete and Schepers, "A general framework for bounds for higher-dimensional orthogonal packing problems",
    2004, from memory. Sides that fit the bed together still fit when scaled, so no bed holds scaled pieces of more than
    area 1. Each piece counts with the smaller of its two orientations.
    """
    if not counts:
        return 0
    sides = sorted({side for size, _ in counts for side in size})
    whole = surface.reach
    across, along = ([scaled_sides(side, sides, scaling) for scaling in scalings(sides, side)] for side in whole)
    best = 0
    for f in across:
        for g in along:
            area = sum(
                count * min(f[x] * g[y] for x, y in (size, size[::-1]) if x in f and y in g)
                for (size, _), count in counts.items()
            )
            best = max(best, ceil(area - SHARE_SLACK))
    return best


def scalings(sides: Sequence[int], whole: int) -> list[tuple[int, int]]:
    """Return the scalings to try: ``(0, 0)`` none, ``(k, 0)`` rounding to k parts, ``(0, cut)`` a cut."""
    cuts = [side for side in sides if 2 * side <= whole][-_CUTS:]
    return [(0, 0), *((k, 0) for k in range(1, _PARTS)), *((0, cut) for cut in cuts)]


def scaled_sides(whole: int, sides: Sequence[int], scaling: tuple[int, int]) -> dict[int, float]:
    """Return each side up to ``whole`` as a scaled fraction of it."""
    parts, cut = scaling
    scaled: dict[int, float] = {}
    for side in sides:
        if side > whole:
            continue
        if parts and (parts + 1) * side % whole:
            scaled[side] = (parts + 1) * side // whole / parts
        elif side < cut:
            scaled[side] = 0.0
        else:
            scaled[side] = 1.0 if whole - side < cut else side / whole
    return scaled


def _apart(counts: Mapping[Kind, int], conflict: _Conflict) -> int:
    """Return the size of the largest set of pairwise conflicting pieces that a greedy search finds."""
    # all copies of a kind that conflicts with itself count, otherwise one copy
    weight = {kind: count if conflict(kind, kind) else 1 for kind, count in counts.items()}
    kinds = sorted(weight, key=lambda kind: (-weight[kind], -kind[0][0] * kind[0][1], kind))
    best = 0
    for start in kinds[:_STARTS]:
        chosen = [start]
        for kind in kinds:
            if kind != start and all(conflict(kind, other) for other in chosen):
                chosen.append(kind)
        best = max(best, sum(weight[kind] for kind in chosen))
    return best
