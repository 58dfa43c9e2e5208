"""The printer: bed, nozzle, line width, layer height, materials and price."""

from typing import Annotated, Any, Final, Self

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.primitives.length import BedLength, LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name, Number
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Forbidden", "NamedPrinter", "Printer", "refused_layer", "refused_line"]

#: A line slightly wider than the nozzle bonds to its neighbour (common practice).
_LINE_RATIO: Final = 1.1
_LINE_LEAST: Final = 0.8
_LINE_MOST: Final = 2.5
_LAYER_MOST: Final = 0.8

#: A cooled line spans 10 to 20 mm of air without visible sag in the usual filaments (common practice).
_BRIDGE_MOST: Final = 15.0


def _line_width(fields: dict[str, Any]) -> float:
    return round(_LINE_RATIO * float(fields["nozzle"]), 6)


def refused_line(width: float, nozzle: float) -> SpecError | None:
    """Return the error for a line of this width from this nozzle, both in mm; None if it can be printed."""
    least, most = _LINE_LEAST * nozzle, _LINE_MOST * nozzle
    if least - LENGTH_EPSILON <= width <= most + LENGTH_EPSILON:
        return None
    return SpecError(
        "The line width does not suit the nozzle.",
        value=width, limit=f"{least:g} to {most:g} mm", remedy=f"Leave it out for {_LINE_RATIO:g} times the nozzle.",
    )  # fmt: skip


def refused_layer(height: float, nozzle: float) -> SpecError | None:
    """Return the error for a layer of this height from this nozzle, both in mm; None if it can be printed."""
    most = _LAYER_MOST * nozzle
    if height <= most + LENGTH_EPSILON:
        return None
    return SpecError(
        "The layer height is too large for the nozzle.",
        value=height, limit=f"at most {most:g} mm", remedy="Use a lower layer or a larger nozzle.",
    )  # fmt: skip


class Forbidden(Noun):
    """Rectangle of the bed on which nothing may be printed."""

    at: tuple[Annotated[float, LengthBounds(0.0, 2000.0)], Annotated[float, LengthBounds(0.0, 2000.0)]] = Field(
        description="Front left corner [x, y] on the bed."
    )
    size: tuple[Annotated[float, LengthBounds(0.1, 2000.0)], Annotated[float, LengthBounds(0.1, 2000.0)]] = Field(
        description="Width and depth."
    )


class Printer(Noun):
    """Printer that the parts are made for."""

    bed: tuple[BedLength, BedLength, BedLength] = Field(description="Print volume: x, y and z.")
    margin: Annotated[float, LengthBounds(0.0, 100.0)] = Field(
        default=0.5, description="Margin kept free along every side of the bed."
    )
    forbidden: tuple[Forbidden, ...] = Field(
        default=(), max_length=50, description="Rectangles of the bed on which nothing may be printed."
    )
    nozzle: Annotated[float, LengthBounds(0.1, 2.0)] = Field(default=0.4, description="Diameter of the nozzle.")
    line_width: Annotated[float, LengthBounds(0.08, 5.0)] = Field(
        default_factory=_line_width,
        description="Width of one printed line, 0.8 to 2.5 times the nozzle; left out, 1.1 times the nozzle.",
    )
    layer: Annotated[float, LengthBounds(0.02, 1.6)] = Field(
        default=0.2, description="Height of one layer, at most 0.8 times the nozzle."
    )
    max_bridge: Annotated[float, LengthBounds(1.0, 200.0)] = Field(
        default=_BRIDGE_MOST,
        description="Longest line that it lays across air without sagging; left out, 15 mm (common practice).",
    )

    tool_changes: bool = Field(
        default=False,
        description="Whether it changes to another filament by itself during a print. Lettering in a second filament "
        "is then a body of its own; otherwise the print pauses for a change by hand.",
    )
    materials: tuple[Name, ...] | None = Field(
        default=None, min_length=1, max_length=20, description="Materials that it prints; left out, any."
    )
    cost_per_hour: Annotated[Number, Field(ge=0.0, le=10_000.0)] = Field(
        default=0.0,
        description="Price of an hour of printing, such as electricity and wear, in the currency of the material's "
        "price; added to the cost of runs.",
    )

    def takes(self, material: str) -> bool:
        """Return whether it prints a material of this name."""
        return self.materials is None or material.casefold() in {own.casefold() for own in self.materials}

    @property
    def usable(self) -> tuple[float, float, float]:
        """Print volume without the margin: x, y and z, in mm."""
        return self.bed[0] - 2.0 * self.margin, self.bed[1] - 2.0 * self.margin, self.bed[2]

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if (refused := refused_line(self.line_width, self.nozzle)) is not None:
            refusals.add(refused, "line_width")
        if (refused := refused_layer(self.layer, self.nozzle)) is not None:
            refusals.add(refused, "layer")
        if self.margin > (most := min(self.bed[:2]) / 4.0):
            error = SpecError(
                "The margin leaves too little of the bed.",
                value=self.margin, limit=f"at most {most:g} mm", remedy="Use a smaller margin.",
            )  # fmt: skip
            refusals.add(error, "margin")
        for index, area in enumerate(self.forbidden):
            for axis in range(2):
                if area.at[axis] + area.size[axis] > self.bed[axis] + LENGTH_EPSILON:
                    most = self.bed[axis] - area.at[axis]
                    error = SpecError(
                        "The forbidden rectangle extends beyond the bed.",
                        value=area.size[axis] if most > 0.0 else area.at[axis],
                        limit=f"at most {most if most > 0.0 else self.bed[axis]:g} mm",
                        remedy="Give only the part of it that lies on the bed.",
                    )  # fmt: skip
                    refusals.add(error, "forbidden", index, "size" if most > 0.0 else "at", axis)
        refusals.settle()
        return self


class NamedPrinter(Printer):
    """One of the printers of a job that need not be alike."""

    name: Name = Field(description="Name of the printer.")
