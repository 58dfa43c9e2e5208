"""From the outline that a camera sees on the sheet to the thing's own, seen from straight above.

A point at height z appears on the sheet farther from the nadir, the point below the camera, by the factor Z / (Z - z),
where Z is the camera's height: similar triangles.
"""

from math import ceil
from typing import Final, Literal, TypeAlias, TypeVar

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

__all__ = ["Body", "corrected", "grown", "largest", "scaled", "union_over_heights", "unseen_flanks"]

_ShapeT = TypeVar("_ShapeT", bound=shapely.Geometry)

#: How a thing's sides run: straight up (flat), round across the sheet like a pen, or otherwise (stepped).
Body: TypeAlias = Literal["flat", "round", "stepped"]

#: Farthest that a point may move between two heights of the union, mm, and most heights.
_STEP: Final = 0.3
_MOST_STEPS: Final = 48
#: Heights as shares of the thickness at which the outline of a body may be. The lower ones of a flat body allow for
#: rounded edges, those of a round one for its ends, and for lines of sight that touch it above and below its middle.
_HEIGHTS: Final[dict[Body, tuple[float, float]]] = {"flat": (0.8, 1.0), "round": (0.25, 0.75), "stepped": (0.0, 1.0)}

#: Largest share of a round body's thickness that its flanks can hide on a side: where they lean over by 45 degrees and
#: more they mirror what lies below (1/2 - sqrt(1/8)), and a little for blur.
_FLANK: Final = 0.18

#: Share of a round body that is about as wide as it is thick, and how exactly that width is found, mm.
_MOST_OF_IT: Final = 0.5
_RADIUS_STEP: Final = 0.02

#: Corners closer than this to a line are left out, mm.
_SIMPLIFY: Final = 0.015


def corrected(
    seen: shapely.Polygon, nadir: NDArray[np.float64], height: float, thickness: float, body: Body
) -> shapely.Polygon:
    """Return the likely outline from above: exact for a flat body, close for a round one.

    What is seen of a flat body is its top and its foot: in both scales at once lies the body. The widest part of a
    round one is at half its height. No photo says at which height a stepped one is wide, so it gets the union.

    Args:
        seen: the outline that it hides of the sheet, mm.
        nadir: `(2,)`, the point of the sheet below the camera, mm.
        height: of the camera, mm.
        thickness: of the thing as it lies, mm.
        body: how its sides run.
    """
    if body == "round":
        return scaled(seen, nadir, 1.0 - thickness / (2.0 * height))
    if body == "flat":
        return largest(seen & scaled(seen, nadir, 1.0 - thickness / height))
    return union_over_heights(seen, nadir, height, thickness)


def union_over_heights(
    seen: shapely.Polygon, nadir: NDArray[np.float64], height: float, thickness: float, body: Body = "stepped"
) -> shapely.Polygon:
    """Return an outline that contains the thing from above.

    Each of its points lies at some height in [0, thickness], so it lies in what is seen, scaled for that height. Of a
    flat body all heights have the same outline, so the greatest do, and of a round one those about its middle.

    Args:
        seen: the outline that it hides of the sheet, mm.
        nadir: `(2,)`, the point of the sheet below the camera, mm.
        height: of the camera, mm.
        thickness: of the thing as it lies, mm.
        body: how its sides run; a stepped one may have any.
    """
    reach = float(np.linalg.norm(shapely.get_coordinates(seen) - nadir, axis=1).max()) * thickness / height
    low, high = _HEIGHTS[body]
    reach *= high - low
    steps = min(max(ceil(reach / _STEP), 1), _MOST_STEPS)
    plain = largest(seen.simplify(_SIMPLIFY))
    shares = np.linspace(low, high, steps + 1) * thickness / height
    union = largest(shapely.union_all([scaled(plain, nadir, 1.0 - share) for share in shares.tolist()]))
    # between two copies the outline moves along a line: closing by half a step covers what they leave
    gap = 0.5 * reach / steps
    closed = largest(union.buffer(gap).buffer(-gap) | union)
    return grown(closed, 0.0)


def grown(outline: shapely.Polygon, by: float) -> shapely.Polygon:
    """Return an outline with a margin, mm, and few corners (1,500 instead of 13,900 of a block), around all of it."""
    return largest(outline.buffer(by + _SIMPLIFY).simplify(_SIMPLIFY))


def unseen_flanks(likely: shapely.Polygon, thickness: float) -> float:
    """Return by how much a round body's outline is too narrow on each side, mm.

    Its flanks face the sheet, and shiny ones mirror it. But most of it is as wide as it is thick: the width at which an
    opening of its outline leaves half of it says what is missing. At a bend it is wider, at its ends narrower.

    Args:
        likely: its outline from above, mm.
        thickness: of the thing as it lies, mm.
    """
    low, high = 0.0, thickness / 2.0
    while high - low > _RADIUS_STEP:
        middle = (low + high) / 2.0
        if likely.buffer(-middle).buffer(middle).area > _MOST_OF_IT * likely.area:
            low = middle
        else:
            high = middle
    return min(max(thickness / 2.0 - high, 0.0), _FLANK * thickness)


def scaled(shape: _ShapeT, centre: NDArray[np.float64], factor: float) -> _ShapeT:
    """Return a shape scaled about a point ``(2,)``, mm."""
    return shapely.affinity.scale(shape, factor, factor, origin=(float(centre[0]), float(centre[1])))


def largest(shape: shapely.Geometry) -> shapely.Polygon:
    """Return the polygon of a shape that has the largest area; an empty one where it has none."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return max(parts, key=lambda part: part.area, default=shapely.Polygon())
