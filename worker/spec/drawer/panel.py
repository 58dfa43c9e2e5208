"""The panel: a long upright strip that divides a drawer, on its bare bottom or on its floor of tiles."""

from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import PanelError
from worker.spec.primitives.length import Coordinate, LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["LEAST_PANEL_HEIGHT", "MOST_PANELS", "FloorStyle", "Panel"]

#: Whether a drawer has a floor of tiles.
FloorStyle: TypeAlias = Literal["tiles", "none"]

#: Most panels in one drawer.
MOST_PANELS: Final = 60

#: Least height of a panel, mm: a splice and a half lap need as much.
LEAST_PANEL_HEIGHT: Final = 25.0

#: Least length of a panel, mm.
_SHORTEST: Final = 40.0

_Height: TypeAlias = Annotated[float, LengthBounds(LEAST_PANEL_HEIGHT, 1000.0)]
_Thickness: TypeAlias = Annotated[float, LengthBounds(1.6, 6.0)]


class Panel(Noun):
    """A long upright strip that divides a drawer; positions are in mm from the drawer's front left corner."""

    name: Name | None = Field(default=None, description="Name of the panel.")
    along: Literal["x", "y"] = Field(description="x: it runs from left to right; y: from front to back.")
    at: Coordinate = Field(
        description="Distance of its middle from the drawer's front (along x) or from its left side (along y)."
    )
    start: Coordinate | None = Field(
        default=None, description="Where it begins, along its length; null: at the drawer's side, held there by a shoe."
    )
    end: Coordinate | None = Field(
        default=None,
        description="Where it ends, along its length; null: at the drawer's side. An end on another panel is let "
        "through that panel by a half lap.",
    )
    height: _Height | None = Field(
        default=None, description="Height of its upper edge above the drawer's bottom; null: the drawer's free height."
    )
    feet: bool = Field(
        default=True,
        strict=True,
        description="Feet in the floor's sockets keep it from sliding, where the drawer has a floor of tiles and there "
        "is room for them; false: shoes and other panels alone hold it.",
    )
    thickness: _Thickness | None = Field(
        default=None, description="Thickness; null: what its longest stretch between two holds needs to stand straight."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.start is not None and self.end is not None and self.end - self.start < _SHORTEST:
            error = PanelError(
                "The panel is too short.",
                value=self.end, limit=f"at least {self.start + _SHORTEST:g} mm", remedy="Exchange or move its ends.",
            )  # fmt: skip
            refusals.add(error, "end")
        refusals.settle()
        return self
