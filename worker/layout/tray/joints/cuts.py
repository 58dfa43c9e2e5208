"""The choice of cuts: into the fewest pieces that fit the bed, and then the most equal ones."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import Point, Wall
from worker.layout.tray.joints.obstacles import Axis, Obstacles, Span
from worker.layout.tray.joints.profile import AIR, Profile
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Cuts", "choose_cuts", "fewest_cuts"]

#: Step of the positions that are tried, mm.
_STEP: Final = 1.0
#: Least length of a piece, mm: shorter ones are lost to slots and tongues.
_LEAST_PIECE: Final = 30.0
#: Most pieces along one axis.
_MOST_ALONG: Final = 8


@dataclass(frozen=True, slots=True)
class Cuts:
    """Positions of the splices along x and along y, mm in the tray's frame."""

    x: tuple[float, ...]
    y: tuple[float, ...]

    @property
    def pieces(self) -> int:
        """Number of pieces."""
        return (len(self.x) + 1) * (len(self.y) + 1)


def choose_cuts(obstacles: Obstacles, beds: Sequence[Point]) -> Cuts | None:
    """Return the cuts of a tray; None if no cuts leave pieces that fit the bed.

    Args:
        obstacles: where splices can lie.
        beds: sizes of the bed's free rectangles ``(x, y)``, in either orientation, mm.
    """
    axes: tuple[Axis, Axis] = ("x", "y")
    lengths = tuple(obstacles.length(axis) for axis in axes)
    places = tuple(
        _places(obstacles, axis) if length > min(bed[number] for bed in beds) + LENGTH_EPSILON else ()
        for number, (axis, length) in enumerate(zip(axes, lengths, strict=True))
    )
    best: tuple[tuple[int, float], Cuts] | None = None
    for bed in beds:
        options = [
            list(_divisions(length, most, spots, obstacles.profile))
            for length, most, spots in zip(lengths, bed, places, strict=True)
        ]
        for x, y in itertools.product(*options):
            cuts = Cuts(x, y)
            if best is not None and cuts.pieces > best[0][0]:
                continue
            spread = sum(_spread(length, at) for length, at in zip(lengths, (x, y), strict=True))
            key = cuts.pieces, round(spread, 3)
            if (best is None or key < best[0]) and _joins(obstacles, cuts):
                best = key, cuts
    return None if best is None else best[1]


def fewest_cuts(obstacles: Obstacles, axis: Axis, most: float) -> tuple[float, ...] | None:
    """Return the fewest cuts along one axis that leave pieces no longer than ``most`` mm; None where there are none."""
    return next(_divisions(obstacles.length(axis), most, _places(obstacles, axis), obstacles.profile), None)


def _places(obstacles: Obstacles, axis: Axis) -> tuple[float, ...]:
    """Return the positions of a splice that are tried on an axis, rising: those at which it can be joined."""
    joins: dict[tuple[Wall, ...], bool] = {}  # whether a splice can be joined depends only on the dividers across it
    chosen: list[float] = []
    for window in obstacles.windows(axis):
        for place in _steps(window):
            across = obstacles.across(axis, place)
            if across not in joins:
                joins[across] = not obstacles.near_walls(axis, place) and bool(obstacles.tabs(axis, place, ()))
            if joins[across]:
                chosen.append(place)
    return tuple(chosen)


def _steps(window: Span) -> Iterator[float]:
    """Yield the positions in a window that are tried: its ends, on the coordinate grid, and whole steps between."""
    low, high = ceil(window[0] * 1e3 - LENGTH_EPSILON) / 1e3, floor(window[1] * 1e3 + LENGTH_EPSILON) / 1e3
    inner = (step * _STEP for step in range(ceil(low / _STEP), floor(high / _STEP) + 1))
    yield from sorted({low, *inner, high} if low <= high else ())


def _divisions(length: float, most: float, places: Sequence[float], profile: Profile) -> Iterator[tuple[float, ...]]:
    """Yield for each number of pieces, from the fewest up, the cuts that leave the shortest longest piece."""
    if length <= most + LENGTH_EPSILON:
        yield ()
        return
    for count in range(1, _MOST_ALONG):
        cuts = _most_equal(length, most, count, places, profile)
        if cuts is not None:
            yield cuts
            return


def _most_equal(
    length: float, most: float, count: int, places: Sequence[float], profile: Profile
) -> tuple[float, ...] | None:
    """Return ``count`` cuts with the least possible longest piece, by dynamic programming; None if one is too long.

    Of equally long ones those with cuts further to the left or to the front.
    """
    spots = np.array(places)
    if not len(spots):
        return None
    male = profile.male
    # the longest piece up to each place, and the cut before it
    first = _fitting(spots - AIR / 2.0, most)
    first[spots < _LEAST_PIECE] = inf
    layers: list[tuple[NDArray[np.float64], NDArray[np.intp]]] = [(first, np.full(len(spots), -1, dtype=np.intp))]
    if count > 1:
        apart = spots[:, None] - spots[None, :]
        between = _fitting(apart - AIR / 2.0 + male, most)
        between[apart < _LEAST_PIECE] = inf
    for _ in range(count - 1):
        longest = np.maximum(layers[-1][0][None, :], between)
        layers.append((longest.min(axis=1), longest.argmin(axis=1)))
    last = _fitting(length - spots + male, most)
    last[length - spots < _LEAST_PIECE] = inf
    ends = np.maximum(layers[-1][0], last)
    index = int(ends.argmin())
    if ends[index] == inf:
        return None
    cuts: list[float] = []
    for _, before in reversed(layers):
        cuts.append(places[index])
        index = int(before[index])
    return tuple(reversed(cuts))


def _fitting(lengths: NDArray[np.float64], most: float) -> NDArray[np.float64]:
    """Return lengths of pieces, endless where they are longer than the bed."""
    fitting: NDArray[np.float64] = np.where(lengths <= most + LENGTH_EPSILON, lengths, inf)
    return fitting


def _spread(length: float, at: Sequence[float]) -> float:
    """Return how far the pieces are from equal: the excess of the longest over the mean, as a share of the mean."""
    bounds = (0.0, *at, length)
    longest = max(end - start for start, end in itertools.pairwise(bounds))
    return longest * (len(at) + 1) / length - 1.0


def _joins(obstacles: Obstacles, cuts: Cuts) -> bool:
    """Return whether every stretch of every splice, between those that cross it, has a tab."""
    axes: tuple[tuple[Axis, tuple[float, ...], tuple[float, ...]], ...] = (("x", cuts.x, cuts.y), ("y", cuts.y, cuts.x))
    for axis, own, crossing in axes:
        for at in own:
            tabs = obstacles.tabs(axis, at, crossing)
            bounds = (-inf, *crossing, inf)
            if not all(any(low < tab < high for tab in tabs) for low, high in itertools.pairwise(bounds)):
                return False
    return True
