"""The sheet as if photographed from straight above: in linear light, at a whole number of pixels a mm."""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from worker.silhouettes.photo.camera import Camera, Points
from worker.silhouettes.photo.picture import Pixels, linear_light

__all__ = ["Rectified", "rectify"]

#: Pixels a mm of the rectified photo at most: more show nothing more of an outline.
_MOST_PIXELS: Final = 6.0
#: The camera is evaluated at every so many pixels: between, a straight line is within 0.01 pixels.
_GRID: Final = 8
#: A photo with this many times more pixels a mm than the result is averaged.
_AVERAGED: Final = 1.4


@dataclass(frozen=True, slots=True, eq=False)
class Rectified:
    """A rectangle of the sheet, seen from above.

    Attributes:
        light: `(rows, columns, 3) float32`, linear light from 0 to 1.
        left: x of the left edge, mm.
        top: y of the upper edge, mm.
        per_mm: pixels a mm.
    """

    light: NDArray[np.float32]
    left: float
    top: float
    per_mm: float

    def to_sheet(self, pixels: Points) -> Points:
        """Return pixel coordinates, with the first pixel's centre at 0, as mm in the sheet's frame."""
        flat: Points = np.array([self.left, self.top]) + (pixels + 0.5) * np.array([1.0, -1.0]) / self.per_mm
        return flat

    def to_pixels(self, points: Points) -> Points:
        """Return points in mm as pixel coordinates."""
        pixels: Points = (points - np.array([self.left, self.top])) * np.array([1.0, -1.0]) * self.per_mm - 0.5
        return pixels


def rectify(
    pixels: Pixels, camera: Camera, box: tuple[float, float, float, float], per_mm: float | None = None
) -> Rectified:
    """Return a rectangle of the sheet ``(left, bottom, right, top)``, mm, from above.

    Args:
        pixels: the photo.
        camera: its camera.
        box: the rectangle.
        per_mm: pixels a mm; as many as the photo has if None.
    """
    left, bottom, right, top = box
    if per_mm is None:
        corners = np.array([(left, bottom), (right, bottom), (right, top), (left, top)])
        seen = camera.project(corners)
        lengths = np.linalg.norm(seen - np.roll(seen, 1, axis=0), axis=1)
        true = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
        per_mm = min(_MOST_PIXELS, float(np.ceil((lengths / true).max())))
    columns, rows = round((right - left) * per_mm), round((top - bottom) * per_mm)
    # one more cell on each side, as there is nothing between the outermost points and the edge
    grid_x = np.arange(-_GRID, columns + _GRID, _GRID) + (_GRID - 1) / 2.0
    grid_y = np.arange(-_GRID, rows + _GRID, _GRID) + (_GRID - 1) / 2.0
    x, y = np.meshgrid(left + (grid_x + 0.5) / per_mm, top - (grid_y + 0.5) / per_mm)
    coarse = camera.project(np.stack([x.ravel(), y.ravel()], axis=1)).reshape(*x.shape, 2)
    # the part of the photo that is needed, so that no more of it becomes linear light
    low = np.maximum(np.floor(coarse.min(axis=(0, 1))).astype(int) - 4, 0)
    high = np.minimum(np.ceil(coarse.max(axis=(0, 1))).astype(int) + 5, [pixels.shape[1], pixels.shape[0]])
    part = linear_light(pixels[low[1] : high[1], low[0] : high[0]])
    local = coarse - low
    # a photo that is finer than the result is averaged first, else every other pixel would be left out
    finer = float(np.linalg.norm(coarse[0, 1] - coarse[0, 0])) / _GRID
    if finer > _AVERAGED:
        size = (round(part.shape[1] / finer), round(part.shape[0] / finer))
        ratio = np.array([size[0] / part.shape[1], size[1] / part.shape[0]])
        part = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
        local = (local + 0.5) * ratio - 0.5
    full = cv2.resize(local.astype(np.float32), (len(grid_x) * _GRID, len(grid_y) * _GRID))
    full = full[_GRID : _GRID + rows, _GRID : _GRID + columns]
    light = cv2.remap(part, full[..., 0], full[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return Rectified(np.clip(light, 0.0, 1.0).astype(np.float32), left, top, per_mm)
