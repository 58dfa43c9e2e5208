"""Nesting: outlines turned and laid beside each other in an area, with a web between them.

On a raster, by correlation: every place of an outline is tested at once against all that lies there, whatever
the shapes are like. No-fit polygons of hand-drawn outlines, concave, of hundreds of corners, take Minkowski sums, which
shapely lacks, and fail where edges touch; a raster cannot, and costs the same for every shape. It loses a pixel and a
half between two outlines at most. The same input gives the same places: work is counted, never timed.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, sqrt
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

__all__ = ["MOST_WORK", "Laid", "Motion", "NestingPiece", "nested"]

#: Sides of a pixel in mm, the coarse one first.
_PIXELS: Final = (1.0, 0.5)
#: The largest raster, in pixels along a side: larger areas have larger pixels.
_MOST_SIDE: Final = 700
#: Most correlations, each a transform of the raster: 2 to 8 ms.
MOST_WORK: Final = 1500
#: A correlation of less than this is none: what rounding leaves.
_NONE: Final = 0.5


@dataclass(frozen=True, slots=True)
class Motion:
    """How a piece is turned: mirrored at the y axis first if it is, then counter-clockwise by degrees."""

    turn: float
    mirrored: bool = False

    def applied(self, shape: BaseGeometry) -> BaseGeometry:
        """Return a shape turned about 0, 0."""
        if self.mirrored:
            shape = shapely.affinity.scale(shape, -1.0, 1.0, origin=(0.0, 0.0))
        return shapely.affinity.rotate(shape, self.turn, origin=(0.0, 0.0))


@dataclass(frozen=True, slots=True)
class NestingPiece:
    """A piece to lay: its shape, mm, and the ways it may be turned, those that look best in the first of the stages."""

    shape: BaseGeometry
    stages: tuple[tuple[Motion, ...], ...]


@dataclass(frozen=True, slots=True)
class Laid:
    """A piece in its place: its number, how it is turned, and then moved, mm."""

    piece: int
    motion: Motion
    by: tuple[float, float]

    def applied(self, shape: BaseGeometry) -> BaseGeometry:
        """Return a shape of the piece in its place."""
        return shapely.affinity.translate(self.motion.applied(shape), *self.by)


def nested(
    pieces: Sequence[NestingPiece],
    area: Polygon,
    taken: Sequence[BaseGeometry],
    web: float,
    most_work: int = MOST_WORK,
) -> tuple[tuple[Laid, ...], int | None]:
    """Return places for pieces in the order of their numbers, and the first for which there is none, if there is.

    Args:
        pieces: at least one.
        area: where they may lie, convex, mm.
        taken: what lies there already.
        web: least distance between two of them, and between them and ``taken``, mm.
        most_work: the search ends after so many correlations.
    """
    work = _Work()
    missing: int | None = None
    for pixel, stage in itertools.product(_PIXELS, range(max(len(piece.stages) for piece in pieces))):
        raster = _Raster(area, taken, web, pixel)
        for order in _orders(pieces):
            laid, missing = _laid(pieces, order, stage, raster, work)
            if missing is None:
                return tuple(sorted(_centred(laid, pieces, area, taken), key=lambda each: each.piece)), None
            if work.done >= most_work:
                return (), missing
    return (), missing


@dataclass(slots=True)
class _Work:
    done: int = 0


class _Raster:
    """Pixels of an area: which are taken, as a transform.

    Pieces are grown by half a web and half a pixel's diagonal, so pieces that share no pixel are a web apart.
    """

    def __init__(self, area: Polygon, taken: Sequence[BaseGeometry], web: float, pixel: float) -> None:
        left, front, right, back = area.bounds
        self.pixel = max(pixel, max(right - left, back - front) / _MOST_SIDE)
        self.grow = web / 2.0 + self.pixel / sqrt(2.0)
        margin = self.grow + 2.0 * self.pixel
        self.corner = (left - margin, front - margin)
        self.size = (ceil((back - front + 2.0 * margin) / self.pixel), ceil((right - left + 2.0 * margin) / self.pixel))
        free = self._pixels(area.buffer(web / 2.0 - self.pixel / sqrt(2.0)), self.corner, self.size)
        self.taken = ~free
        for shape in taken:
            self.taken |= self._pixels(shape.buffer(self.grow), self.corner, self.size)
        self.stamps: dict[tuple[int, Motion], _Stamp | None] = {}

    def stamp(self, piece: NestingPiece, motion: Motion) -> "_Stamp | None":
        """Return a piece's pixels, turned; None if it is larger than the raster."""
        key = (id(piece.shape), motion)
        if key not in self.stamps:
            grown = motion.applied(piece.shape).buffer(self.grow)
            left, front, right, back = grown.bounds
            size = (ceil((back - front) / self.pixel) + 1, ceil((right - left) / self.pixel) + 1)
            fits = size[0] <= self.size[0] and size[1] <= self.size[1]
            self.stamps[key] = (
                _Stamp(self._pixels(grown, (left, front), size), (left, front), self.size) if fits else None
            )
        return self.stamps[key]

    def _pixels(self, shape: BaseGeometry, corner: tuple[float, float], size: tuple[int, int]) -> NDArray[np.bool_]:
        """Return which pixels have their centre in a shape: crossings of its rings with each row, paired."""
        toggles = np.zeros((size[0], size[1] + 1), dtype=np.int64)
        for ring in (ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)):
            points = (shapely.get_coordinates(ring) - np.array(corner)) / self.pixel - 0.5
            for (ax, ay), (bx, by) in itertools.pairwise(points.tolist()):
                low, high = sorted((ay, by))
                rows = np.arange(max(ceil(low), 0), min(ceil(high), size[0]))
                if len(rows):
                    columns = np.ceil(ax + (rows - ay) * (bx - ax) / (by - ay))
                    toggles[rows, np.clip(columns, 0, size[1]).astype(np.int64)] += 1
        inside: NDArray[np.bool_] = np.cumsum(toggles[:, :-1], axis=1) % 2 == 1
        return inside


class _Stamp:
    """A turned piece's pixels and their transform."""

    def __init__(self, pixels: NDArray[np.bool_], corner: tuple[float, float], size: tuple[int, int]) -> None:
        self.pixels = pixels
        self.corner = corner
        self.spectrum = np.conj(np.fft.rfft2(pixels.astype(np.float64), s=size))


def _orders(pieces: Sequence[NestingPiece]) -> Iterator[list[int]]:
    """Yield orders to lay pieces in: the largest first, the longest, the highest box, and large ones exchanged."""
    areas = [piece.shape.area for piece in pieces]
    boxes = [shapely.get_coordinates(shapely.minimum_rotated_rectangle(piece.shape)) for piece in pieces]
    sides = [np.linalg.norm(np.diff(box[:3], axis=0), axis=1) for box in boxes]
    hulls = [piece.shape.convex_hull.area for piece in pieces]
    keys = ([-side.max() for side in sides], [-area for area in areas], [-hull for hull in hulls])
    seen: list[list[int]] = []
    for key in keys:
        order = sorted(range(len(pieces)), key=lambda number: (round(float(key[number]), 3), number))
        for first in range(min(len(order), 4)):
            exchanged = [order[first], *order[:first], *order[first + 1 :]]
            if exchanged not in seen:
                seen.append(exchanged)
                yield exchanged


def _laid(
    pieces: Sequence[NestingPiece], order: Sequence[int], stage: int, raster: _Raster, work: _Work
) -> tuple[list[Laid], int | None]:
    """Return places of pieces, each as far to the front and then to the left as can be, and the first without."""
    taken = raster.taken.copy()
    laid: list[Laid] = []
    for number in order:
        piece = pieces[number]
        spectrum = np.fft.rfft2(taken.astype(np.float64))
        best: tuple[tuple[int, int, int], _Stamp, Motion] | None = None
        motions = piece.stages[min(stage, len(piece.stages) - 1)]
        for rank, motion in enumerate(motions):
            stamp = raster.stamp(piece, motion)
            if stamp is None:
                continue
            work.done += 1
            place = _first_free(spectrum, stamp, raster.size)
            if place is not None:
                key = (place[0] + stamp.pixels.shape[0], place[1] + stamp.pixels.shape[1], rank)
                if best is None or key < best[0]:
                    best = key, stamp, motion
        if best is None:
            return laid, number
        (back, right, _), stamp, motion = best
        rows, columns = stamp.pixels.shape
        taken[back - rows : back, right - columns : right] |= stamp.pixels
        by = tuple(
            round(corner + place * raster.pixel - own, 3)
            for corner, place, own in zip(raster.corner, (right - columns, back - rows), stamp.corner, strict=True)
        )
        laid.append(Laid(number, motion, (by[0], by[1])))
    return laid, None


def _first_free(spectrum: NDArray[np.complex128], stamp: _Stamp, size: tuple[int, int]) -> tuple[int, int] | None:
    """Return row and column of the frontmost place, of these the leftmost, where a stamp meets nothing."""
    meets = np.fft.irfft2(spectrum * stamp.spectrum, s=size)
    rows, columns = size[0] - stamp.pixels.shape[0] + 1, size[1] - stamp.pixels.shape[1] + 1
    free = meets[:rows, :columns] < _NONE
    first = int(free.argmax())
    row, column = divmod(first, columns)
    return (row, column) if free[row, column] else None


def _centred(
    laid: Sequence[Laid], pieces: Sequence[NestingPiece], area: Polygon, taken: Sequence[BaseGeometry]
) -> Sequence[Laid]:
    """Return the places moved together to the middle of the area, if nothing else lies there and all stay inside."""
    shapes = shapely.MultiPolygon(
        [part for each in laid for part in shapely.get_parts(each.applied(pieces[each.piece].shape))]
    )
    inner, outer = shapes.bounds, area.bounds
    by = [round((outer[axis] + outer[axis + 2] - inner[axis] - inner[axis + 2]) / 2.0, 3) for axis in (0, 1)]
    if taken or not area.covers(shapely.affinity.translate(shapes, *by)):
        return laid
    return [
        Laid(each.piece, each.motion, (round(each.by[0] + by[0], 3), round(each.by[1] + by[1], 3))) for each in laid
    ]
