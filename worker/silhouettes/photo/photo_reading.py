"""From one or two photos of a thing on the reference sheet to its silhouette."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from PIL import Image, ImageDraw

from worker.silhouettes.photo.options import LARGEST_THICKNESS, PhotoOptions
from worker.silhouettes.photo.parallax import containing, corrected, grown, unseen_flanks
from worker.silhouettes.photo.photo_view import PhotoView, read_view
from worker.silhouettes.photo.picture import Pixels, encoded_light
from worker.silhouettes.photo.rectify import rectify
from worker.silhouettes.photo.refusals import refusal
from worker.silhouettes.photo.sheet import BAR
from worker.silhouettes.photo.two_views import intersected
from worker.silhouettes.silhouette import Silhouette

__all__ = ["Overlay", "PhotoReading", "read_photos"]

_MOST_PHOTOS: Final = 2
#: A print is this much larger or smaller at most: printers are off by less (common practice), scaling by more.
_MOST_SCALING: Final = 0.01
#: Standard deviations of the camera's height that the outline that takes the thing allows for.
_HEIGHT_SIGMAS: Final = 2.0
#: Flanks that were not seen may be more on one side than on the other: twice as much, where one is seen in full.
_EITHER_SIDE: Final = 1.5
_OVERLAY_PIXELS: Final = 4.0
_OVERLAY_EDGE: Final = 12.0
#: Below this height the outline of a thick thing is much larger than the thing, mm.
_ADVISED_HEIGHT: Final = 550.0


@dataclass(frozen=True, slots=True)
class Overlay:
    """The outline over the rectified photo.

    Attributes:
        png: the picture, without metadata.
        rectified: the same without the lines.
        left: x of its left edge in the silhouette's frame, mm.
        top: y of its upper edge, mm.
        per_mm: pixels a mm.
    """

    png: bytes
    rectified: bytes
    left: float
    top: float
    per_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class PhotoReading:
    """What photos say about a thing's shape; all in one frame, mm.

    Attributes:
        silhouette: an outline that takes the thing if its sides run as is said: for pockets.
        likely: the outline that is nearest to the thing's own, by how its sides are said to run.
        seen: what the thing hides of the sheet in each photo.
        overlay: both outlines over the first photo.
        photos: the photos' pixels, `(rows, columns, 3) uint8`, sRGB.
    """

    silhouette: Silhouette
    likely: Silhouette
    seen: tuple[shapely.Polygon, ...]
    overlay: Overlay
    photos: tuple[Pixels, ...]


def read_photos(photos: Sequence[bytes], options: PhotoOptions) -> PhotoReading:
    """Return the silhouette of the thing in one photo, or in two of it from opposite sides.

    Raises:
        PhotoRefused: with the reason, and what to do about it.
    """
    _check(photos, options)
    views = [read_view(photo, options) for photo in photos]
    thickness = options.thickness / _scale(options)  # all is reckoned in the sheet's own mm, as printed
    safes = [
        containing(view.outline, view.nadir, _lowest(view), thickness, options.body, whole=view.vivid) for view in views
    ]
    likelies = [corrected(view.outline, view.nadir, view.height, thickness, options.body) for view in views]
    if len({view.sheet.size for view in views}) > 1:
        raise refusal("thing-moved")
    safe, likely = intersected(safes), intersected(likelies)
    scale = _scale(options)
    likely = _scaled(likely, scale)
    mirrors = options.body == "round" and not all(view.vivid for view in views)
    unseen = unseen_flanks(likely, options.thickness) if mirrors else 0.0
    likely = likely.buffer(unseen)
    safe = grown(_scaled(safe, scale), options.margin + _EITHER_SIDE * unseen)
    warnings = _warnings(views, options, safe, likely, unseen)
    details = _details(views, scale)
    return PhotoReading(
        _silhouette(safe, options, _uncertainty(views, safe, likely), warnings, details),
        _silhouette(likely, options, _uncertainty(views, likely, likely), warnings, details),
        tuple(_scaled(view.outline, scale) for view in views),
        _overlay(views[0], scale, safe, likely),
        tuple(view.pixels for view in views),
    )


def _lowest(view: PhotoView) -> float:
    """Return the height from which the camera may have seen the thing, mm."""
    return view.height - _HEIGHT_SIGMAS * view.camera.height_sigma


def _check(photos: Sequence[bytes], options: PhotoOptions) -> None:
    if not 1 <= len(photos) <= _MOST_PHOTOS:
        raise refusal("photo-count", value=len(photos), limit=f"1 to {_MOST_PHOTOS}")
    if not (isfinite(options.thickness) and 0.0 < options.thickness <= LARGEST_THICKNESS):
        raise refusal("thickness", value=options.thickness, limit=f"over 0 and up to {LARGEST_THICKNESS:g} mm")
    if not abs(_scale(options) - 1.0) <= _MOST_SCALING:
        low, high = BAR * (1.0 - _MOST_SCALING), BAR * (1.0 + _MOST_SCALING)
        raise refusal("wrong-print-scale", value=options.bar, limit=f"{low:g} to {high:g} mm")


def _scale(options: PhotoOptions) -> float:
    """Return how much larger than drawn the sheet was printed."""
    return 1.0 if options.bar is None else options.bar / BAR


def _scaled(polygon: shapely.Polygon, scale: float) -> shapely.Polygon:
    return shapely.affinity.scale(polygon, scale, scale, origin=(0.0, 0.0))


def _silhouette(
    outline: shapely.Polygon, options: PhotoOptions, uncertainty: float,
    warnings: Sequence[str], details: dict[str, float | str],
) -> Silhouette:  # fmt: skip
    return Silhouette.of_polygon(
        outline, method="photo", uncertainty=uncertainty, depth=options.thickness, warnings=warnings, details=details
    )


#: 95 % of the points of what is seen are this near to the truth, mm, where the sides of the thing are seen (path-traced
#: photos, `.readme/silhouettes.md`).
_SEEN_ERROR: Final = 0.5


def _uncertainty(views: Sequence[PhotoView], outline: shapely.Polygon, likely: shapely.Polygon) -> float:
    """Return how far 95 % of an outline's points may be from the thing: what is seen, the height, and the margin."""
    places = np.arange(0.0, outline.length, 1.0)
    apart = shapely.distance(shapely.line_interpolate_point(outline.boundary, places), likely.boundary)
    spread = float(np.percentile(apart, 95.0))
    blur = max(view.edge for view in views) / 4.0
    return round(float(np.hypot(_SEEN_ERROR, blur)) + spread, 2)


def _warnings(
    views: Sequence[PhotoView], options: PhotoOptions, safe: shapely.Polygon, likely: shapely.Polygon, unseen: float
) -> list[str]:
    warnings = []
    if unseen > _MENTIONED:
        warnings.append(
            f"The thing's flanks mirror the sheet: {unseen:.1f} mm were added on all sides, as a round thing is as "
            "wide as it is thick."
        )
    if any(view.mirrors for view in views):
        warnings.append(
            "The thing's sides mirror the sheet: its top was found, and the sides were added by its thickness. Compare "
            "its size with a calliper."
        )
    if options.bar is None:
        warnings.append(
            "The printed scale is not proved: measure the ruler bar and give its length, or photograph a bank card."
        )
    if any(view.cropped for view in views):
        warnings.append("The photo seems to be cropped: send the original, else the camera's height is less certain.")
    excess = safe.area / max(likely.area, 1.0) - 1.0
    if min(view.height for view in views) < _ADVISED_HEIGHT and excess > _MUCH:
        warnings.append(
            f"The outline is {100.0 * excess:.0f} % larger than the thing, as the camera was only "
            f"{min(view.height for view in views):.0f} mm above the sheet: photograph from 600 mm or more, or add a "
            "second photo from the opposite side."
        )
    return warnings


#: Share of the thing's area by which the outline is larger before it is worth a warning.
_MUCH: Final = 0.15
#: Unseen part of a round thing's flanks that is worth a warning, mm.
_MENTIONED: Final = 0.2


def _details(views: Sequence[PhotoView], scale: float) -> dict[str, float | str]:
    details: dict[str, float | str] = {"sheet": views[0].sheet.size, "tint": views[0].tint, "print_scale": scale}
    for number, view in enumerate(views, start=1):
        details |= {
            f"camera_height_{number}": round(view.height * scale, 1),
            f"camera_tilt_{number}": round(view.camera.tilt, 2),
            f"residual_{number}": round(view.camera.residual, 3),
            f"edge_width_{number}": round(view.edge, 3),
        }
    return details


def _overlay(view: PhotoView, scale: float, safe: shapely.Polygon, likely: shapely.Polygon) -> Overlay:
    """Return the rectified photo around the thing with its outlines: the likely one thin, the one for pockets bold."""
    low_x, low_y, high_x, high_y = (bound / scale for bound in safe.bounds)
    width, height = view.sheet.outside
    box = (
        max(low_x - _OVERLAY_EDGE, 0.0),
        max(low_y - _OVERLAY_EDGE, 0.0),
        min(high_x + _OVERLAY_EDGE, width),
        min(high_y + _OVERLAY_EDGE, height),
    )
    rectified = rectify(view.pixels, view.camera, box, _OVERLAY_PIXELS)
    image = Image.fromarray(encoded_light(rectified.light))
    # drawn at twice the size, so that the lines are smooth
    large = image.resize((2 * image.width, 2 * image.height), Image.Resampling.BICUBIC)
    draw = ImageDraw.Draw(large)
    for outline, colour, line in ((likely, (255, 255, 255), 2), (safe, (230, 0, 120), 4)):
        for ring in (outline.exterior, *outline.interiors):
            pixels = rectified.to_pixels(shapely.get_coordinates(ring) / scale)
            draw.line([(2.0 * x + 1.0, 2.0 * y + 1.0) for x, y in pixels], fill=colour, width=line, joint="curve")
    drawn = large.resize(image.size, Image.Resampling.BOX)
    return Overlay(_png(drawn), _png(image), box[0] * scale, box[3] * scale, _OVERLAY_PIXELS / scale)


def _png(image: Image.Image) -> bytes:
    file = io.BytesIO()
    image.save(file, "PNG", optimize=False)
    return file.getvalue()
