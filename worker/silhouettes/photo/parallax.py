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

__all__ = ["Body", "containing", "corrected", "grown", "largest", "scaled", "union_over_heights", "unseen_flanks"]

_ShapeT = TypeVar("_ShapeT", bound=shapely.Geometry)

#: How a thing's sides run: straight up (flat), round across the sheet like a pen, or otherwise (stepped).
Body: TypeAlias = Literal["flat", "round", "stepped"]

#: Farthest that a point may move between two heights of the union, mm, and most heights.
_STEP: Final = 0.3
_MOST_STEPS: Final = 48
#: Heights as shares of the thickness between which the sides of a flat body are straight and seen, and between which
#: the axis of a round one may lie: the tenths allow for rounded edges, and for errors of the thickness and the camera's
#: height. The lower part of sides in the shade is often not seen.
_STRAIGHT: Final = (0.4, 0.9)
_AXIS: Final = (0.45, 0.55)
#: How far wide parts of an outline are restored at their corners: a right angle is, the point of a cone is not.
_MITRE_LIMIT: Final = 1.5
#: How much wider than high the axis lies a part must be to be left out: discs in a cone reach past where they fit.
_THICKER: Final = 1.3

#: Largest share of a round body's thickness that its flanks can hide on a side: where they lean over by 45 degrees and
#: more they mirror what lies below (1/2 - sqrt(1/8)), and a little for blur.
_FLANK: Final = 0.18

#: Share of a round body that is about as wide as it is thick, of a straight one and of a bent one, and how exactly that
#: width is found, mm. A torch is so only at its head; a bent rod is wider at its bends.
_WIDEST: Final = 0.2
_WIDEST_BENT: Final = 0.6
_RADIUS_STEP: Final = 0.02

#: Share that a straight round body's outline has in common with its mirror image; bent rods have less. The axis is that
#: of what a disc of this share of the thickness reaches: stumps of ends that are seen in part do not turn it.
_ALIKE: Final = 0.75
_CORE: Final = 0.25
_GRID: Final = 1e-4

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


def containing(
    seen: shapely.Polygon,
    nadir: NDArray[np.float64],
    height: float,
    thickness: float,
    body: Body,
    *,
    whole: bool = True,
) -> shapely.Polygon:
    """Return an outline that contains the thing from above, if its sides run as is said.

    Each point of the thing's outline lies at some height, so it lies in what is seen, scaled for that height. The
    outline of a flat body lies at all heights of its straight sides: so it lies in what the scales have in common. The
    widest part of a round one is its axis, which is at half its height where it is thickest, and not lower than it is
    thick elsewhere; where its sides are not all seen, it may show on one side of the axis only. That of a stepped one
    may lie at any height.

    Args:
        seen: the outline that it hides of the sheet, mm.
        nadir: `(2,)`, the point of the sheet below the camera, mm.
        height: of the camera, mm.
        thickness: of the thing as it lies, mm.
        body: how its sides run.
        whole: whether the ends of a round body are seen, in the shade too.
    """
    if body == "stepped":
        return union_over_heights(seen, nadir, height, thickness)
    plain = largest(seen.simplify(_SIMPLIFY))
    if body == "flat":
        low, high = (scaled(plain, nadir, 1.0 - share * thickness / height) for share in _STRAIGHT)
        return grown(largest(low & high), 0.0)
    steps = _steps(seen, nadir, thickness / height)
    middle = union_over_heights(plain, nadir, height, thickness, _AXIS)
    thin = []
    for low in np.arange(0.0, _AXIS[0], 1.0 / steps).tolist():
        outline = scaled(plain, nadir, 1.0 - low * thickness / height)
        # all that is thicker than this height and the next one lies higher
        least = _THICKER * (low + 1.0 / steps) * thickness
        thin.append(outline - outline.buffer(-least).buffer(least, join_style="mitre", mitre_limit=_MITRE_LIMIT))
    outline = largest(shapely.union_all([middle, *thin], grid_size=_GRID))
    return grown(outline if whole else _symmetric(outline, thickness), 0.0)


def _symmetric(outline: shapely.Polygon, thickness: float) -> shapely.Polygon:
    """Return the outline of a round body with its mirror image at its axis, if they are alike.

    Its ends are vertical, and shiny or black ones that face the camera mirror the sheet or its shadow, seldom on both
    sides of the axis alike: what is seen on one side shows what is missing on the other.
    """
    image = _mirror_image(outline, thickness)
    return outline if image is None else largest(shapely.union(grown(outline, 0.0), image, grid_size=_GRID))


def _mirror_image(outline: shapely.Polygon, thickness: float) -> shapely.Polygon | None:
    """Return the mirror image of a round body's outline at its axis; None where they are not alike, as of bent rods."""
    outline = grown(outline, 0.0)  # slivers of what was united are left out
    core = largest(outline.buffer(-_CORE * thickness).buffer(_CORE * thickness))
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(core if core.area else outline))[:4]
    longer = max(np.diff(box[:3], axis=0), key=lambda side: round(float(np.linalg.norm(side)), 3))
    angle, centre = np.arctan2(longer[1], longer[0]), box.mean(axis=0)
    mirror = np.array([[np.cos(2 * angle), np.sin(2 * angle)], [np.sin(2 * angle), -np.cos(2 * angle)]])
    image = shapely.affinity.affine_transform(outline, [*mirror.ravel(), *(centre - mirror @ centre)])
    # sides that all but coincide fail without a grid
    common = shapely.intersection(outline, image, grid_size=_GRID).area
    return image if common > _ALIKE * (outline.area + image.area - common) else None


def union_over_heights(
    seen: shapely.Polygon,
    nadir: NDArray[np.float64],
    height: float,
    thickness: float,
    shares: tuple[float, float] = (0.0, 1.0),
) -> shapely.Polygon:
    """Return an outline that contains a thing of any sides whose outline lies between two heights.

    Args:
        seen: the outline that it hides of the sheet, mm.
        nadir: `(2,)`, the point of the sheet below the camera, mm.
        height: of the camera, mm.
        thickness: of the thing as it lies, mm.
        shares: the heights, as shares of the thickness.
    """
    low, high = (share * thickness / height for share in shares)
    steps = _steps(seen, nadir, high - low)
    plain = largest(seen.simplify(_SIMPLIFY))
    factors = (1.0 - np.linspace(low, high, steps + 1)).tolist()
    union = largest(shapely.union_all([scaled(plain, nadir, factor) for factor in factors]))
    # between two copies the outline moves along a line: closing by half a step covers what they leave
    gap = 0.5 * _reach(seen, nadir) * (high - low) / steps
    closed = largest(union.buffer(gap).buffer(-gap) | union)
    return grown(closed, 0.0)


def _steps(seen: shapely.Polygon, nadir: NDArray[np.float64], share: float) -> int:
    """Return in how many steps an outline is scaled by a share of itself, so that none of them is long."""
    return min(max(ceil(_reach(seen, nadir) * share / _STEP), 1), _MOST_STEPS)


def _reach(seen: shapely.Polygon, nadir: NDArray[np.float64]) -> float:
    """Return the distance of the farthest point from the nadir, mm."""
    return float(np.linalg.norm(shapely.get_coordinates(seen) - nadir, axis=1).max())


def grown(outline: shapely.Polygon, by: float) -> shapely.Polygon:
    """Return an outline with a margin, mm, and few corners (1,500 instead of 13,900 of a block), around all of it."""
    return largest(outline.buffer(by + _SIMPLIFY).simplify(_SIMPLIFY))


def unseen_flanks(likely: shapely.Polygon, thickness: float) -> float:
    """Return by how much a round body's outline is too narrow on each side, mm.

    Its flanks face the sheet, and shiny ones mirror it. But where it is thickest it is as wide: the width at which an
    opening of its outline leaves a part of it says what is missing. At a bend it is wider.

    Args:
        likely: its outline from above, mm.
        thickness: of the thing as it lies, mm.
    """
    share = _WIDEST_BENT if _mirror_image(likely, thickness) is None else _WIDEST
    low, high = 0.0, thickness / 2.0
    while high - low > _RADIUS_STEP:
        middle = (low + high) / 2.0
        if likely.buffer(-middle).buffer(middle).area > share * likely.area:
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
