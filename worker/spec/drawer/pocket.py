"""Pockets: recesses in a tray's floor in the shape of one item."""

from typing import Annotated, Any, Final, Literal, TypeAlias

from pydantic import BeforeValidator, Field

from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import HouseholdId, Number
from worker.spec.primitives.polygon import Point, Polygon
from worker.spec.primitives.pydantic_errors import refusal
from worker.spec.primitives.silhouette_id import silhouette_unknown

__all__ = ["CirclePocket", "Notch", "Pocket", "PolygonPocket", "RectanglePocket", "SilhouettePocket"]

_Side: TypeAlias = Annotated[float, LengthBounds(1.0, 3000.0)]


class Notch(Noun):
    """Finger notch: two round cut-outs beside the pocket, for lifting the item out."""

    width: Annotated[float, LengthBounds(8.0, 80.0)] = Field(default=25.0, description="Width of the notch.")


_Depth: TypeAlias = Annotated[float, LengthBounds(0.5, 500.0)]
_Air: TypeAlias = Annotated[float, LengthBounds(0.0, 5.0)]

_CLEARANCE: Final[Any] = Field(default=0.3, description="Clearance between the item and the pocket, per side.")
_NOTCH: Final[Any] = Field(default=None, description="Finger notch; null for none.")


class _Recess(Noun):
    depth: _Depth = Field(description="Depth of the pocket.")
    clearance: _Air = _CLEARANCE
    notch: Notch | None = _NOTCH


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


class SilhouettePocket(Noun):
    """A pocket with the outline of a silhouette. A service replaces it by a polygon when a spec arrives."""

    shape: Literal["silhouette"]
    id: HouseholdId = Field(description="Id of the silhouette (/v1/silhouettes).")
    at: Point = Field(
        description="Front left corner [x, y] of the turned outline's box, from the inner front left corner of the "
        "tray."
    )
    turn: Annotated[Number, Field(ge=-360.0, le=360.0)] = Field(
        default=0.0, description="Degrees by which the outline is turned counter-clockwise."
    )
    depth: _Depth | None = Field(
        default=None, description="Depth of the pocket; null for half the depth of the silhouette."
    )
    clearance: _Air = _CLEARANCE
    notch: Notch | None = _NOTCH


_Entry: TypeAlias = Annotated[
    CirclePocket | RectanglePocket | PolygonPocket | SilhouettePocket, Field(discriminator="shape")
]


def _without_silhouette(value: Any) -> Any:
    """Refuse a pocket that names a silhouette: where specs are validated, a service has replaced it."""
    if isinstance(value, dict) and value.get("shape") == "silhouette":
        raise refusal(silhouette_unknown(value.get("id")))
    return value


Pocket: TypeAlias = Annotated[
    CirclePocket | RectanglePocket | PolygonPocket,
    Field(discriminator="shape"),
    BeforeValidator(_without_silhouette, json_schema_input_type=_Entry),
]
