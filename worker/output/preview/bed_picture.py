"""The preview picture of a print run: the bed from the front and above, with all pieces in their colours and marks.

The projection is parallel, so pieces of one mesh and rotation are rasterised once and copied (20 alike: 45 instead of
85 ms).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import cos, radians, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray

from worker.layout.tray.font import missing, placed
from worker.output.meshes.run_package import BedObject, turned_vertices
from worker.output.palette import PALETTE, rgb
from worker.output.preview.png import write_png
from worker.output.preview.raster import Sprite, draw_triangles, fill

#: Pixels along a side, and fine pixels for each of them along either axis; the margin around the bed in pixels.
SIDE: Final = 256
_FINE: Final = 2
_AROUND: Final = 6.0

#: Angle of the line of sight below the horizontal.
_TILT: Final = radians(62.0)

#: Unit vector towards the light: from the left, above and slightly in front; and the least brightness of a face.
_LIGHT: Final = (-0.48, -0.36, 0.80)
_DARKEST: Final = 0.42

_PAPER: Final = rgb(PALETTE["paper"])
_BED: Final = rgb(PALETTE["tile"])
_LINE: Final = rgb(PALETTE["line"])
_EDGE: Final = rgb(PALETTE["edge"])
_FORBIDDEN: Final = rgb(PALETTE["red"])
_PLAIN: Final = PALETTE["tray"]
_SHADE: Final = 0.72
_EDGE_SHADE: Final = 0.52
_LIFT: Final = 26.0

#: Offset of a piece's shadow, in fine pixels.
_SHADOW: Final = 3

#: Steps of depth larger than this are drawn as edges, in fine pixels.
_STEP: Final = 9.0

_LEAST_NORMAL: Final = 1e-12

#: Spacing of the bed's grid lines and of the hatching of forbidden areas, mm.
_LINES: Final = 50.0
_HATCH: Final = 4.0

#: Cap heights of marks, tried from the largest, in pixels, and sub-pixels along either axis of a pixel.
_CAPITALS: Final = (13.0, 11.0, 9.0, 7.0)
_LETTER_FINE: Final = 4
_INK: Final = rgb(PALETTE["on-green"])
_HALO: Final = rgb(PALETTE["ink"])

_Pixels = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _View:
    """A parallel projection: ``scale`` in fine pixels per mm, ``corner`` the bed's front left corner in fine pixels."""

    scale: float
    corner: tuple[float, float]
    side: int

    @staticmethod
    def of(bed: tuple[float, float], height: float) -> "_View":
        """Return the view that shows the bed with pieces up to this height, mm, as large as possible."""
        room = (SIDE - 2.0 * _AROUND) * _FINE
        tall = bed[1] * sin(_TILT) + height * cos(_TILT)
        scale = room / max(bed[0], tall)
        side = SIDE * _FINE
        return _View(scale, ((side - bed[0] * scale) / 2.0, (side + tall * scale) / 2.0), side)

    def seen(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return column, row and depth of points ``(n, 3) float64``, mm, in fine pixels; more depth is nearer.

        The result is ``(n, 3) float64``.
        """
        x, y, z = points.T
        return np.column_stack(
            [
                self.corner[0] + x * self.scale,
                self.corner[1] - (y * sin(_TILT) + z * cos(_TILT)) * self.scale,
                (z * sin(_TILT) - y * cos(_TILT)) * self.scale,
            ]
        )

    def moved(self, at: tuple[float, float]) -> NDArray[np.float64]:
        """Return the shift in column, row and depth, ``(3,) float64``, fine pixels, of a piece moved by ``at``, mm."""
        origin, there = self.seen(np.array([[0.0, 0.0, 0.0], [*at, 0.0]]))
        moved: NDArray[np.float64] = there - origin
        return moved

    def ground(self) -> tuple[_Pixels, _Pixels]:
        """Return x and y on the bed for each pixel, mm: ``(columns,) float64`` and ``(rows, 1) float64``."""
        middles = (np.arange(SIDE, dtype=np.float64) + 0.5) * _FINE
        return (
            (middles - self.corner[0]) / self.scale,
            ((self.corner[1] - middles) / (self.scale * sin(_TILT)))[:, None],
        )


@dataclass(frozen=True, slots=True)
class _Picture:
    """The nearest piece of each fine pixel, ``(rows, columns)``: its depth, its index or -1, and its brightness."""

    nearest: _Pixels
    owner: NDArray[np.int64]
    light: _Pixels

    @staticmethod
    def empty(side: int) -> "_Picture":
        """Return a picture of no piece."""
        shape = side, side
        return _Picture(np.full(shape, -np.inf), np.full(shape, -1), np.zeros(shape))

    def add(self, index: int, stamp: "_Stamp", at: NDArray[np.float64]) -> None:
        """Draw a piece, moved by columns, rows and nearness ``at``, where nothing is nearer."""
        column, row = (round(float(along)) + first for along, first in zip(at, stamp.first, strict=False))
        high, wide = stamp.sprite.depths.shape
        side = len(self.owner)
        top, left = max(row, 0), max(column, 0)
        there = slice(top, max(min(row + high, side), top)), slice(left, max(min(column + wide, side), left))
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
    """A piece rasterised at the bed's corner: its pixels, their brightness, column and row of the first pixel."""

    sprite: Sprite
    light: _Pixels
    first: tuple[int, int]


def draw_bed(
    objects: Sequence[BedObject],
    bed: tuple[float, float],
    forbidden: Sequence[tuple[float, float, float, float]] = (),
) -> bytes:
    """Return the picture of a bed with its pieces as PNG, 256 x 256 pixels; the same bytes for the same pieces.

    Args:
        objects: the pieces; one without a colour is drawn in the palette's colour of trays. A mark that does not fit is
            left out.
        bed: width and depth, mm.
        forbidden: areas as x, y, width and depth, mm; they are hatched.
    """
    view = _View.of(bed, max((float(np.ptp(piece.mesh.vertices[:, 2])) for piece in objects), default=0.0))
    picture = _Picture.empty(view.side)
    stamps: dict[tuple[int, int], _Stamp] = {}
    for index, piece in enumerate(objects):
        key = id(piece.mesh), piece.turn
        if key not in stamps:
            stamps[key] = _stamp(view, piece)
        picture.add(index, stamps[key], view.moved(piece.at))
    pixels = _composed(picture, _ground(view, bed, forbidden), [_rgb(piece.colour or _PLAIN) for piece in objects])
    _write_marks(pixels, view, objects)
    return write_png(np.clip(np.round(pixels), 0, 255).astype(np.uint8))


def _composed(picture: _Picture, ground: _Pixels, colours: Sequence[Sequence[float]]) -> _Pixels:
    """Return the picture ``(rows, columns, 3)``, 0 to 255: the pieces in ``colours`` over the picture of the bed."""
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


def _coarse(fine: _Pixels) -> _Pixels:
    """Return the mean of each pixel's fine pixels, ``(rows, columns)``."""
    total = np.zeros((SIDE, SIDE), dtype=np.float64)
    for i, k in product(range(_FINE), repeat=2):  # slices take 0.6 ms, a mean over two short axes 2.8 ms
        total += fine[i::_FINE, k::_FINE]
    return total / _FINE**2


def _ground(view: _View, bed: tuple[float, float], forbidden: Sequence[tuple[float, float, float, float]]) -> _Pixels:
    """Return the picture of the empty bed, ``(rows, columns, 3) float64``, 0 to 255."""
    x, y = view.ground()
    thick = _FINE / view.scale
    on = (x >= 0.0) & (x <= bed[0]) & (y >= 0.0) & (y <= bed[1])
    lines = on & ((x % _LINES < thick) | (y % _LINES < thick / sin(_TILT)))
    rim = on & ((x < thick) | (x > bed[0] - thick) | (y < thick) | (y > bed[1] - thick))
    picture = np.full((SIDE, SIDE, 3), _PAPER, dtype=np.float64)
    for where, colour in ((on, _BED), (lines, _LINE)):
        picture[where] = colour
    for left, front, width, depth in forbidden:
        inside = (x >= left) & (x <= left + width) & (y >= front) & (y <= front + depth)
        picture[inside & ((x + y) % (2.0 * _HATCH) < _HATCH)] = _FORBIDDEN
    picture[rim] = _EDGE
    return picture


def _stamp(view: _View, piece: BedObject) -> _Stamp:
    """Return a piece rasterised at the bed's corner."""
    points = turned_vertices(piece.mesh, piece.turn)
    corners = points[piece.mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.sqrt((normals**2).sum(axis=1))
    faced = normals[:, 2] * sin(_TILT) - normals[:, 1] * cos(_TILT) > 0.0
    lit = sum(normals[:, axis] * along for axis, along in enumerate(_LIGHT)) / np.maximum(lengths, _LEAST_NORMAL)
    light = (_DARKEST + (1.0 - _DARKEST) * np.clip(lit, 0.0, 1.0))[faced]
    seen = view.seen(points)
    first = np.floor(seen[:, :2].min(axis=0)).astype(np.int64)
    wide, high = (np.ceil(seen[:, :2].max(axis=0)).astype(np.int64) - first).tolist()
    local = seen - np.array([*first, 0.0])
    sprite = draw_triangles(local[piece.mesh.triangles[faced]], (high, wide))
    return _Stamp(sprite, np.append(light, 0.0)[sprite.triangles], (int(first[0]), int(first[1])))


def _write_marks(pixels: _Pixels, view: _View, objects: Sequence[BedObject]) -> None:
    """Write each piece's mark over the middle of its top, in the largest size that fits, without covering another."""
    taken = np.zeros(pixels.shape[:2], dtype=np.bool_)
    for piece in objects:
        points = piece.placed
        low, high = points.min(axis=0), points.max(axis=0)
        middle = np.array([[*((low + high)[:2] / 2.0), high[2]]])
        column, row, _ = (view.seen(middle)[0] / _FINE).tolist()
        room = (high - low)[:2] * view.scale / _FINE * np.array([1.0, sin(_TILT)]) - 2.0
        for capital in _CAPITALS:
            ink = _letters(piece.part_number, capital)
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


def _letters(text: str, capital: float) -> _Pixels | None:
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
    coverage: _Pixels = covered.reshape(tall, _LETTER_FINE, wide, _LETTER_FINE).mean(axis=(1, 3))
    return coverage


def _dilated(ink: _Pixels) -> _Pixels:
    """Return the coverage of a text dilated by one pixel: its outline in a contrasting colour."""
    padded = np.pad(ink, 1)
    rows, columns = ink.shape
    grown = [padded[i : i + rows, k : k + columns] for i in range(3) for k in range(3)]
    spread: _Pixels = np.max(grown, axis=0) * 0.85
    return spread


def _rgb(colour: str) -> list[float]:
    """Return red, green and blue, 0 to 255, with dark colours lightened so that their shading is visible."""
    return [_LIFT + (255.0 - _LIFT) * int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
