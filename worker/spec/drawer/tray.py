"""The tray: an open-top container with its dividers, pockets, ramp, ledge and text, on cells or on other trays."""

import itertools
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from worker.spec.drawer.hold import MOST_BESIDE, MOST_HOLDS, Hold
from worker.spec.drawer.pocket import Pocket
from worker.spec.errors import TrayError
from worker.spec.primitives.length import Coordinate, LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Cells, Count, Label, Name, Position
from worker.spec.primitives.pydantic_errors import Refusals, refusal

__all__ = [
    "MOST_DIVIDERS",
    "NO_RAMP",
    "Divider",
    "Filling",
    "FingerRamp",
    "LabelLedge",
    "Magnets",
    "Rim",
    "Text",
    "Tray",
]

#: Most dividers in one tray.
MOST_DIVIDERS: Final = 40

#: Most names in the `on` of one tray.
MOST_UNDER: Final = 60

Rim: TypeAlias = Literal["stacking", "straight"]
Filling: TypeAlias = Literal["solid", "walls"]
_Thickness: TypeAlias = Annotated[float, LengthBounds(0.2, 10.0)]
_Height: TypeAlias = Annotated[float, LengthBounds(1.0, 1000.0)]
_Compartments: TypeAlias = Annotated[Count, Field(ge=1, le=40)]
_Names: TypeAlias = Annotated[tuple[Name, ...], Field(max_length=MOST_UNDER)]


def _switch(value: Any) -> Any:
    """Return an empty object (all defaults) for true, and null for false."""
    if isinstance(value, bool):
        return {} if value else None
    if value is None or isinstance(value, dict | Noun):
        return value
    error = TrayError(
        "The value must be true, false or an object.",
        value=value, limit="true, false or a JSON object", remedy="Write true for the default.",
    )  # fmt: skip
    raise refusal(error)


def _several(value: Any) -> Any:
    """Return a single name as a list of one."""
    return (value,) if isinstance(value, str) else value


def _ramp_switch(value: Any) -> Any:
    """Return an empty object (all defaults) for true, and one without rows for false."""
    return {"rows": "none"} if value is False else _switch(value)


class Divider(Noun):
    """Wall inside a tray, of full length or up to crossing dividers."""

    axis: Literal["x", "y"] = Field(
        description="x: perpendicular to x, so it runs front to back; y: runs left to right."
    )
    at: Coordinate = Field(
        description="Distance from the tray's inner left (axis x) or front (axis y) face to the centre of the divider."
    )
    height: _Height | None = Field(
        default=None, description="Height above the floor; null for up to just below the rim."
    )
    span: tuple[Coordinate, Coordinate] | None = Field(
        default=None,
        description="Start and end along its length, measured as `at` is on the other axis: each 0, the full inner "
        "length, or the `at` of a crossing divider; null: from wall to wall.",
    )


class FingerRamp(Noun):
    """Curved front of a tray, up which small things slide."""

    radius: Annotated[float, LengthBounds(2.0, 200.0)] | None = Field(
        default=None, description="Radius of the curve; null for the best fit to the tray."
    )
    rows: Literal["front", "all", "none"] = Field(
        default="front",
        description="front: along the tray's front; all: also behind each divider that runs left to right; none: no "
        "ramp, the same as `false`.",
    )


#: No finger ramp.
NO_RAMP: Final = FingerRamp(rows="none")


class LabelLedge(Noun):
    """Sloped ledge for a label along the back of a tray."""

    depth: Annotated[float, LengthBounds(4.0, 60.0)] = Field(
        default=12.0, description="Distance from the back wall to the front edge."
    )
    drop: Annotated[float, LengthBounds(0.0, 60.0)] = Field(
        default=3.0, description="Height of the back edge above the front edge; at most the depth."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.drop > self.depth:
            limit = f"at most {self.depth:g} mm, its depth"
            refusals.add(
                TrayError(
                    "The label ledge is too steep.",
                    value=self.drop,
                    limit=limit,
                    remedy="Reduce the drop, or make it deeper.",
                ),
                "drop",
            )
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

    text: Label = Field(description="The text, at most 40 characters.")
    face: Literal["front", "floor", "ledge"] = Field(
        default="front", description="Face of the tray that carries the text."
    )
    style: Literal["raised", "engraved"] = Field(default="engraved", description="Raised or engraved.")
    cap_height: Annotated[float, LengthBounds(2.0, 60.0)] | None = Field(
        default=None, description="Height of a capital letter; null for the largest that fits."
    )


class Tray(Noun):
    """Open-top container that stands on cells, or on other trays."""

    name: Name = Field(description="Name of the tray.")
    cells: tuple[Cells, Cells] = Field(
        description="Size in cells, left to right and front to back; halves require grid.half_cells."
    )
    height: Annotated[float, LengthBounds(5.0, 1000.0)] = Field(
        description="Height of the rim above the drawer's bottom; of a tray `on` others or with a `z`, above its own "
        "feet."
    )
    at: tuple[Position, Position] | None = Field(
        default=None,
        description="Grid position of its front left cell, counted from 0; null to let the service place it, or for "
        "the front left corner of the trays that it is `on`. Without a floor the grid begins at the front left corner "
        "of the usable area.",
    )
    on: Annotated[_Names, BeforeValidator(_several, json_schema_input_type=Name | _Names)] = Field(
        default=(),
        description="Names of the trays and panels that it stands on: one, or several that carry it at one height. "
        "Rims of trays are stacking, and its feet stand in them; a panel along a line between its feet carries it as "
        "the wall between two sockets does, any other one below its feet. Others under it of that height carry it, "
        "too; lower ones are bridged, and so are free cells, the floor's border and lanes.",
    )
    z: Annotated[float, LengthBounds(1.0, 1000.0)] | None = Field(
        default=None,
        description="Height of its feet above the drawer's bottom, instead of `on`: it stands on what carries it "
        "there, within 0.5 mm: rims of trays, and panels. Panels of lanes whose things are lower reach up to it.",
    )
    quantity: Annotated[Count, Field(ge=1, le=200)] = Field(
        default=1,
        description="Number of trays like this; 1 if `at` is given. Several that are `on` others stand side by side, "
        "each on some of these.",
    )
    rim: Rim = Field(
        default="stacking", description="stacking: with a socket for a tray above; straight: a plain wall."
    )
    wall: _Thickness = Field(default=1.2, description="Thickness of the walls.")
    floor: _Thickness = Field(default=1.2, description="Thickness of the floor.")
    dividers: tuple[Divider, ...] = Field(default=(), max_length=MOST_DIVIDERS, description="Walls inside the tray.")
    compartments: tuple[_Compartments, _Compartments] | None = Field(
        default=None, description="Compartments of equal size, in columns and rows; not with dividers on the same axis."
    )
    finger_ramp: Annotated[
        FingerRamp | None, BeforeValidator(_ramp_switch, json_schema_input_type=FingerRamp | bool | None)
    ] = Field(
        default=None,
        description="Finger ramp: true, or an object with its radius and rows; false: none; null: where a compartment "
        "is narrower than 40 mm and deeper than 35 mm, and a ramp fits. A tray with `hold` then has one only if all of "
        "its things lie loose or more of them fit with it, a tray with pockets, with grips or in pieces none.",
    )
    label_ledge: Annotated[
        LabelLedge | None, BeforeValidator(_switch, json_schema_input_type=LabelLedge | bool | None)
    ] = Field(default=None, description="true, or an object with its depth and drop.")
    grip: bool = Field(
        default=False,
        strict=True,
        description="Lips inside two opposite walls to lift the tray out by: fingers go below them and press outwards. "
        "A tray in pieces has them where no seam is, or two on each wall with a seam between them.",
    )
    magnets: Magnets | None = Field(
        default=None, description="Recesses for magnets in the feet; four a tray by default."
    )
    pockets: tuple[Pocket, ...] = Field(default=(), max_length=60, description="Pockets in the shape of items.")
    filling: Filling | None = Field(
        default=None,
        description="solid: the raised floor around pockets is solid; walls: each pocket has a wall of its own, with "
        "wells between; null: walls where that saves over a third of the tray's plastic.",
    )
    text: Text | None = Field(default=None, description="Text on one face.")
    labels: tuple[Label | None, ...] = Field(
        default=(),
        max_length=MOST_DIVIDERS + 1,
        description="Texts on the label ledge, one for each compartment from left to right; null: none there.",
    )
    hold: tuple[Hold, ...] = Field(
        default=(),
        max_length=MOST_HOLDS,
        description="What it holds. Things listed here are not placed elsewhere; what does not fit is reported. What "
        "stands unsteadily gets further dividers that stop it.",
    )

    @property
    def raised(self) -> bool:
        """Whether it stands on trays or panels instead of the floor."""
        return bool(self.on) or self.z is not None

    @property
    def on_halves(self) -> bool:
        """Whether its size or position includes half a cell."""
        return any(along % 1.0 for along in (*self.cells, *(self.at or ())))

    @property
    def grid(self) -> tuple[int, int]:
        """Number of columns and rows of compartments, counted as if every divider were of full length."""
        even = self.compartments or (1, 1)
        return even[0] + self._lines("x"), even[1] + self._lines("y")

    def _lines(self, axis: Literal["x", "y"]) -> int:
        """Return the number of dividers on an axis; those in line with each other count once."""
        lines, reached = 0, 0.0
        for at in sorted(divider.at for divider in self.dividers if divider.axis == axis):
            lines += at - self.wall / 2.0 > reached
            reached = at + self.wall / 2.0
        return lines

    @model_validator(mode="after")
    def _rules(self) -> Self:
        if self.at is None and self.text is None and not (self.dividers or self.labels or self.hold or self.raised):
            return self  # most trays have none of the fields that these rules are about
        refusals = Refusals()
        if self.at is not None and self.quantity != 1:
            remedy = "Remove `at`, or list each tray separately."
            error = TrayError("Trays cannot share a position.", value=self.quantity, limit="1 with `at`", remedy=remedy)
            refusals.add(error, "quantity")
        if self.text is not None and self.text.face == "ledge" and self.label_ledge is None:
            remedy = "Give it a label_ledge, or put the text on another face."
            error = TrayError(
                "The tray has no label ledge.",
                value="ledge", limit="ledge only with a label_ledge", remedy=remedy,
            )  # fmt: skip
            refusals.add(error, "text", "face")
        self._check_on(refusals)
        self._check_dividers(refusals)
        self._check_labels(refusals)
        self._check_holds(refusals)
        refusals.settle()
        return self

    def _check_on(self, refusals: Refusals) -> None:
        if self.on and self.z is not None:
            error = TrayError(
                "The tray has both a height and trays or panels to stand on.",
                value=self.z, limit="z or on, not both", remedy="Remove one of them.",
            )  # fmt: skip
            refusals.add(error, "z")
        for index, name in enumerate(self.on):
            if name == self.name:
                error = TrayError(
                    "A tray cannot stand on itself.",
                    value=name, limit="the name of another tray", remedy="Name another tray of the drawer.",
                )  # fmt: skip
                refusals.add(error, "on", index)

    def _check_labels(self, refusals: Refusals) -> None:
        if not self.labels:
            return
        across = self.grid[0]
        if self.label_ledge is None:
            remedy = "Give it a label_ledge."
            limit = "labels only with a label_ledge"
            error = TrayError("The tray has no label ledge.", value=self.labels, limit=limit, remedy=remedy)
            refusals.add(error, "labels")
        if self.text is not None and self.text.face == "ledge":
            error = TrayError(
                "The label ledge has a text already.",
                value=self.labels, limit="a text or labels", remedy="Give one or the other.",
            )  # fmt: skip
            refusals.add(error, "labels")
        if len(self.labels) > across:
            limit = f"at most {across}, one for each compartment from left to right"
            remedy = "Remove labels, or add dividers."
            error = TrayError("There are more labels than compartments.", value=self.labels, limit=limit, remedy=remedy)
            refusals.add(error, "labels")

    def _check_holds(self, refusals: Refusals) -> None:
        if self.hold and self.quantity != 1:
            error = TrayError(
                "Trays that hold things are listed one by one.",
                value=self.quantity, limit="1 with `hold`", remedy="List each tray separately.",
            )  # fmt: skip
            refusals.add(error, "quantity")
        seen: set[tuple[str, tuple[int, int]]] = set()
        for index, hold in enumerate(self.hold):
            for axis, (place, most) in enumerate(zip(hold.compartment, self.grid, strict=True)):
                if place >= most:
                    error = TrayError(
                        f"The tray has no such {('column', 'row')[axis]} of compartments.",
                        value=place, limit=f"0 to {most - 1}", remedy="Name another one, or add dividers.",
                    )  # fmt: skip
                    refusals.add(error, "hold", index, "compartment", axis)
            if (hold.item, hold.compartment) in seen:
                error = TrayError(
                    "The compartment holds this item already.",
                    value=hold.item, limit="each item once in a compartment", remedy="Add up the counts.",
                )  # fmt: skip
                refusals.add(error, "hold", index, "item")
            seen.add((hold.item, hold.compartment))
            if sum(place == hold.compartment for _, place in seen) > MOST_BESIDE:
                error = TrayError(
                    "The compartment holds too many kinds of things.",
                    value=list(hold.compartment), limit=f"at most {MOST_BESIDE}", remedy="Add dividers.",
                )  # fmt: skip
                refusals.add(error, "hold", index, "compartment")

    def _check_dividers(self, refusals: Refusals) -> None:
        for axis, count in zip(("x", "y"), self.compartments or (1, 1), strict=True):
            along = [(index, divider) for index, divider in enumerate(self.dividers) if divider.axis == axis]
            dividers = sorted((divider.at, index) for index, divider in along if divider.span is None)
            if along and count > 1:
                error = TrayError(
                    f"The tray has both compartments and dividers on axis {axis}.",
                    value=count, limit=f"1 with dividers on axis {axis}", remedy="Give one or the other.",
                )  # fmt: skip
                refusals.add(error, "compartments", ("x", "y").index(axis))
            for (before, _), (at, index) in itertools.pairwise(dividers):
                if at - before <= self.wall:
                    limit = f"over {before + self.wall:g} mm beside the divider at {before:g} mm"
                    error = TrayError(
                        "Two dividers overlap.",
                        value=at, limit=limit, remedy="Move or remove one of them.",
                    )  # fmt: skip
                    refusals.add(error, "dividers", index, "at")
