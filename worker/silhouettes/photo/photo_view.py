"""One photo: the sheet in it, its camera, and what the thing hides of the sheet."""

from dataclasses import dataclass
from math import hypot
from typing import Final

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from worker.silhouettes.photo.camera import Camera, FocalPrior, Points, fit_camera
from worker.silhouettes.photo.detection import Grey, edge_width, find_markers, find_saddles, seen_sheet
from worker.silhouettes.photo.options import PhotoOptions
from worker.silhouettes.photo.picture import Picture, Pixels, decode
from worker.silhouettes.photo.rectify import rectify
from worker.silhouettes.photo.refusals import refusal
from worker.silhouettes.photo.segmentation import segment
from worker.silhouettes.photo.sheet import TINTS, ReferenceSheet, Tint
from worker.silhouettes.photo.sides import mirrors_sheet, with_sides

__all__ = ["PhotoView", "read_view"]

#: The logarithm of EXIF's focal length is right within this (rounded figures of several phones, from memory); without
#: EXIF these equivalent focal lengths are tried, mm, each within the second figure.
_EXIF_SIGMA: Final = 0.03
_LENSES: Final = (26.0, 52.0)
_LENS_SIGMA: Final = 0.3
_FRAME: Final = hypot(36.0, 24.0)
#: A fit without EXIF must be better by this share of the cost to be believed: then the photo was cropped.
_CROPPED: Final = 0.5

#: Fewest markers to look for saddles, fewest saddles, and least share of the ring's area within them.
_LEAST_MARKERS: Final = 12
_LEAST_SADDLES: Final = 50
_LEAST_COVER: Final = 0.9
#: Largest residual: pixels, and mm on the sheet where a photo has many pixels a mm.
_MOST_RESIDUAL: Final = (0.3, 0.065)
_MOST_TILT: Final = 25.0
_LEAST_HEIGHT: Final = 300.0
#: Largest thickness as a share of the camera's height: beyond it the thing's sides hide too much.
_MOST_SHARE: Final = 0.2
#: A photo of this longer side in which fine structures, of 2 pixels, are less than this share of all is blurred: a
#: sharp one has 0.15, one whose markers are just read 0.05.
_DETAIL_SIDE: Final = 1600
_LEAST_DETAIL: Final = 0.045
#: Widest edge of a sharp photo, mm.
_MOST_EDGE: Final = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class PhotoView:
    """What one photo says.

    Attributes:
        pixels: the photo.
        sheet: the sheet in it.
        tint: the colour of its field.
        camera: where it was taken from, and through which lens.
        outline: what the thing hides of the sheet, mm.
        edge: width of the sheet's edges in the photo, mm.
        cropped: whether EXIF's focal length does not fit the photo.
        mirrors: whether the thing's sides look like the sheet, so that they were added to its top.
        vivid: whether the thing is coloured, so that its sides are told from the sheet.
    """

    pixels: Pixels
    sheet: ReferenceSheet
    tint: Tint
    camera: Camera
    outline: shapely.Polygon
    edge: float
    cropped: bool
    mirrors: bool = False
    vivid: bool = False

    @property
    def nadir(self) -> NDArray[np.float64]:
        """`(2,) float64, mm`: the point of the sheet below the camera."""
        return self.camera.centre[:2]

    @property
    def height(self) -> float:
        """Height of the camera above the sheet, mm."""
        return float(self.camera.centre[2])


def read_view(photo: bytes, options: PhotoOptions) -> PhotoView:
    """Return what a photo says.

    Raises:
        PhotoRefused: if it says nothing reliable.
    """
    picture = decode(photo)
    grey = cv2.cvtColor(picture.pixels, cv2.COLOR_RGB2GRAY).astype(np.uint8, copy=False)
    sheet, camera, cropped = _locate(picture, grey)
    if options.size not in {None, sheet.size}:
        raise refusal("wrong-sheet", value=options.size, limit=sheet.size)
    _check_pose(camera, options.thickness)
    edge = edge_width(grey, camera, sheet)
    if edge > _MOST_EDGE:
        raise refusal("blurred", value=round(edge, 2), limit=f"edges up to {_MOST_EDGE:g} mm wide")
    rectified = rectify(picture.pixels, camera, sheet.field)
    tint = _tint(rectified.light)
    if options.tint not in {None, tint}:
        raise refusal("wrong-sheet", value=options.tint, limit=tint)
    share, nadir = options.thickness / float(camera.centre[2]), camera.centre[:2]
    segmented = segment(rectified, nadir, share)
    outline = segmented.outline
    mirrors = options.body == "flat" and mirrors_sheet(outline, rectified, nadir, share)
    if mirrors:
        outline = with_sides(outline, nadir, share)
    return PhotoView(picture.pixels, sheet, tint, camera, outline, edge, cropped, mirrors, segmented.vivid)


def _locate(picture: Picture, grey: Grey) -> tuple[ReferenceSheet, Camera, bool]:
    """Return the sheet, its camera, and whether EXIF contradicts it."""
    sheet, flat, image = seen_sheet(find_markers(grey))
    if len(flat) < 4 * _LEAST_MARKERS:
        raise _few_markers(grey, len(flat) // 4)
    camera, cropped = _fit(flat, image, picture)
    # twice, as the markers' corners put the saddles less well than saddles do
    for _ in range(2):
        flat, image = find_saddles(grey, camera, sheet)
        if len(flat) < _LEAST_SADDLES or _cover(flat, sheet) < _LEAST_COVER:
            raise _covered(grey, camera, sheet, len(flat))
        camera, cropped = _fit(flat, image, picture)
    steps = camera.project(flat + np.array([1.0, 0.0])) - camera.project(flat)
    per_mm = float(np.median(np.linalg.norm(steps, axis=1)))
    limit = max(_MOST_RESIDUAL[0], _MOST_RESIDUAL[1] * per_mm)
    if camera.residual > limit:
        raise refusal("sheet-curled", value=round(camera.residual, 3), limit=f"{limit:.2f} pixels")
    return sheet, camera, cropped


def _fit(flat: Points, image: Points, picture: Picture) -> tuple[Camera, bool]:
    height, width = picture.pixels.shape[:2]
    diagonal = hypot(width, height)
    free = [FocalPrior(lens / _FRAME * diagonal, _LENS_SIGMA) for lens in _LENSES]
    if picture.focal is None:
        return min((fit_camera(flat, image, (width, height), prior) for prior in free), key=lambda fit: fit.cost), False
    camera = fit_camera(flat, image, (width, height), FocalPrior(picture.focal, _EXIF_SIGMA))
    if camera.cost < 4.0 * len(flat):
        return camera, False
    other = min((fit_camera(flat, image, (width, height), prior) for prior in free), key=lambda fit: fit.cost)
    return (other, True) if other.cost < _CROPPED * camera.cost else (camera, False)


def _few_markers(grey: Grey, count: int) -> Exception:
    """Return the refusal: a photo without any fine detail is blurred."""
    scale = min(1.0, _DETAIL_SIDE / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA).astype(np.float64)
    detail = float(np.abs(small - cv2.GaussianBlur(small, (0, 0), 2.0)).mean())
    if detail < _LEAST_DETAIL * float(small.std()):
        return refusal("blurred")
    return refusal("too-few-markers", value=count, limit=f"at least {_LEAST_MARKERS} markers")


def _covered(grey: Grey, camera: Camera, sheet: ReferenceSheet, count: int) -> Exception:
    """Return the refusal for missing saddles: outside of the picture, blurred, or covered."""
    seen = camera.project(np.array(sheet.saddles))
    height, width = grey.shape
    outside = ((seen < 0) | (seen > np.array([width, height]) - 1)).any(axis=1).mean()
    limit = f"at least {_LEAST_SADDLES} corners of squares, on all sides"
    if outside > 0.5 * (1.0 - count / len(seen)):
        return refusal("sheet-cut-off", value=count, limit=limit)
    if edge_width(grey, camera, sheet) > _MOST_EDGE:
        return refusal("blurred")
    return refusal("thing-across-border", value=count, limit=limit)


def _cover(flat: Points, sheet: ReferenceSheet) -> float:
    hull = shapely.MultiPoint(flat).convex_hull.area
    return float(hull / shapely.MultiPoint(sheet.saddles).convex_hull.area)


def _check_pose(camera: Camera, thickness: float) -> None:
    if camera.tilt > _MOST_TILT:
        raise refusal("too-tilted", value=round(camera.tilt, 1), limit=f"{_MOST_TILT:g} degrees")
    height = float(camera.centre[2])
    least = max(_LEAST_HEIGHT, thickness / _MOST_SHARE)
    # without EXIF a photo from straight above hardly says how high the camera was
    if height + 2.0 * camera.height_sigma < least:
        raise refusal("camera-too-low", value=round(height), limit=f"at least {least:.0f} mm above the sheet")


def _tint(light: NDArray[np.float32]) -> Tint:
    """Return the tint whose hue is nearest to the rim of the field."""
    rim = np.concatenate([light[8:24].reshape(-1, 3), light[-24:-8].reshape(-1, 3)])
    logs = np.log(np.median(rim, axis=0).astype(np.float64) + 1e-3)
    chroma = logs - logs.mean()

    def alike(tint: Tint) -> float:
        colour = np.log((np.array(TINTS[tint]) / 255.0) ** 2.2)
        return float(chroma @ (colour - colour.mean()))

    return max(TINTS, key=alike)
