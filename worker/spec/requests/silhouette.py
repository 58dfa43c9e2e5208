"""Requests about silhouettes: how to read a photo, drawing or model, and outlines as polygons."""

from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, StringConstraints, model_validator

from worker.spec.errors import SpecError
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, Name, Number
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.requests.household import Tags

__all__ = [
    "MOST_CORNERS",
    "DrawingUnit",
    "OutlineRequest",
    "PolygonRequest",
    "SheetPaper",
    "SheetTint",
    "SilhouetteRequest",
    "ThingBody",
]

#: Corners of all rings of an outline.
MOST_CORNERS: Final = 4_000

_Coordinate: TypeAlias = Annotated[Number, Field(ge=-6000.0, le=6000.0)]
_Corner: TypeAlias = tuple[_Coordinate, _Coordinate]
_Ring: TypeAlias = Annotated[tuple[_Corner, ...], Field(min_length=3, max_length=MOST_CORNERS)]
_Thickness: TypeAlias = Annotated[float, LengthBounds(0.1, 3000.0)]
_Ordinal: TypeAlias = Annotated[Count, Field(ge=1, le=1_000)]

#: How a thing's sides run, as far as a photo from above needs it.
ThingBody: TypeAlias = Literal["flat", "round", "stepped"]
SheetPaper: TypeAlias = Literal["a4", "letter"]
SheetTint: TypeAlias = Literal["green", "pink"]
DrawingUnit: TypeAlias = Literal["mm", "cm", "m", "in", "ft", "pt", "px"]

_COLOUR: Final = r"^#[0-9A-Fa-f]{6}$"


class SilhouetteRequest(Noun):
    """How to read the files that a silhouette is made of. Fields that do not apply to a kind of file have no effect."""

    name: Name | None = Field(default=None, description="Name of the thing; null for that of the kind of file.")
    tags: Tags = Field(default=(), description="Tags to find the silhouette by.")
    keep: bool = Field(
        default=False, strict=True,
        description="Keep the uploaded files; otherwise they are deleted once they are read. Of photos the pixels are "
        "kept, upright and at most 13 million of them, without anything else that the files say.",
    )  # fmt: skip
    thickness: _Thickness | None = Field(
        default=None,
        description="Height of the thing as it lies. Required for photos; for drawings it is the depth of the "
        "silhouette, which the file does not say. A model has its own.",
    )
    body: ThingBody = Field(
        default="stepped",
        description="For photos: `flat` has upright sides, `round` is round like a pen, `stepped` is anything else.",
    )
    bar: Annotated[float, LengthBounds(100.0, 200.0)] | None = Field(
        default=None, description="For photos: the length of the printed bar of the reference sheet, as measured."
    )
    sheet: SheetPaper | None = Field(
        default=None, description="For photos: the paper of the reference sheet; null to see it from the photo."
    )
    tint: SheetTint | None = Field(
        default=None, description="For photos: the colour of the sheet's field; null to see it from the photo."
    )
    margin: Annotated[float, LengthBounds(0.0, 5.0)] = Field(
        default=0.5, description="For photos: added to the outline on all sides, so that a pocket takes the thing."
    )
    unit: DrawingUnit | None = Field(
        default=None,
        description="Unit of the coordinates of a drawing or model whose file does not say it: mm, cm, in, pt or px "
        "for a drawing; mm, cm, m, in or ft for a model.",
    )
    layer: Annotated[str, StringConstraints(strict=True, min_length=1, max_length=255)] | None = Field(
        default=None,
        description="For drawings: the layer (DXF) or the id of an outermost group (SVG) to read; null for all.",
    )
    colour: Annotated[str, StringConstraints(strict=True, pattern=_COLOUR)] | None = Field(
        default=None, description="For drawings: the colour to read, as `#rrggbb`; null for all."
    )
    outline: _Ordinal | None = Field(
        default=None, description="For drawings with several outlines: the one to take, from 1, the largest."
    )
    pose: _Ordinal | None = Field(
        default=None,
        description="For models: the pose to lie in, from 1, the most likely; null to let it lie as the file has it.",
    )
    depth: _Thickness | None = Field(
        default=None,
        description="For models: how deep the thing is to lie in its pocket. The outline then goes round what lies "
        "below that, so that the thing lifts straight out; null for its whole height.",
    )
    repair: bool = Field(
        default=False, strict=True,
        description="For models: accept a mesh that is not closed; its outline is that of all triangles from above.",
    )  # fmt: skip


class OutlineRequest(Noun):
    """An outline as corners: the corrected outline of a silhouette."""

    points: _Ring = Field(description="Corners [x, y] of the outline in order, seen from above.")
    holes: tuple[_Ring, ...] = Field(default=(), max_length=100, description="Corners of each hole.")
    depth: _Thickness | None = Field(default=None, description="Height of the thing as it lies; null if unknown.")

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        corners = len(self.points) + sum(map(len, self.holes))
        if corners > MOST_CORNERS:
            error = SpecError(
                "The outline has too many corners.",
                value=corners, limit=f"at most {MOST_CORNERS}, holes included", remedy="Simplify it.",
            )  # fmt: skip
            refusals.add(error, "points")
        refusals.settle()
        return self


class PolygonRequest(OutlineRequest):
    """A silhouette that is given as corners."""

    name: Name | None = Field(default=None, description="Name of the thing; null for `points`.")
    tags: Tags = Field(default=(), description="Tags to find the silhouette by.")
    uncertainty: Annotated[Number, Field(ge=0.0, le=100.0)] = Field(
        default=0.0,
        description="How far 95 % of the outline's points are at most from the true outline, in mm: that of the "
        "silhouette that was corrected, or of your own measuring.",
    )
