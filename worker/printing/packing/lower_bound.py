"""The lower bound: how many runs any packing of some pieces needs."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from math import ceil
from typing import Final, TypeAlias

from worker.printing.packing.bed_surface import Size, Surface

#: Hours by which a run may miss its limit: rounding of sums.
HOURS_SLACK: Final = 1e-9

#: From so many kinds greed starts when it looks for pieces that are pairwise apart.
_STARTS: Final = 20

#: Of more shorter sides only about so many are tried, evenly spread: the bound may be lower for it, the time is.
_SIDES: Final = 40

#: Parts of a side at which lengths are rounded, and lengths below which pieces are left out, that `_scaled` tries.
_PARTS: Final = 6
_CUTS: Final = 8

#: Rounding of sums of a few hundred shares of a bed.
_SHARE_SLACK: Final = 1e-9

#: A piece for the bound: its grown footprint, the shorter side first, and its hours.
Kind: TypeAlias = tuple[Size, float]
_Clash: TypeAlias = Callable[[Kind, Kind], bool]


def least_runs(copies: Sequence[Kind], surface: Surface, limit: float | None) -> int:
    """Return how many runs these pieces of one group need at least.

    Leaving out small pieces needs no more runs, so the best bound of those for the pieces from some shorter side on
    holds for all. In such a set, what can share a bed with nothing has a bed each. The others need as many as the
    greatest of three says: their area over the bed's, both grown by the spacing; their hours over the limit; and how
    many of them cannot share a bed pairwise. `_scaled` may say more.

    Args:
        copies: one entry for each copy; each has a place on the bed, and none takes more hours than the limit.
        surface: the bed.
        limit: hours that a run may take, or ``None``.
    """

    @cache
    def clash(one: Kind, other: Kind) -> bool:
        if limit is not None and one[1] + other[1] > limit + HOURS_SLACK:
            return True
        return not surface.holds_both(one[0], other[0])

    counts = Counter(((min(size), max(size)), hours) for size, hours in copies)
    sides = sorted({kind[0][0] for kind in counts}, reverse=True)
    step = max(1, len(sides) // _SIDES)
    kinds: dict[Kind, int] = {}
    alone: set[Kind] = set()
    best = 0
    for place, side in enumerate(sides, start=1):
        new = {kind: count for kind, count in counts.items() if kind[0][0] == side}
        # with more pieces about, what was not alone before is not so now
        alone = {kind for kind in alone if all(clash(kind, other) for other in new)}
        kinds |= new
        alone |= {
            kind
            for kind, count in new.items()
            if all(clash(kind, other) for other in kinds if other != kind or count > 1)
        }
        if place % step and place < len(sides):
            continue
        rest = {kind: count for kind, count in kinds.items() if kind not in alone}
        area = -(-sum(kind[0][0] * kind[0][1] * count for kind, count in rest.items()) // surface.area)
        took = sum(kind[1] * count for kind, count in rest.items())
        hours = 0 if limit is None else ceil(took / (limit + HOURS_SLACK))
        best = max(best, sum(kinds[kind] for kind in alone) + max(area, hours, _apart(rest, clash)))
    return max(best, _scaled(counts, surface))


def _scaled(counts: Mapping[Kind, int], surface: Surface) -> int:
    """Return the area bound on the bed's bounding box with lengths rounded to what is left beside them.

    Dual feasible functions (Fekete and Schepers, "A general framework for bounds for higher-dimensional orthogonal
    packing problems", 2004, from memory): lengths that fit a side together still do as scaled, so no bed holds more
    than the area 1 of scaled pieces. A piece counts with the smaller of its two ways round.
    """
    if not counts:
        return 0
    sides = sorted({side for size, _ in counts for side in size})
    whole = surface.reach
    across, along = ([_scale(side, sides, how) for how in _hows(sides, side)] for side in whole)
    best = 0
    for f in across:
        for g in along:
            area = sum(
                count * min(f[x] * g[y] for x, y in (size, size[::-1]) if x in f and y in g)
                for (size, _), count in counts.items()
            )
            best = max(best, ceil(area - _SHARE_SLACK))
    return best


def _hows(sides: Sequence[int], whole: int) -> list[tuple[int, int]]:
    """Return ways to scale: rounding to parts ``(k, 0)``, leaving out what is under a cut ``(0, cut)``."""
    cuts = [side for side in sides if 2 * side <= whole][-_CUTS:]
    return [(0, 0), *((k, 0) for k in range(1, _PARTS)), *((0, cut) for cut in cuts)]


def _scale(whole: int, sides: Sequence[int], how: tuple[int, int]) -> dict[int, float]:
    """Return each side that is no longer than the whole as a share of it, scaled."""
    parts, cut = how
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


def _apart(counts: Mapping[Kind, int], clash: _Clash) -> int:
    """Return the size of a set of pieces of which no two can share a bed: the best that greed finds."""
    # of a kind that clashes with itself all copies count, of another one only one
    weight = {kind: count if clash(kind, kind) else 1 for kind, count in counts.items()}
    kinds = sorted(weight, key=lambda kind: (-weight[kind], -kind[0][0] * kind[0][1], kind))
    best = 0
    for start in kinds[:_STARTS]:
        chosen = [start]
        for kind in kinds:
            if kind != start and all(clash(kind, other) for other in chosen):
                chosen.append(kind)
        best = max(best, sum(weight[kind] for kind in chosen))
    return best
