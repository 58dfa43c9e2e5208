"""The shapes that things come in, as far as making room for them goes."""

from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.polygon import Polygon
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["SCREW_LENGTHS", "Box", "Cylinder", "PlainShape", "Prism", "Screw"]

#: A side of an item: a washer is half a millimetre thick, a drawer is no longer than 3 m.
_Extent: TypeAlias = Annotated[float, LengthBounds(0.1, 3000.0)]

#: The shortest and the longest screw that is sized.
SCREW_LENGTHS: Final = (3.0, 300.0)


class Box(Noun):
    """A box, or anything that goes into one."""

    kind: Literal["box"] = Field(description="Says that this is a box.")
    size: tuple[_Extent, _Extent, _Extent] = Field(description="Length, width and height.")


class Cylinder(Noun):
    """A cylinder: a cell, a pen, a coin, a drill."""

    kind: Literal["cylinder"] = Field(description="Says that this is a cylinder.")
    diameter: _Extent = Field(description="Diameter, at its widest.")
    length: _Extent = Field(description="Length, or the thickness of a disc.")


class Prism(Noun):
    """A flat thing of any outline."""

    kind: Literal["polygon"] = Field(description="Says that this is a polygon.")
    points: Polygon = Field(description="Corners [x, y] of its outline in order, as it lies.")
    height: _Extent = Field(description="Height as it lies.")


class Screw(Noun):
    """A screw of any length: a head and a shank."""

    kind: Literal["screw"] = Field(description="Says that this is a screw.")
    head_diameter: _Extent = Field(description="Diameter of the head, across corners.")
    head_height: _Extent = Field(description="Height of the head.")
    diameter: _Extent = Field(description="Diameter of the thread.")
    length: Annotated[float, LengthBounds(*SCREW_LENGTHS)] | None = Field(
        default=None, description="Length under the head; null in the catalogue, where an item gives it."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.diameter > self.head_diameter + LENGTH_EPSILON:
            limit = f"at most {self.head_diameter:g} mm, its head"
            refusals.add(SpecError("The shank is wider than the head.", value=self.diameter, limit=limit), "diameter")
        refusals.settle()
        return self


PlainShape: TypeAlias = Box | Cylinder | Prism | Screw
