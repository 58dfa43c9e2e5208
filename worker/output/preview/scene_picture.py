"""Pictures of printed parts from the front and above, as PNG: their colours, their edges, a shadow and their marks.

The projection is parallel, so parts of one mesh and rotation are rasterised once and copied (20 alike: 45 instead of
85 ms).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import ceil, cos, radians, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray

from worker.layout.tray.font import missing, placed
from worker.output.palette import PALETTE, rgb
from worker.output.preview.png import write_png
from worker.output.preview.raster import Sprite, draw_triangles, fill
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

_LEAST_NORMAL: Final = 1e-12

#: Cap heights of marks, tried from the largest, in pixels, and sub-pixels along either axis of a pixel.
_CAPITALS: Final = (13.0, 11.0, 9.0, 7.0)
_LETTER_FINE: Final = 4
_INK: Final = rgb(PALETTE["on-green"])
_HALO: Final = rgb(PALETTE["ink"])

Pixels = NDArray[np.float64]


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
        turned = np.column_stack([across, along, z])
        moved: NDArray[np.float64] = turned - turned.min(axis=0)
        return moved


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

    def ground(self) -> tuple[Pixels, Pixels]:
        """Return x and y on the base for each pixel, mm: ``(columns,) float64`` and ``(rows, 1) float64``."""
        across, down = ((np.arange(count, dtype=np.float64) + 0.5) * FINE for count in (self.columns, self.rows))
        return (across - self.corner[0]) / self.scale, ((self.corner[1] - down) / (self.scale * sin(TILT)))[:, None]


def _tall(base: tuple[float, float], height: float) -> float:
    return base[1] * sin(TILT) + height * cos(TILT)


@dataclass(frozen=True, slots=True)
class _Picture:
    """The nearest piece of each fine pixel, ``(rows, columns)``: its depth, its index or -1, and its brightness."""

    nearest: Pixels
    owner: NDArray[np.int64]
    light: Pixels

    @staticmethod
    def empty(shape: tuple[int, int]) -> "_Picture":
        """Return a picture of nothing, of this many fine rows and columns."""
        return _Picture(np.full(shape, -np.inf), np.full(shape, -1), np.zeros(shape))

    def add(self, index: int, stamp: "_Stamp", at: NDArray[np.float64]) -> None:
        """Draw a piece, moved by columns, rows and nearness ``at``, where nothing is nearer."""
        column, row = (round(float(along)) + first for along, first in zip(at, stamp.first, strict=False))
        high, wide = stamp.sprite.depths.shape
        rows, columns = self.owner.shape
        top, left = max(row, 0), max(column, 0)
        there = slice(top, max(min(row + high, rows), top)), slice(left, max(min(column + wide, columns), left))
        here = tuple(slice(along.start - by, along.stop - by) for along, by in zip(there, (row, column), strict=True))
        depths = stamp.sprite.depths[here] + at[2]
        nearer = depths > self.nearest[there]
        self.nearest[there][nearer] = depths[nearer]
        self.owner[there][nearer] = index
        self.light[there][nearer] = stamp.light[here][nearer]

    @property
    def edges(self) -> NDArray[np.bool_]:
        """Whether each fine pixel is at the border of a piece or at a step of depth, ``(rows, columns) bool``."""
        near = np.where(self.owner < 0, 0.0, self.nearest)
        edges = np.zeros(self.owner.shape, dtype=np.bool_)
        for axis in range(2):
            ends = np.diff(self.owner, axis=axis) != 0
            steps = np.abs(np.diff(near, axis=axis)) > _STEP
            edges[(slice(1, None), slice(None)) if axis == 0 else (slice(None), slice(1, None))] |= ends | steps
        return edges


@dataclass(frozen=True, slots=True)
class _Stamp:
    """A piece rasterised at the base's corner: its pixels, their brightness, column and row of the first pixel."""

    sprite: Sprite
    light: Pixels
    first: tuple[int, int]


def draw_scene(objects: Sequence[SceneObject], view: View, ground: Pixels) -> bytes:
    """Return the picture as PNG, the same bytes for the same things.

    Args:
        objects: the parts; a mark that does not fit its part is left out.
        view: the projection, and the size of the picture.
        ground: the picture without the parts, ``(rows, columns, 3) float64``, 0 to 255.
    """
    picture = _Picture.empty((view.rows * FINE, view.columns * FINE))
    stamps: dict[tuple[int, int], _Stamp] = {}
    for index, piece in enumerate(objects):
        key = id(piece.mesh), piece.turn
        if key not in stamps:
            stamps[key] = _stamp(view, piece)
        picture.add(index, stamps[key], view.moved(piece.at))
    pixels = _composed(picture, ground, [_rgb(piece.colour) for piece in objects])
    _write_marks(pixels, view, objects)
    return write_png(np.clip(np.round(pixels), 0, 255).astype(np.uint8))


def _composed(picture: _Picture, ground: Pixels, colours: Sequence[Sequence[float]]) -> Pixels:
    """Return the picture ``(rows, columns, 3)``, 0 to 255: the pieces in ``colours`` over the picture without them."""
    bare = picture.owner < 0
    shadow = np.roll(~bare, (_SHADOW, _SHADOW), axis=(0, 1)) & bare
    left = np.where(bare, np.where(shadow, _SHADE, 1.0), 0.0)
    lit, edges = picture.light.copy(), picture.edges
    for shade in (left, lit):
        shade[edges] *= _EDGE_SHADE
    pixels = ground * _coarse(left)[:, :, None]
    palette = np.array([*colours, (0.0, 0.0, 0.0)])  # index -1, no piece, takes the last
    for channel in range(3):
        pixels[:, :, channel] += _coarse(palette[:, channel][picture.owner] * lit)
    return pixels


def _coarse(fine: Pixels) -> Pixels:
    """Return the mean of each pixel's fine pixels, ``(rows, columns)``."""
    rows, columns = (count // FINE for count in fine.shape)
    total = np.zeros((rows, columns), dtype=np.float64)
    for i, k in product(range(FINE), repeat=2):  # slices take 0.6 ms, a mean over two short axes 2.8 ms
        total += fine[i::FINE, k::FINE]
    return total / FINE**2


def _stamp(view: View, piece: SceneObject) -> _Stamp:
    """Return a piece rasterised at the base's corner."""
    points = piece.turned
    corners = points[piece.mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.sqrt((normals**2).sum(axis=1))
    faced = normals[:, 2] * sin(TILT) - normals[:, 1] * cos(TILT) > 0.0
    lit = sum(normals[:, axis] * along for axis, along in enumerate(_LIGHT)) / np.maximum(lengths, _LEAST_NORMAL)
    light = (_DARKEST + (1.0 - _DARKEST) * np.clip(lit, 0.0, 1.0))[faced]
    seen = view.seen(points)
    first = np.floor(seen[:, :2].min(axis=0)).astype(np.int64)
    wide, high = (np.ceil(seen[:, :2].max(axis=0)).astype(np.int64) - first).tolist()
    local = seen - np.array([*first, 0.0])
    sprite = draw_triangles(local[piece.mesh.triangles[faced]], (high, wide))
    return _Stamp(sprite, np.append(light, 0.0)[sprite.triangles], (int(first[0]), int(first[1])))


def _write_marks(pixels: Pixels, view: View, objects: Sequence[SceneObject]) -> None:
    """Write each piece's mark over the middle of its top, in the largest size that fits, without covering another."""
    taken = np.zeros(pixels.shape[:2], dtype=np.bool_)
    for piece in objects:
        points = piece.turned + np.array(piece.at)
        low, high = points.min(axis=0), points.max(axis=0)
        middle = np.array([[*((low + high)[:2] / 2.0), high[2]]])
        column, row, _ = (view.seen(middle)[0] / FINE).tolist()
        room = (high - low)[:2] * view.scale / FINE * np.array([1.0, sin(TILT)]) - 2.0
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
                pixels[there] += (np.array(colour, dtype=np.float64) - pixels[there]) * strength[:, :, None]
            break


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
    coverage: Pixels = covered.reshape(tall, _LETTER_FINE, wide, _LETTER_FINE).mean(axis=(1, 3))
    return coverage


def _dilated(ink: Pixels) -> Pixels:
    """Return the coverage of a text dilated by one pixel: its outline in a contrasting colour."""
    padded = np.pad(ink, 1)
    rows, columns = ink.shape
    grown = [padded[i : i + rows, k : k + columns] for i in range(3) for k in range(3)]
    spread: Pixels = np.max(grown, axis=0) * 0.85
    return spread


def _rgb(colour: str) -> list[float]:
    """Return red, green and blue, 0 to 255, with dark colours lightened so that their shading is visible."""
    return [_LIFT + (255.0 - _LIFT) * int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
