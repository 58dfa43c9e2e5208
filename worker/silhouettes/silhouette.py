"""The silhouette: a thing's outline from above in mm, with its holes, depth and uncertainty."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal, TypeAlias

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from worker.silhouettes.errors import SilhouetteError

__all__ = ["LARGEST_SIDE", "LEAST_SIDE", "Method", "Ring", "Silhouette"]

#: `(n, 2) float64, mm`: corners of a closed ring in order; the first is not repeated.
Ring: TypeAlias = NDArray[np.float64]

#: How a silhouette was made; ``points`` stands for corners that a caller gave or corrected.
Method: TypeAlias = Literal["photo", "drawing", "model", "points"]

#: Least and largest side of an outline's bounding box, mm: those of a polygon and of an item.
LEAST_SIDE: Final = 1.0
LARGEST_SIDE: Final = 3000.0


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """A thing's outline from above.

    Attributes:
        outer: `(n, 2) float64, mm`: the outer ring, counter-clockwise seen from above, simple, y to the back.
        holes: rings of the same form inside of it, clockwise; none touches another more than at a point.
        depth: height of the thing as it lies, mm; None if unknown.
        uncertainty: how far the outline may be from the true one, mm: 95 % of its points are closer.
        method: how it was made.
        warnings: what a person should look at before using it, in whole sentences.
        details: figures about how it was made, by name; for people and for tests, never for geometry.
    """

    outer: Ring
    holes: tuple[Ring, ...]
    depth: float | None
    uncertainty: float
    method: Method
    warnings: tuple[str, ...] = ()
    details: Mapping[str, float | str] = field(default_factory=dict)

    @classmethod
    def of_polygon(
        cls,
        polygon: shapely.Polygon,
        *,
        method: Method,
        uncertainty: float,
        depth: float | None = None,
        warnings: Sequence[str] = (),
        details: Mapping[str, float | str] | None = None,
    ) -> "Silhouette":
        """Return the silhouette with the rings of a polygon, wound as described.

        Raises:
            SilhouetteError: if the polygon is empty, not simple, not finite, too small or too large.
        """
        _check(polygon)
        wound = shapely.orient_polygons(polygon)
        return cls(
            _ring(wound.exterior.coords),
            tuple(_ring(hole.coords) for hole in wound.interiors),
            depth,
            uncertainty,
            method,
            tuple(warnings),
            dict(details or {}),
        )

    @property
    def polygon(self) -> shapely.Polygon:
        """The outline with its holes as a polygon."""
        return shapely.Polygon(self.outer, self.holes)

    @property
    def size(self) -> tuple[float, float]:
        """Width and depth of its bounding box, mm."""
        width, depth = np.ptp(self.outer, axis=0)
        return float(width), float(depth)

    def document(self) -> dict[str, Any]:
        """Return it as JSON; coordinates are rounded to a thousandth of a millimetre."""
        return {
            "outer": np.round(self.outer, 3).tolist(),
            "holes": [np.round(hole, 3).tolist() for hole in self.holes],
            "depth": self.depth,
            "uncertainty": self.uncertainty,
            "method": self.method,
            "warnings": list(self.warnings),
            "details": dict(self.details),
        }


def _ring(coordinates: ArrayLike) -> Ring:
    ring = np.array(coordinates, dtype=np.float64)[:-1, :2]
    ring.setflags(write=False)
    return ring


def _check(polygon: shapely.Polygon) -> None:
    if polygon.is_empty or not np.isfinite(shapely.get_coordinates(polygon)).all():
        raise SilhouetteError("There is no outline.", reason="empty", remedy="Check what was sent.")
    left, front, right, back = polygon.bounds
    sides = (right - left, back - front)
    if min(sides) < LEAST_SIDE or max(sides) > LARGEST_SIDE:
        raise SilhouetteError(
            "The outline is too small or too large.", reason="size", value=[round(side, 3) for side in sides],
            limit=f"{LEAST_SIDE:g} to {LARGEST_SIDE:g} mm in width and depth", remedy="Check the units.",
        )  # fmt: skip
    if not polygon.is_valid:
        raise SilhouetteError(
            "The outline meets itself.", reason="not-simple", value=shapely.is_valid_reason(polygon),
            limit="simple rings, with holes inside the outer one", remedy="Give the corners in order, once round.",
        )  # fmt: skip
