"""Pictures of printed parts from the front and above, as PNG: their colours, their edges, a shadow and their marks.

The projection is parallel, so parts of one mesh and rotation are rasterised once and copied (20 alike: 45 instead of
85 ms).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import ceil, cos, radians, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray

from worker.layout.tray.font import missing, placed
from worker.output.palette import PALETTE, rgb
from worker.output.preview.png import write_png
from worker.output.preview.raster import doubled_areas, draw_triangles, fill
from worker.solids.mesh import Mesh

__all__ = ["FINE", "PAPER", "TILT", "Pixels", "SceneObject", "View", "draw_scene"]

#: Fine pixels for each pixel along either axis; the margin around the base in pixels.
FINE: Final = 2
_AROUND: Final = 6.0

#: Angle of the line of sight below the horizontal.
TILT: Final = radians(62.0)

#: Unit vector towards the light: from the left, above and slightly in front; and the least brightness of a face.
_LIGHT: Final = (-0.48, -0.36, 0.80)
_DARKEST: Final = 0.42

PAPER: Final = rgb(PALETTE["paper"])
_SHADE: Final = 0.72
_EDGE_SHADE: Final = 0.52
_LIFT: Final = 26.0

#: Offset of a thing's shadow, in fine pixels.
_SHADOW: Final = 3

#: Steps of depth larger than this are drawn as edges, in fine pixels.
_STEP: Final = 9.0

#: Depth where there is no piece, in fine pixels.
_FAR: Final = -1e9

_LEAST_NORMAL: Final = 1e-12

#: Cap heights of marks, tried from the largest, in pixels, and sub-pixels along either axis of a pixel.
_CAPITALS: Final = (13.0, 11.0, 9.0, 7.0)
_LETTER_FINE: Final = 4
_INK: Final = rgb(PALETTE["on-green"])
_HALO: Final = rgb(PALETTE["ink"])

Pixels = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class SceneObject:
    """One part: turned counter-clockwise about z by ``turn`` degrees, then moved so that its box starts ``at``, mm.

    ``colour`` is #RRGGBB; ``mark`` is written on it, unless it is empty.
    """

    mesh: Mesh
    colour: str
    mark: str
    at: tuple[float, float, float]
    turn: int = 0

    @property
    def turned(self) -> NDArray[np.float64]:
        """The vertices after the turn, moved to the positive octant, ``(n, 3) float64``, mm."""
        x, y, z = self.mesh.vertices.T
        across, along = ((x, y), (-y, x), (-x, -y), (y, -x))[self.turn // 90]
        return np.column_stack([column - column.min() for column in (across, along, z)])


@dataclass(frozen=True, slots=True)
class View:
    """A parallel projection: ``scale`` in fine pixels per mm, ``corner`` that of the base's front left in fine pixels.

    ``columns`` and ``rows`` are the picture's size in pixels.
    """

    scale: float
    corner: tuple[float, float]
    columns: int
    rows: int

    @staticmethod
    def fitted(base: tuple[float, float], height: float, size: tuple[int, int]) -> "View":
        """Return the view that shows a base and what stands on it as large as possible, in the middle.

        Args:
            base: width and depth of the base, mm.
            height: of the highest thing on it, mm.
            size: columns and rows of the picture, pixels.
        """
        room = tuple((pixels - 2.0 * _AROUND) * FINE for pixels in size)
        tall = _tall(base, height)
        scale = min(room[0] / base[0], room[1] / tall)
        return View(scale, ((size[0] * FINE - base[0] * scale) / 2.0, (size[1] * FINE + tall * scale) / 2.0), *size)

    @staticmethod
    def filled(base: tuple[float, float], height: float, side: int) -> "View":
        """Return the view whose picture a base and what stands on it fill; its longer side has ``side`` pixels."""
        spans = base[0], _tall(base, height)
        scale = (side - 2.0 * _AROUND) / max(spans)
        columns, rows = (ceil(span * scale + 2.0 * _AROUND) for span in spans)
        return View.fitted(base, height, (columns, rows))

    def seen(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return column, row and depth of points ``(n, 3) float64``, mm, in fine pixels; more depth is nearer.

        The result is ``(n, 3) float64``.
        """
        x, y, z = points.T
        return np.column_stack(
            [
                self.corner[0] + x * self.scale,
                self.corner[1] - (y * sin(TILT) + z * cos(TILT)) * self.scale,
                (z * sin(TILT) - y * cos(TILT)) * self.scale,
            ]
        )

    def moved(self, at: tuple[float, float, float]) -> NDArray[np.float64]:
        """Return the shift in column, row and depth, ``(3,) float64``, fine pixels, of a thing moved by ``at``, mm."""
        origin, there = self.seen(np.array([[0.0, 0.0, 0.0], at]))
        moved: NDArray[np.float64] = there - origin
        return moved

    def ground(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return x and y on the base for each pixel, mm: ``(columns,) float64`` and ``(rows, 1) float64``."""
        across, down = ((np.arange(count, dtype=np.float64) + 0.5) * FINE for count in (self.columns, self.rows))
        return (across - self.corner[0]) / self.scale, ((self.corner[1] - down) / (self.scale * sin(TILT)))[:, None]


def _tall(base: tuple[float, float], height: float) -> float:
    return base[1] * sin(TILT) + height * cos(TILT)


@dataclass(frozen=True, slots=True)
class _Picture:
    """The nearest piece of each fine pixel, ``(rows, columns)``: its depth, its index or -1, and its brightness.

    Pixels without a piece have the depth `_FAR` and the brightness 0.
    """

    nearest: Pixels
    owner: NDArray[np.int32]
    light: Pixels

    @staticmethod
    def empty(shape: tuple[int, int]) -> "_Picture":
        """Return a picture of nothing, of this many fine rows and columns."""
        return _Picture(np.full(shape, _FAR, np.float32), np.full(shape, -1, np.int32), np.zeros(shape, np.float32))

    def add(self, index: int, stamp: "_Stamp", at: NDArray[np.float64]) -> None:
        """Draw a piece, moved by columns, rows and nearness ``at``, where nothing is nearer."""
        column, row = (round(float(along)) + first for along, first in zip(at, stamp.first, strict=False))
        high, wide = stamp.depths.shape
        rows, columns = self.owner.shape
        top, left = max(row, 0), max(column, 0)
        there = slice(top, max(min(row + high, rows), top)), slice(left, max(min(column + wide, columns), left))
        here = tuple(slice(along.start - by, along.stop - by) for along, by in zip(there, (row, column), strict=True))
        depths = stamp.depths[here] + np.float32(at[2])
        nearer = depths > self.nearest[there]
        np.copyto(self.nearest[there], depths, where=nearer)
        np.copyto(self.owner[there], np.int32(index), where=nearer)
        np.copyto(self.light[there], stamp.light[here], where=nearer)

    @property
    def edges(self) -> NDArray[np.bool_]:
        """Whether each fine pixel is at the border of a piece or at a step of depth, ``(rows, columns) bool``."""
        edges = np.zeros(self.owner.shape, dtype=np.bool_)
        for later, earlier in (((slice(1, None),), (slice(-1),)), ((..., slice(1, None)), (..., slice(-1)))):
            steps = np.abs(self.nearest[later] - self.nearest[earlier]) > _STEP
            edges[later] |= steps | (self.owner[later] != self.owner[earlier])
        return edges


@dataclass(frozen=True, slots=True)
class _Stamp:
    """A piece rasterised at the base's corner: depth and brightness of its pixels, column and row of the first one."""

    depths: Pixels
    light: Pixels
    first: tuple[int, int]


def draw_scene(objects: Sequence[SceneObject], view: View, ground: Pixels) -> bytes:
    """Return the picture as PNG, the same bytes for the same things.

    Args:
        objects: the parts; a mark that does not fit its part is left out.
        view: the projection, and the size of the picture.
        ground: the picture without the parts, ``(rows, columns, 3) float32``, 0 to 255.
    """
    picture = _Picture.empty((view.rows * FINE, view.columns * FINE))
    stamps: dict[tuple[int, int], _Stamp] = {}
    for index, piece in enumerate(objects):
        key = id(piece.mesh), piece.turn
        if key not in stamps:
            stamps[key] = _stamp(view, piece)
        picture.add(index, stamps[key], view.moved(piece.at))
    pixels = _composed(picture, ground, [piece.colour for piece in objects])
    _write_marks(pixels, view, objects)
    return write_png(np.clip(np.round(pixels), 0, 255).astype(np.uint8))


def _composed(picture: _Picture, ground: Pixels, colours: Sequence[str]) -> Pixels:
    """Return the picture ``(rows, columns, 3)``, 0 to 255: the pieces in ``colours`` over the picture without them."""
    bare = picture.owner < 0
    left = bare.astype(np.float32)
    shadow = bare[_SHADOW:, _SHADOW:] & ~bare[:-_SHADOW, :-_SHADOW]
    left[_SHADOW:, _SHADOW:][shadow] = _SHADE
    shade = np.where(picture.edges, np.float32(_EDGE_SHADE), np.float32(1.0))
    pixels = ground * _coarse(left * shade)[:, :, None]
    lit = picture.light * shade
    for colour in dict.fromkeys(colours):  # mostly one: a product for each of them takes less than one for each pixel
        alike = np.array([*(each == colour for each in colours), False])  # index -1, no piece, takes the last
        pixels += _coarse(lit if alike[:-1].all() else lit * alike[picture.owner])[:, :, None] * _rgb(colour)
    return pixels


def _coarse(fine: Pixels) -> Pixels:
    """Return the mean of each pixel's fine pixels, ``(rows, columns)``."""
    rows, columns = (count // FINE for count in fine.shape)
    total = np.zeros((rows, columns), dtype=np.float32)
    for i, k in product(range(FINE), repeat=2):  # slices take 0.6 ms, a mean over two short axes 2.8 ms
        total += fine[i::FINE, k::FINE]
    total /= FINE**2
    return total


def _stamp(view: View, piece: SceneObject) -> _Stamp:
    """Return a piece rasterised at the base's corner."""
    points = piece.turned
    seen = view.seen(points)
    first = np.floor(seen[:, :2].min(axis=0)).astype(np.int64)
    wide, high = (np.ceil(seen[:, :2].max(axis=0)).astype(np.int64) - first).tolist()
    corners = (seen - np.array([*first, 0.0]))[piece.mesh.triangles]
    faced = doubled_areas(corners) < 0.0  # counter-clockwise, as seen from outside
    sprite = draw_triangles(corners[faced], (high, wide))
    a, b, c = points[piece.mesh.triangles[faced]].transpose(1, 0, 2)
    normals = np.cross(b - a, c - a)
    lengths = np.sqrt((normals**2).sum(axis=1))
    lit = normals @ np.array(_LIGHT) / np.maximum(lengths, _LEAST_NORMAL)
    light = _DARKEST + (1.0 - _DARKEST) * np.clip(lit, 0.0, 1.0)
    shades = np.append(light, 0.0).astype(np.float32)  # index -1, no triangle, takes the last
    return _Stamp(sprite.depths.astype(np.float32), shades[sprite.triangles], (int(first[0]), int(first[1])))


def _write_marks(pixels: Pixels, view: View, objects: Sequence[SceneObject]) -> None:
    """Write each piece's mark over the middle of its top, in the largest size that fits, without covering another."""
    taken = np.zeros(pixels.shape[:2], dtype=np.bool_)
    for piece in objects:
        low, high = piece.mesh.bounds
        size = (high - low)[[1, 0, 2] if piece.turn % 180 else [0, 1, 2]]
        middle = piece.at + size * np.array([0.5, 0.5, 1.0])
        column, row, _ = (view.seen(middle[None])[0] / FINE).tolist()
        room = size[:2] * view.scale / FINE * np.array([1.0, sin(TILT)]) - 2.0
        for capital in _CAPITALS:
            ink = _letters(piece.mark, capital)
            if ink is None:
                break
            last = capital == _CAPITALS[-1]
            if not last and (ink.shape[1] > room[0] or capital > room[1]):
                continue
            top, left = round(row - ink.shape[0] / 2.0), round(column - ink.shape[1] / 2.0)
            there = slice(top, top + ink.shape[0]), slice(left, left + ink.shape[1])
            if min(top, left) < 0 or taken[there].shape != ink.shape or taken[there].any():
                break
            taken[there] = True
            for strength, colour in ((_dilated(ink), _HALO), (ink, _INK)):
                pixels[there] += (np.array(colour, dtype=np.float32) - pixels[there]) * strength[:, :, None]
            break


@lru_cache(maxsize=1024)  # marks of one drawer are those of the next: 12 ms of a job of 20 trays
def _letters(text: str, capital: float) -> Pixels | None:
    """Return the coverage of each pixel by a text, 0 to 1, with a border of one pixel; None when it cannot be set."""
    if missing(text):
        return None
    fine = capital * _LETTER_FINE
    outlines = [outline * np.array([fine, -fine]) for outline in placed(text)]
    if not outlines:
        return None
    every = np.concatenate(outlines)
    low, high = every.min(axis=0), every.max(axis=0)
    wide, tall = (np.ceil((high - low) / _LETTER_FINE).astype(np.int64) + 2).tolist()
    start = low - _LETTER_FINE
    covered = fill([outline - start for outline in outlines], (tall * _LETTER_FINE, wide * _LETTER_FINE))
    coverage: Pixels = covered.reshape(tall, _LETTER_FINE, wide, _LETTER_FINE).mean(axis=(1, 3), dtype=np.float32)
    return coverage


def _dilated(ink: Pixels) -> Pixels:
    """Return the coverage of a text dilated by one pixel: its outline in a contrasting colour."""
    padded = np.pad(ink, 1)
    rows, columns = ink.shape
    grown = [padded[i : i + rows, k : k + columns] for i in range(3) for k in range(3)]
    spread: Pixels = np.max(grown, axis=0) * np.float32(0.85)
    return spread


def _rgb(colour: str) -> Pixels:
    """Return red, green and blue, 0 to 255, with dark colours lightened so that their shading is visible."""
    channels = [_LIFT + (255.0 - _LIFT) * int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    return np.array(channels, dtype=np.float32)
