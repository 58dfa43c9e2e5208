"""Chords of plane regions along lines at 45 degrees to the axes, one way and the other: a sample of each region."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from worker.printing.estimating.mesh_sections import Rings
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Chords"]

#: About so many crossings of lines with edges make a sample of a region, both directions together.
_CROSSINGS: Final = 800

#: More than a region has lines of one direction, and longer than any line, mm.
_MOST_LINES, _LONGEST = 100_000, 10_000.0


@dataclass(frozen=True, slots=True)
class Chords:
    """The chords of regions along evenly spaced lines, those of each region together.

    Attributes:
        apart: distance of neighbouring lines of one direction in each region, ``(regions,) float64``, mm.
        owners: number of the region of each chord, ascending, ``(n,) int64``.
        lengths: ``(n,) float64``, mm.
        starts: how far the edge at a chord's start runs along the lines for each mm across them, ``(n,) float64``.
        ends: the same at its end.
        keys: place of the start, so that starts on neighbouring lines are `_LONGEST` farther apart, ``(n,) float64``.
    """

    apart: NDArray[np.float64]
    owners: NDArray[np.int64]
    lengths: NDArray[np.float64]
    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    keys: NDArray[np.float64]

    @classmethod
    def of(cls, regions: Sequence[Rings], spacings: NDArray[np.float64]) -> Self:
        """Return the chords of regions; lines are ``spacings`` mm apart, or more where a sample needs fewer.

        Args:
            regions: as rings ``(n, 2) float64``, mm: of holes, too.
            spacings: of each region, ``(regions,) float64``, mm.
        """
        sizes = np.array([len(ring) for rings in regions for ring in rings], dtype=np.int64)
        if not len(sizes):
            return cls(spacings, np.zeros(0, dtype=np.int64), *(np.zeros(0) for _ in range(4)))
        points = np.concatenate([ring for rings in regions for ring in rings])
        following = np.arange(1, len(points) + 1)
        last = np.cumsum(sizes) - 1
        following[last] = last + 1 - sizes  # a ring's last point is followed by its first
        # both directions at once: all points once more, mirrored
        x, y = points[:, 0] / sqrt(2.0), points[:, 1] / sqrt(2.0)
        along, across = np.concatenate([x + y, x - y]), np.concatenate([y - x, y + x])
        following = np.concatenate([following, following + len(points)])
        owners = np.tile(np.repeat(np.arange(len(regions)), [sum(map(len, rings)) for rings in regions]), 2)
        # lines lie about the mean of a region's points: wherever the part lies and however it is turned by right angles
        ways = 2 * owners + (np.arange(len(owners)) >= len(points))
        counts = np.maximum(np.bincount(ways, minlength=2 * len(regions)), 1)
        across -= (np.bincount(ways, weights=across, minlength=2 * len(regions)) / counts)[ways]
        run, rise = along[following] - along, across[following] - across
        variation = np.bincount(owners, weights=np.abs(rise), minlength=len(regions))
        apart = np.maximum(spacings, variation / _CROSSINGS)
        # by the number of lines below each point, an edge crosses a line if and only if its ends lie on both sides
        below = np.floor(across / apart[owners] + 0.5).astype(np.int64)
        low, high = np.minimum(below, below[following]), np.maximum(below, below[following])
        times = high - low
        edge = np.repeat(np.arange(len(along)), times)
        line = np.arange(len(edge)) - np.repeat(np.cumsum(times) - times - low, times)
        owner = owners[edge]
        slope = (run / np.where(np.abs(rise) < LENGTH_EPSILON, LENGTH_EPSILON, rise))[edge]
        at = along[edge] + ((line + 0.5) * apart[owner] - across[edge]) * slope
        keys = (ways[edge] * _MOST_LINES + line) * _LONGEST + at
        order = np.argsort(keys)
        start, end = order[0::2], order[1::2]
        return cls(apart, owner[start], at[end] - at[start], slope[start], slope[end], keys[start])

    def total(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return for each region the sum of ``values`` ``(n,) float64`` of its chords, ``(regions,) float64``."""
        return np.bincount(self.owners, weights=values, minlength=len(self.apart)).astype(np.float64, copy=False)

    def pieces(self, chosen: NDArray[np.bool_], reach: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return into how many pieces the chosen chords fall: the fewer ends of both directions, if both have any.

        A piece ends at a chord that has none in the next line within reach.

        Args:
            chosen: ``(n,) bool``.
            reach: of each region, ``(regions,) float64``, mm.

        Returns:
            Of each region, ``(regions,) int64``.
        """
        keys, owners = self.keys[chosen], self.owners[chosen]
        following, near = keys + _LONGEST, reach[owners]
        last = np.searchsorted(keys, following - near) == np.searchsorted(keys, following + near)
        directions = np.floor(keys[last] / (_MOST_LINES * _LONGEST) + 0.5).astype(np.int64)
        ends = np.bincount(directions, minlength=2 * len(self.apart))
        fewer, more = ends.reshape(-1, 2).min(axis=1), ends.reshape(-1, 2).max(axis=1)
        # strips that run along the lines of one direction are not crossed by any
        pieces: NDArray[np.int64] = np.where(fewer > 0, fewer, more)
        return pieces
