"""Pockets: recesses in a tray's floor in the shape of one item."""

from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from worker.spec.errors import TrayError
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, HouseholdId, Label, Number
from worker.spec.primitives.polygon import Point, Polygon
from worker.spec.primitives.pydantic_errors import Refusals, refusal
from worker.spec.primitives.silhouette_id import silhouette_unknown

__all__ = [
    "MOST_POCKETS",
    "CirclePocket",
    "NestedPocket",
    "Notch",
    "Pocket",
    "PolygonPocket",
    "RectanglePocket",
    "SilhouettePocket",
    "Turns",
]

#: Most pockets in one tray, those of each copy counted.
MOST_POCKETS: Final = 60

Turns: TypeAlias = Literal["any", "quarters", "none"]
_Side: TypeAlias = Annotated[float, LengthBounds(1.0, 3000.0)]


class Notch(Noun):
    """Finger notch: two round cut-outs beside the pocket, for lifting the item out."""

    width: Annotated[float, LengthBounds(8.0, 80.0)] = Field(default=25.0, description="Width of the notch.")
    at: Point | None = Field(
        default=None,
        description="A point [x, y] of the item that the notch crosses, from the inner front left corner of the tray; "
        "null for the middle of the item's box, and of a nested item for the best grip near its centre of mass.",
    )
    turn: Annotated[Number, Field(ge=-360.0, le=360.0)] = Field(
        default=0.0,
        description="Direction of the notch with `at`: degrees counter-clockwise from left to right.",
    )


_Depth: TypeAlias = Annotated[float, LengthBounds(0.5, 500.0)]
_Air: TypeAlias = Annotated[float, LengthBounds(0.0, 5.0)]

_CLEARANCE: Final[Any] = Field(default=0.3, description="Clearance between the item and the pocket, per side.")
_NOTCH: Final[Any] = Field(default=None, description="Finger notch; null for none.")
_TEXT: Final[Any] = Field(
    default=None,
    description="Text engraved in the bottom of the pocket along the item, as large as fits: it says what belongs "
    "there when the item is out; null for none.",
)


class _Recess(Noun):
    depth: _Depth = Field(description="Depth of the pocket.")
    clearance: _Air = _CLEARANCE
    notch: Notch | None = _NOTCH
    text: Label | None = _TEXT


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


_TURNS: Final[Any] = Field(
    default="any",
    description="How far a nested outline may be turned. any: to any of 24 directions, along the tray's sides if all "
    "fit; quarters: by 90 degrees; none: not at all.",
)
_MIRRORED: Final[Any] = Field(
    default=False,
    strict=True,
    description="true: a nested outline may be mirrored, as the item can lie on either of its flat sides.",
)
_COPIES: Final[Any] = Field(default=1, ge=1, le=MOST_POCKETS, description="Number of pockets like this.")


_ENGRAVED: Final[Any] = Field(
    default=False,
    strict=True,
    description="true: a groove along the outline instead of a pocket, so that the floor shows where the item lies; it "
    "has no notch, and is open in the middle of a side.",
)


class NestedPocket(Noun):
    """Pockets of one outline that are turned and nested among the tray's others, wherever there is room."""

    shape: Literal["nested"]
    points: Polygon = Field(description="Corners [x, y] of the item in order, from a point left of it and in front.")
    count: Count = _COPIES
    turns: Turns = _TURNS
    mirrored: bool = _MIRRORED
    engraved: bool = _ENGRAVED
    depth: _Depth = Field(description="Depth of the pocket, or of the groove.")
    clearance: _Air = _CLEARANCE
    notch: Notch | None = Field(
        # not a default that the contract shows: generators of clients know none that is an object
        default_factory=Notch,
        description="Finger notch, by default at the best grip near the centre of mass; null for none.",
    )
    text: Label | None = _TEXT

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        _check_groove(refusals, engraved=self.engraved, text=self.text)
        refusals.settle()
        return self


class SilhouettePocket(Noun):
    """A pocket with the outline of a silhouette. A service replaces it by that outline when a spec arrives."""

    shape: Literal["silhouette"]
    id: HouseholdId = Field(description="Id of the silhouette (/v1/silhouettes).")
    at: Point | None = Field(
        default=None,
        description="Front left corner [x, y] of the turned outline's box, from the inner front left corner of the "
        "tray; null: turned and nested among the tray's other pockets.",
    )
    turn: Annotated[Number, Field(ge=-360.0, le=360.0)] = Field(
        default=0.0, description="Degrees by which the outline is turned counter-clockwise, with `at`."
    )
    count: Count = _COPIES
    turns: Turns = _TURNS
    mirrored: bool = _MIRRORED
    engraved: bool = _ENGRAVED
    depth: _Depth | None = Field(
        default=None,
        description="Depth of the pocket or groove; null for half the depth of the silhouette, and 0.6 mm of a groove.",
    )
    clearance: _Air = _CLEARANCE
    notch: Notch | None = Field(
        default=None,
        description="Finger notch; null for none. Left out, an outline without `at` has one at the best grip near the "
        "centre of mass.",
    )
    text: Label | None = _TEXT

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.at is not None and self.count != 1:
            remedy = "Remove `at`, or list each pocket separately."
            error = TrayError("Pockets cannot share a place.", value=self.count, limit="1 with `at`", remedy=remedy)
            refusals.add(error, "count")
        if self.at is not None and self.engraved:
            remedy = "Remove `at`, so that it is nested."
            error = TrayError("Only nested outlines are engraved.", value=True, limit="false with `at`", remedy=remedy)
            refusals.add(error, "engraved")
        _check_groove(refusals, engraved=self.engraved, text=self.text)
        refusals.settle()
        return self


def _check_groove(refusals: Refusals, *, engraved: bool, text: str | None) -> None:
    """Refuse text in a groove: it has no bottom."""
    if engraved and text is not None:
        remedy = "Leave the text out, or make it a pocket."
        error = TrayError("An engraved outline has no bottom for text.", value=text, limit="null", remedy=remedy)
        refusals.add(error, "text")


_Entry: TypeAlias = Annotated[
    CirclePocket | RectanglePocket | PolygonPocket | NestedPocket | SilhouettePocket, Field(discriminator="shape")
]


def _without_silhouette(value: Any) -> Any:
    """Refuse a pocket that names a silhouette: where specs are validated, a service has replaced it."""
    if isinstance(value, dict) and value.get("shape") == "silhouette":
        raise refusal(silhouette_unknown(value.get("id")))
    return value


Pocket: TypeAlias = Annotated[
    CirclePocket | RectanglePocket | PolygonPocket | NestedPocket,
    Field(discriminator="shape"),
    BeforeValidator(_without_silhouette, json_schema_input_type=_Entry),
]
