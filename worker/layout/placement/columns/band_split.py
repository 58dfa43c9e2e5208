"""Band split: the least depth of a tray of one width for every subset of a family, in one to three bands.

A subset is a number whose bits are the members in it. What a band takes follows from its lanes; the best split of a
subset into bands is that of one part as the back band and the best split of the rest (dynamic programming over
subsets).
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["ENDLESS", "MOST_BANDS", "BandSplit", "BandWidths", "subset_sums"]

#: More than any room: a length or a width that does not fit.
ENDLESS: Final = 1e7

#: Bands behind each other in a tray, at most.
MOST_BANDS: Final = 3


def subset_sums(values: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Return the sums of all subsets along the first axis: ``(n, ...)`` gives ``(2^n, ...)``.

    They are added in the order of the members, so that the same values give the same bits everywhere.
    """
    sums = np.zeros((1, *values.shape[1:]))
    for value in values:
        sums = np.concatenate([sums, sums + value])
    return sums


class _Pairs(NamedTuple):
    """All pairs of a subset's part and the rest, both of them not empty, subset by subset.

    ``starts`` is where the pairs of each of ``subsets`` begin.
    """

    subsets: "NDArray[np.intp]"
    starts: "NDArray[np.intp]"
    parts: "NDArray[np.intp]"
    rests: "NDArray[np.intp]"


@lru_cache(maxsize=16)
def _pairs(members: int) -> _Pairs:
    subsets: list[int] = []
    starts: list[int] = []
    parts: list[int] = []
    rests: list[int] = []
    for subset in range(1, 1 << members):
        if subset & (subset - 1):
            subsets.append(subset)
            starts.append(len(parts))
            part = (subset - 1) & subset
            while part:
                parts.append(part)
                rests.append(subset ^ part)
                part = (part - 1) & subset
    return _Pairs(*(np.array(column, dtype=np.intp) for column in (subsets, starts, parts, rests)))


@dataclass(frozen=True, eq=False)
class BandWidths:
    """The widths that subsets take in bands of each length, for one height of walls.

    ``lengths`` is ``(m,) float64``, rising, in mm; ``front`` and ``back`` are the widths that each member takes in a
    band of each length with a divider beside it, ``(n, m) float64``, in a band in front and in the one behind, where
    labels are. ``wall`` is the thickness of a divider, ``labelled`` says which subsets have labels, ``(2^n,) bool``;
    their tray has a label ledge that is ``ledge`` mm deep.
    """

    lengths: "NDArray[np.float64]"
    front: "NDArray[np.float64]"
    back: "NDArray[np.float64]"
    wall: float
    labelled: "NDArray[np.bool_]"
    ledge: float

    @cached_property
    def fronts(self) -> "NDArray[np.float64]":
        """What each subset takes in a band in front, ``(2^n, m) float64``."""
        widths = self.backs if self.back is self.front else subset_sums(self.front)
        return np.where(self.labelled[:, None], ENDLESS, widths) if self.labelled.any() else widths

    @cached_property
    def backs(self) -> "NDArray[np.float64]":
        """What each subset takes in the band behind, ``(2^n, m) float64``."""
        return subset_sums(self.back)

    def row(self, subset: int, *, back: bool) -> "NDArray[np.float64]":
        """Return what one subset takes in a band of each length, ``(m,) float64``."""
        if self.labelled[subset] and not back:
            return np.full(len(self.lengths), ENDLESS)
        row = np.zeros(len(self.lengths))
        for member, widths in enumerate(self.back if back else self.front):
            if subset >> member & 1:
                row = row + widths
        return row

    def forget_sums(self) -> None:
        """Free the memory of what all subsets take: up to 160 kB for each height of walls."""
        for name in ("fronts", "backs"):
            self.__dict__.pop(name, None)


@dataclass(frozen=True, eq=False)
class BandSplit:
    """The least depths for one width of trays and one height of walls: ``room`` is the width that there is, in mm."""

    widths: BandWidths
    room: float

    @property
    def wall(self) -> float:
        """The thickness of a divider."""
        return self.widths.wall

    def _least(self, widths: "NDArray[np.float64]") -> "NDArray[np.float64]":
        fits = widths <= self.room
        first = fits.argmax(axis=1)
        return np.where(fits[np.arange(len(widths)), first], self.widths.lengths[first], ENDLESS)

    @cached_property
    def _fronts(self) -> "NDArray[np.float64]":
        return self._least(self.widths.fronts)

    @cached_property
    def _backs(self) -> "NDArray[np.float64]":
        if not self.widths.labelled.any():
            return self._fronts
        return self._least(self.widths.backs) + np.where(self.widths.labelled, self.widths.ledge, 0.0)

    def _joined(self, behind: "NDArray[np.float64]", before: "NDArray[np.float64]") -> "NDArray[np.float64]":
        """Return the least of a part behind and the rest before it, for every subset."""
        least = np.full(len(behind), ENDLESS)
        pairs = _pairs(len(behind).bit_length() - 1)
        if len(pairs.subsets):
            both = behind[pairs.parts] + self.wall + before[pairs.rests]
            least[pairs.subsets] = np.minimum.reduceat(both, pairs.starts)
        return least

    @cached_property
    def _two_fronts(self) -> "NDArray[np.float64]":
        return self._joined(self._fronts, self._fronts)

    @cached_property
    def _two(self) -> "NDArray[np.float64]":
        return self._two_fronts if self._backs is self._fronts else self._joined(self._backs, self._fronts)

    @cached_property
    def _three(self) -> "NDArray[np.float64]":
        return self._joined(self._backs, self._two_fronts)

    def depths(self, bands: int) -> "NDArray[np.float64]":
        """Return the least depth for each subset in so many bands, ``(2^n,) float64`` in mm, the ledge included."""
        if bands == 1:
            return self._backs
        return self._two if bands == 2 else self._three  # noqa: PLR2004 - bands

    def split(self, subset: int, bands: int) -> list[tuple[int, int]]:
        """Return the best bands of a subset, front to back: the members of each, and the index of its length."""
        parts: list[int] = []
        behind = self._backs
        for number in range(bands, 1, -1):
            before = self._fronts if number == 2 else self._two_fronts  # noqa: PLR2004 - bands
            part = _best_part(subset, behind, before)
            parts.append(part)
            subset ^= part
            behind = self._fronts
        parts.append(subset)
        return [
            (part, int((self.widths.row(part, back=k == 0) <= self.room).argmax()))
            for k, part in reversed(list(enumerate(parts)))
        ]


def _best_part(subset: int, behind: "NDArray[np.float64]", before: "NDArray[np.float64]") -> int:
    """Return the part of a subset that is best behind the rest, the largest number of equal ones."""
    best, least = 0, np.inf
    part = (subset - 1) & subset
    while part:
        depth = behind[part] + before[subset ^ part]
        if depth < least:
            best, least = part, depth
        part = (part - 1) & subset
    return best
