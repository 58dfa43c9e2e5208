"""The sides of a flat body that mirror the sheet: they look like the field, so that the top alone is told from it.

A camera beside a thing sees the sides that face it. They are lit otherwise than the top and take the field's colour,
so that an edge runs within what was found where sides are a part of it. Where none does, the top is all that was found.
"""

from typing import Final

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from worker.silhouettes.photo.parallax import largest, scaled
from worker.silhouettes.photo.rectify import Rectified

__all__ = ["mirrors_sheet", "with_sides"]

#: Distance from edges within which pixels are mixtures, and from the sides within which the top is compared, mm.
_MIXED: Final = 0.25
_NEAR: Final = 1.5
#: Least area of visible sides to be compared, mm2.
_LEAST_AREA: Final = 3.0
#: Length of the difference of the logarithms of three colours below which sides and top are one. On path-traced photos
#: it was 0.06 to 0.39 where sides of metal were missing, and 0.6 to 3 where sides were found.
_ALIKE: Final = 0.5
#: Heights at which copies of the top are laid.
_STEPS: Final = 13
#: Light that is added before logarithms, as a share of full light.
_FLOOR: Final = 0.004


def mirrors_sheet(outline: shapely.Polygon, view: Rectified, nadir: NDArray[np.float64], share: float) -> bool:
    """Return whether the sides of a flat body are missing in what was found of it.

    If they were not, they would differ from the top beside them in their light. Where they would be too narrow to be
    compared, nothing is missing that matters.

    Args:
        outline: of what was found, mm.
        view: the field.
        nadir: `(2,)`, the point of the sheet below the camera, mm.
        share: thickness of the thing by the camera's height.
    """
    base = outline & scaled(outline, nadir, 1.0 - share)
    top = scaled(base, nadir, 1.0 / (1.0 - share))
    sides = (outline - top).buffer(-_MIXED)
    beside = (top & sides.buffer(_NEAR + 2.0 * _MIXED)).buffer(-_MIXED)
    if min(sides.area, beside.area) < _LEAST_AREA:
        return False
    masks = [_mask(region, view) > 0 for region in (sides, beside)]
    if not all(mask.any() for mask in masks):
        return False
    light = [np.log(view.light[mask].astype(np.float64) + _FLOOR).mean(axis=0) for mask in masks]
    return float(np.linalg.norm(light[0] - light[1])) < _ALIKE


def with_sides(outline: shapely.Polygon, nadir: NDArray[np.float64], share: float) -> shapely.Polygon:
    """Return what a flat body hides of the sheet whose top alone is in an outline, mm."""
    steps = np.linspace(0.0, share, _STEPS).tolist()
    return largest(shapely.union_all([scaled(outline, nadir, 1.0 - at) for at in steps]))


def _mask(region: shapely.Geometry, view: Rectified) -> NDArray[np.uint8]:
    mask = np.zeros(view.light.shape[:2], dtype=np.uint8)
    for part in shapely.get_parts(region):
        for ring, value in ((part.exterior, 1), *((hole, 0) for hole in part.interiors)):
            corners = np.round(view.to_pixels(shapely.get_coordinates(ring))).astype(np.int32)
            cv2.fillPoly(mask, [corners], value)
    return mask
