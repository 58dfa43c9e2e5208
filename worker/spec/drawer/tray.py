"""The tray: an open-top container standing on cells, and what is in it."""

import itertools
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from worker.spec.drawer.pocket import Pocket
from worker.spec.errors import TrayError
from worker.spec.primitives.length import Coordinate, LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Cells, Count, Label, Name, Position
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["MOST_DIVIDERS", "Divider", "FingerRamp", "LabelLedge", "Magnets", "Rim", "Text", "Tray"]

#: Dividers of one tray, at most.
MOST_DIVIDERS: Final = 40

Rim: TypeAlias = Literal["stacking", "straight"]
_Thickness: TypeAlias = Annotated[float, LengthBounds(0.2, 10.0)]
_Height: TypeAlias = Annotated[float, LengthBounds(1.0, 1000.0)]
_Compartments: TypeAlias = Annotated[Count, Field(ge=1, le=40)]


def _switch(value: Any) -> Any:
    """Return an object with all defaults for true and none for false."""
    if isinstance(value, bool):
        return {} if value else None
    return value


class Divider(Noun):
    """A full-length wall inside a tray."""

    axis: Literal["x", "y"] = Field(description="x: stands across x, so it runs front to back; y: runs left to right.")
    at: Coordinate = Field(description="From the tray's inner left (or front) face to the divider's middle.")
    height: _Height | None = Field(default=None, description="From the floor up; null: to just under the rim.")


class FingerRamp(Noun):
    """A curved front that lets small things slide up."""

    radius: Annotated[float, LengthBounds(2.0, 200.0)] | None = Field(
        default=None, description="Radius of the curve; null: what suits the tray."
    )


class LabelLedge(Noun):
    """A sloped ledge for a label along the back."""

    depth: Annotated[float, LengthBounds(4.0, 60.0)] = Field(
        default=12.0, description="From the back wall to its edge."
    )
    drop: Annotated[float, LengthBounds(0.0, 60.0)] = Field(
        default=3.0, description="How much lower its front edge lies; at most its depth."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.drop > self.depth:
            limit = f"at most {self.depth:g} mm, its depth"
            refusals.add(TrayError("The label ledge is too steep.", value=self.drop, limit=limit), "drop")
        refusals.settle()
        return self


class Magnets(Noun):
    """Round recesses under the tray: one near each outer corner, or four in each cell."""

    diameter: Annotated[float, LengthBounds(2.0, 20.0)] = Field(description="Diameter of the recess.")
    depth: Annotated[float, LengthBounds(0.5, 10.0)] = Field(description="Depth of the recess.")
    per_cell: bool = Field(
        default=False, strict=True,
        description="true: four in each cell, or one in each half foot; false: one near each outer corner of the tray.",
    )  # fmt: skip


class Text(Noun):
    """Text on a tray."""

    text: Label = Field(description="What it says, at most 40 characters.")
    face: Literal["front", "floor", "ledge"] = Field(default="front", description="Where it stands.")
    style: Literal["raised", "engraved"] = Field(default="engraved", description="Raised or engraved.")
    cap_height: Annotated[float, LengthBounds(2.0, 60.0)] | None = Field(
        default=None, description="Height of a capital; null: what fits."
    )


class Tray(Noun):
    """An open-top container standing on cells."""

    name: Name = Field(description="What it is for.")
    cells: tuple[Cells, Cells] = Field(description="Cells across and front to back; halves need grid.half_cells.")
    height: Annotated[float, LengthBounds(5.0, 1000.0)] = Field(description="From the drawer's bottom to the rim.")
    at: tuple[Position, Position] | None = Field(
        default=None, description="Its front left cell on the grid, counted from 0; null: placed where it fits."
    )
    quantity: Annotated[Count, Field(ge=1, le=200)] = Field(default=1, description="How many; with `at`, only 1.")
    rim: Rim = Field(default="stacking", description="stacking carries a socket for a tray above; straight is bare.")
    wall: _Thickness = Field(default=1.2, description="Thickness of the walls.")
    floor: _Thickness = Field(default=1.2, description="Thickness of the floor.")
    dividers: tuple[Divider, ...] = Field(default=(), max_length=MOST_DIVIDERS, description="Full-length walls.")
    compartments: tuple[_Compartments, _Compartments] | None = Field(
        default=None, description="Even rooms, columns and rows; not together with dividers on the same axis."
    )
    finger_ramp: Annotated[
        FingerRamp | None, BeforeValidator(_switch, json_schema_input_type=FingerRamp | bool | None)
    ] = Field(default=None, description="true, or an object with its radius.")
    label_ledge: Annotated[
        LabelLedge | None, BeforeValidator(_switch, json_schema_input_type=LabelLedge | bool | None)
    ] = Field(default=None, description="true, or an object with its depth and drop.")
    magnets: Magnets | None = Field(
        default=None, description="Recesses for magnets in the feet; four a tray by default."
    )
    pockets: tuple[Pocket, ...] = Field(default=(), max_length=60, description="Recesses in the shape of items.")
    text: Text | None = Field(default=None, description="Text on one face.")

    @property
    def on_halves(self) -> bool:
        """Whether its size or its place has a half."""
        return any(along % 1.0 for along in (*self.cells, *(self.at or ())))

    @model_validator(mode="after")
    def _rules(self) -> Self:
        if self.at is None and self.text is None and not self.dividers:
            return self  # most trays have nothing that these rules are about
        refusals = Refusals()
        if self.at is not None and self.quantity != 1:
            remedy = "Leave `at` out, or list each tray."
            error = TrayError("Trays cannot share one place.", value=self.quantity, limit="1 with `at`", remedy=remedy)
            refusals.add(error, "quantity")
        if self.text is not None and self.text.face == "ledge" and self.label_ledge is None:
            remedy = "Give it a label_ledge, or put the text on another face."
            refusals.add(TrayError("The tray has no label ledge.", value="ledge", remedy=remedy), "text", "face")
        self._check_dividers(refusals)
        refusals.settle()
        return self

    def _check_dividers(self, refusals: Refusals) -> None:
        for axis, rooms in zip(("x", "y"), self.compartments or (1, 1), strict=True):
            standing = sorted(
                (divider.at, index) for index, divider in enumerate(self.dividers) if divider.axis == axis
            )
            if standing and rooms > 1:
                error = TrayError(
                    f"The tray has both compartments and dividers on axis {axis}.",
                    value=rooms, limit=f"1 with dividers on axis {axis}", remedy="Give one or the other.",
                )  # fmt: skip
                refusals.add(error, "compartments", ("x", "y").index(axis))
            for (before, _), (at, index) in itertools.pairwise(standing):
                if at - before <= self.wall:
                    limit = f"over {before + self.wall:g} mm beside the divider at {before:g} mm"
                    refusals.add(
                        TrayError("Two dividers stand in one place.", value=at, limit=limit), "dividers", index, "at"
                    )
