"""Two photos of a thing from opposite sides: each hides what the other shows."""

from collections.abc import Sequence
from typing import Final

import shapely

from worker.silhouettes.photo.refusals import refusal

__all__ = ["intersected"]

#: Least share of the smaller outline that both have in common: less, and the thing was moved.
_LEAST_COMMON: Final = 0.8


def intersected(outlines: Sequence[shapely.Polygon]) -> shapely.Polygon:
    """Return what all outlines have in common: if each of them takes the thing, this does too.

    Raises:
        PhotoRefused: if they have too little in common.
    """
    common = outlines[0]
    for other in outlines[1:]:
        least = min(common.area, other.area)
        parts = [part for part in shapely.get_parts(common & other) if isinstance(part, shapely.Polygon)]
        common = max(parts, key=lambda part: part.area, default=shapely.Polygon())
        if common.area < _LEAST_COMMON * least:
            share = common.area / least if least else 0.0
            raise refusal("thing-moved", value=round(share, 2), limit=f"at least {_LEAST_COMMON:g} in common")
    return common
