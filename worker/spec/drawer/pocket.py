"""Pockets: recesses in the shape of one item."""

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.polygon import Point, Polygon

__all__ = ["CirclePocket", "Notch", "Pocket", "PolygonPocket", "RectanglePocket"]

_Side: TypeAlias = Annotated[float, LengthBounds(1.0, 3000.0)]


class Notch(Noun):
    """A finger notch: two round bays beside the pocket, to take the item out by."""

    width: Annotated[float, LengthBounds(8.0, 80.0)] = Field(default=25.0, description="Width of the notch.")


class _Recess(Noun):
    depth: Annotated[float, LengthBounds(0.5, 500.0)] = Field(description="How deep the item lies.")
    clearance: Annotated[float, LengthBounds(0.0, 5.0)] = Field(
        default=0.3, description="Air between the item and the pocket, per side."
    )
    notch: Notch | None = Field(default=None, description="A finger notch, or null.")


class CirclePocket(_Recess):
    """A round pocket."""

    shape: Literal["circle"]
    at: Point = Field(description="Middle, from the inner left front corner of the room.")
    diameter: _Side = Field(description="Diameter of the item.")


class RectanglePocket(_Recess):
    """A rectangular pocket."""

    shape: Literal["rectangle"]
    at: Point = Field(description="Front left corner, from the inner left front corner of the room.")
    size: tuple[_Side, _Side] = Field(description="Width and depth of the item.")


class PolygonPocket(_Recess):
    """A pocket of any outline."""

    shape: Literal["polygon"]
    points: Polygon = Field(description="Corners of the item, from the inner left front corner of the room.")


Pocket: TypeAlias = Annotated[CirclePocket | RectanglePocket | PolygonPocket, Field(discriminator="shape")]
