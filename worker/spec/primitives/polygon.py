"""Polygons as a caller draws them: checked for being simple, in any winding."""

from math import dist
from typing import Annotated, Final, TypeAlias

from pydantic import AfterValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.length import Coordinate
from worker.spec.primitives.pydantic_errors import Refusals, refusal
from worker.spec.tolerances import COORDINATE_GRID, LENGTH_EPSILON

__all__ = ["LEAST_SIDE", "Point", "Polygon"]

Point: TypeAlias = tuple[Coordinate, Coordinate]

#: The narrowest box of a polygon, in mm.
LEAST_SIDE: Final = 1.0

#: Corners of a polygon that is looked at by hand: with more the library is faster.
_FEW: Final = 16


def _simple(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    refusals = Refusals()
    for index, point in enumerate(points):
        if dist(point, points[index - 1]) < 2.0 * COORDINATE_GRID:  # rounding could make them one
            error = SpecError(
                "The point repeats the previous one.",
                value=point, limit="distinct from the previous point",
                remedy="Remove it; the polygon is closed automatically.",
            )  # fmt: skip
            refusals.add(error, index)
    refusals.settle()
    sides = [max(along) - min(along) for along in zip(*points, strict=True)]
    if min(sides) < LEAST_SIDE:
        error = SpecError(
            "The polygon is too narrow.",
            value=min(sides), limit=f"at least {LEAST_SIDE:g} mm", remedy="Check the units of the corners.",
        )  # fmt: skip
        raise refusal(error)
    if _sides_apart(points):
        return points
    import shapely  # noqa: PLC0415 - a spec without such a polygon need not wait for it

    ring = shapely.Polygon(points)
    if not ring.is_valid:
        where = shapely.is_valid_reason(ring).partition("[")[2].rstrip("]").replace(" ", ", ")
        raise refusal(
            SpecError(
                f"The polygon meets itself at {where}.",
                value=points,
                limit="a simple polygon",
                remedy="Give the corners in order, once round.",
            )
        )
    return points


def _sides_apart(points: tuple[tuple[float, float], ...]) -> bool:
    """Return whether the polygon is simple at a glance: only neighbouring sides come near each other, at their corner.

    Most things are drawn so: along the axes, or convex and of few corners. Of all others the library is asked.
    """
    if len(points) > _FEW:
        return False
    sides = list(zip(points, (*points[1:], points[0]), strict=True))
    boxes = [(min(ax, bx), max(ax, bx), min(ay, by), max(ay, by)) for (ax, ay), (bx, by) in sides]
    for index, (left, right, front, back) in enumerate(boxes):
        for least_x, most_x, least_y, most_y in boxes[index + 2 : len(boxes) - (index == 0)]:
            if left <= most_x and least_x <= right and front <= most_y and least_y <= back:
                return False
    for index, ((ax, ay), (bx, by)) in enumerate(sides):
        cx, cy = sides[index - 1][0]
        # the side before turns back onto this one
        if (ax - cx) * (bx - ax) + (ay - cy) * (by - ay) < 0.0 and (
            abs((ax - cx) * (by - ay) - (ay - cy) * (bx - ax)) < LENGTH_EPSILON
        ):
            return False
    return True


Polygon: TypeAlias = Annotated[tuple[Point, ...], Field(min_length=3, max_length=256), AfterValidator(_simple)]
