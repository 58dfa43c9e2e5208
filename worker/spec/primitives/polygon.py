"""Polygons of a caller: simple (as GEOS defines it), wound either way."""

from math import dist
from typing import Annotated, Final, TypeAlias

from pydantic import AfterValidator, Field

from worker.spec.errors import SpecError
from worker.spec.primitives.length import Coordinate
from worker.spec.primitives.pydantic_errors import Refusals, refusal
from worker.spec.tolerances import COORDINATE_GRID

__all__ = ["LEAST_SIDE", "Point", "Polygon"]

Point: TypeAlias = tuple[Coordinate, Coordinate]

#: The narrowest box of a polygon, in mm.
LEAST_SIDE: Final = 1.0


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
    import shapely  # noqa: PLC0415 - a spec without a polygon need not load it

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


Polygon: TypeAlias = Annotated[tuple[Point, ...], Field(min_length=3, max_length=256), AfterValidator(_simple)]
