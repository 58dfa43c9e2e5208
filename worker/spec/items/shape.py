"""Shapes of items, as far as the space they need goes."""

from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import HouseholdId
from worker.spec.primitives.polygon import Polygon
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["SCREW_LENGTHS", "Box", "Cylinder", "Extent", "PlainShape", "Prism", "Screw", "SilhouetteShape"]

#: A dimension of an item: a washer is half a millimetre thick, a drawer at most 3 m long.
Extent: TypeAlias = Annotated[float, LengthBounds(0.1, 3000.0)]

#: Shortest and longest screw, in mm.
SCREW_LENGTHS: Final = (3.0, 300.0)


class Box(Noun):
    """A cuboid, or anything that fits into one."""

    kind: Literal["box"] = Field(description="Marks the shape as a box.")
    size: tuple[Extent, Extent, Extent] = Field(description="Length, width and height.")


class Cylinder(Noun):
    """A cylinder, such as a battery, pen, coin or drill bit."""

    kind: Literal["cylinder"] = Field(description="Marks the shape as a cylinder.")
    diameter: Extent = Field(description="Largest diameter.")
    length: Extent = Field(description="Length, or thickness of a disc.")


class Prism(Noun):
    """A flat thing with any outline."""

    kind: Literal["polygon"] = Field(description="Marks the shape as a polygon.")
    points: Polygon = Field(description="Corners [x, y] of the outline in order, seen from above.")
    height: Extent = Field(description="Height when lying flat.")


class Screw(Noun):
    """A screw: a head and a shank of any length."""

    kind: Literal["screw"] = Field(description="Marks the shape as a screw.")
    head_diameter: Extent = Field(description="Diameter of the head, across the corners.")
    head_height: Extent = Field(description="Height of the head.")
    diameter: Extent = Field(description="Diameter of the thread.")
    length: Annotated[float, LengthBounds(*SCREW_LENGTHS)] | None = Field(
        default=None, description="Length under the head; null in the catalogue, where each item gives its own."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.diameter > self.head_diameter + LENGTH_EPSILON:
            limit = f"at most {self.head_diameter:g} mm, its head"
            error = SpecError(
                "The shank is wider than the head.",
                value=self.diameter, limit=limit, remedy="Check both diameters.",
            )  # fmt: skip
            refusals.add(error, "diameter")
        refusals.settle()
        return self


class SilhouetteShape(Noun):
    """The outline of a silhouette. A service replaces it by a polygon when a spec arrives."""

    kind: Literal["silhouette"] = Field(description="Marks the shape as a silhouette.")
    id: HouseholdId = Field(description="Id of the silhouette (/v1/silhouettes).")
    height: Extent | None = Field(
        default=None, description="Height when lying flat; null for the depth of the silhouette."
    )


PlainShape: TypeAlias = Box | Cylinder | Prism | Screw
