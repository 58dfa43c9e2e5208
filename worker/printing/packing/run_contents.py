"""The contents that a run may have so that all runs together hold everything: so many pieces of each kind."""

from collections.abc import Sequence
from itertools import product
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.printing.packing.bed_model import BedGrid
from worker.printing.packing.bed_surface import Size
from worker.printing.packing.lower_bound import HOURS_SLACK, SHARE_SLACK, scaled_sides, scalings

__all__ = ["Content", "PieceKind", "run_contents"]

#: The number of pieces of each kind.
Content: TypeAlias = tuple[int, ...]

#: So many contents are looked at, finished and unfinished: a tenth of a second.
_MOST_LOOKS: Final = 20_000


class PieceKind(NamedTuple):
    """What pieces have in common that can stand for each other: grown footprint, the longer side first, and hours."""

    size: Size
    hours: float
    setup: float


def run_contents(
    kinds: Sequence[PieceKind], counts: Content, grid: BedGrid, limit: float | None, runs: int
) -> list[Content] | None:
    """Return the contents of which each run of a packing in so many runs has one, or None if there are too many.

    No run may waste more area than all runs have to spare. A content's area and its areas scaled by dual feasible
    functions (see `worker.printing.packing.lower_bound`) do not exceed those of the bed, nor its hours the limit.

    Args:
        kinds: each fits the bed, and alone takes no more hours than the limit.
        counts: of all pieces.
        grid: the bed for these pieces.
        limit: the hours that a run may take with its setup, or ``None``.
        runs: at least 1.
    """
    search = _Search(kinds, counts, grid, limit)
    spare = runs * grid.area - sum(area * count for area, count in zip(search.areas, counts, strict=True))
    if spare >= 0:
        search.extend((), 0, np.zeros(len(search.shares)), max(grid.area - spare, 1))
    return search.contents if search.looks <= _MOST_LOOKS else None


class _Search:
    def __init__(self, kinds: Sequence[PieceKind], counts: Content, grid: BedGrid, limit: float | None) -> None:
        self.kinds, self.counts, self.whole, self.limit = kinds, counts, grid.area, limit
        sides = [grid.sides(kind.size) for kind in kinds]
        self.areas = [width * depth for width, depth in sides]
        self.rest = [sum(a * n for a, n in zip(self.areas[place:], counts[place:], strict=True))
                     for place in range(len(kinds) + 1)]  # fmt: skip
        self.shares = _shares(sides, grid.reach)
        self.contents: list[Content] = []
        self.looks = 0

    def extend(self, content: Content, area: int, shares: NDArray[np.float64], least: int) -> None:
        """Add all contents that begin with this one and cover at least an area, the fullest first."""
        self.looks += 1
        place = len(content)
        if self.looks > _MOST_LOOKS or area + self.rest[place] < least:
            return
        if place == len(self.kinds):
            self.contents.append(content)
            return
        most = min(self.counts[place], (self.whole - area) // self.areas[place])
        for count in range(most, -1, -1):
            longer, with_count = (*content, count), shares + count * self.shares[:, place]
            if with_count.max(initial=0.0) <= 1.0 + SHARE_SLACK and self._within_limit(longer):
                self.extend(longer, area + count * self.areas[place], with_count, least)

    def _within_limit(self, content: Content) -> bool:
        if self.limit is None or sum(content) < 2:  # noqa: PLR2004 - a piece alone has been checked
            return True
        held = [(kind, count) for kind, count in zip(self.kinds, content, strict=False) if count]
        hours = sum(kind.hours * count for kind, count in held) + max(kind.setup for kind, _ in held)
        return hours <= self.limit + HOURS_SLACK


def _shares(sides: Sequence[Size], whole: Size) -> NDArray[np.float64]:
    """Return the scaled area of each kind as a share of the bed's, by each pair of scalings, ``(pairs, kinds)``."""
    every = sorted({side for size in sides for side in size})
    across, along = ([scaled_sides(length, every, scaling) for scaling in scalings(every, length)] for length in whole)
    rows = [
        [min(f[x] * g[y] for x, y in (size, size[::-1]) if x in f and y in g) for size in sides]
        for f, g in product(across, along)
    ]
    return np.array(rows)
