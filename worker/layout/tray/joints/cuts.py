"""The choice of cuts: into the fewest pieces that fit the bed, and then the most equal ones."""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, inf
from typing import Final

from worker.layout.model.shapes import Point
from worker.layout.tray.joints.obstacles import Axis, Obstacles, Span
from worker.layout.tray.joints.profile import AIR, Profile
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Cuts", "choose_cuts"]

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
    places = tuple(_places(obstacles, axis) for axis in axes)
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


def lengths(length: float, at: Sequence[float], profile: Profile) -> tuple[float, ...]:
    """Return the lengths of the pieces between cuts, with their tabs and tongues, mm."""
    starts = [0.0, *(place - profile.male for place in at)]
    ends = [*(place - AIR / 2.0 for place in at), length]
    return tuple(end - start for start, end in zip(starts, ends, strict=True))


def _places(obstacles: Obstacles, axis: Axis) -> tuple[float, ...]:
    """Return the positions of a splice that are tried on an axis, rising: those at which it can be joined."""
    return tuple(
        place
        for window in obstacles.windows(axis)
        for place in _steps(window)
        if not obstacles.near_walls(axis, place) and obstacles.tabs(axis, place, ())
    )


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
    fits: Callable[[float], float] = lambda size: size if size <= most + LENGTH_EPSILON else inf  # noqa: E731
    # longest piece up to each place, and the cut before it
    layers: list[list[tuple[float, int]]] = [
        [(fits(place - AIR / 2.0) if place >= _LEAST_PIECE else inf, -1) for place in places]
    ]
    for _ in range(count - 1):
        layers.append([_extended(layers[-1], places, index, profile, fits) for index in range(len(places))])
    ends = [
        (max(longest, fits(length - place + profile.male) if length - place >= _LEAST_PIECE else inf), index)
        for index, ((longest, _), place) in enumerate(zip(layers[-1], places, strict=True))
    ]
    longest, index = min(ends, default=(inf, -1))
    if longest == inf:
        return None
    cuts: list[float] = []
    for layer in reversed(layers):
        cuts.append(places[index])
        index = layer[index][1]
    return tuple(reversed(cuts))


def _extended(
    before: Sequence[tuple[float, int]],
    places: Sequence[float],
    index: int,
    profile: Profile,
    fits: Callable[[float], float],
) -> tuple[float, int]:
    """Return the longest piece up to a place if one more cut stands before it, and that cut."""
    place = places[index]
    return min(
        (
            (max(longest, fits(place - AIR / 2.0 - places[earlier] + profile.male)), earlier)
            for earlier, (longest, _) in enumerate(before[:index])
            if longest < inf and place - places[earlier] >= _LEAST_PIECE
        ),
        default=(inf, -1),
    )


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
