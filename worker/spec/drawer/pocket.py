"""Pockets: recesses in a tray's floor in the shape of one item."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.polygon import Point, Polygon

__all__ = ["CirclePocket", "Notch", "Pocket", "PolygonPocket", "RectanglePocket"]

_Side: TypeAlias = Annotated[float, LengthBounds(1.0, 3000.0)]


class Notch(Noun):
    """Finger notch: two round cut-outs beside the pocket, for lifting the item out."""

    width: Annotated[float, LengthBounds(8.0, 80.0)] = Field(default=25.0, description="Width of the notch.")


class _Recess(Noun):
    depth: Annotated[float, LengthBounds(0.5, 500.0)] = Field(description="Depth of the pocket.")
    clearance: Annotated[float, LengthBounds(0.0, 5.0)] = Field(
        default=0.3, description="Clearance between the item and the pocket, per side."
    )
    notch: Notch | None = Field(default=None, description="Finger notch; null for none.")


class CirclePocket(_Recess):
    """A round pocket."""

    shape: Literal["circle"]
    at: Point = Field(description="Centre [x, y], from the inner front left corner of the tray.")
    diameter: _Side = Field(description="Diameter of the item.")


class RectanglePocket(_Recess):
    """A rectangular pocket."""

    shape: Literal["rectangle"]
    at: Point = Field(description="Front left corner [x, y], from the inner front left corner of the tray.")
    size: tuple[_Side, _Side] = Field(description="Width and depth of the item.")


class PolygonPocket(_Recess):
    """A pocket with any outline."""

    shape: Literal["polygon"]
    points: Polygon = Field(
        description="Corners [x, y] of the item in order, from the inner front left corner of the tray."
    )


Pocket: TypeAlias = Annotated[CirclePocket | RectanglePocket | PolygonPocket, Field(discriminator="shape")]
