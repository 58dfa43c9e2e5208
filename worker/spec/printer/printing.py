"""How the parts are to be printed: per kind of part, per run, and what the user's own prints have shown."""

from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.manifest import PartKind
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, Number
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.printer.material import Material

__all__ = ["Calibration", "KindPrinting", "Printing", "ProcessNumbers"]

Layer: TypeAlias = Annotated[float, LengthBounds(0.02, 1.6)]
_Speed: TypeAlias = Annotated[Number, Field(ge=1.0, le=2000.0)]
_Layers: TypeAlias = Annotated[Count, Field(ge=0, le=100)]

#: Printed as trays are; every other kind as tiles are.
_TRAY_KINDS: Final[frozenset[PartKind]] = frozenset({"tray", "plug"})

#: A prediction further off than this was of another print.
_WORST: Final = 5.0


class KindPrinting(Noun):
    """What differs for one kind of part; what is left out is as for the job."""

    layer: Layer | None = Field(default=None, description="Height of one layer.")
    line_width: Annotated[float, LengthBounds(0.08, 5.0)] | None = Field(
        default=None, description="Width of one printed line."
    )
    material: Material | None = Field(default=None, description="Another filament, or another colour of it.")


class ProcessNumbers(Noun):
    """Numbers of the user's own printing profile; what is left out is common practice for the material."""

    walls: Annotated[Count, Field(ge=1, le=50)] | None = Field(default=None, description="Lines in a wall.")
    top_layers: _Layers | None = Field(default=None, description="Full layers below a top face.")
    bottom_layers: _Layers | None = Field(default=None, description="Full layers above a bottom face.")
    infill: Annotated[Number, Field(ge=0.0, le=1.0)] | None = Field(
        default=None, description="Share of the inside that is filled: 0.15 for 15 %."
    )
    first_layer_speed: _Speed | None = Field(default=None, description="mm/s.")
    outer_speed: _Speed | None = Field(default=None, description="Outermost lines, mm/s.")
    inner_speed: _Speed | None = Field(default=None, description="Other lines of a wall, mm/s.")
    full_layer_speed: _Speed | None = Field(default=None, description="Full layers, mm/s.")
    infill_speed: _Speed | None = Field(default=None, description="Infill, mm/s.")
    travel_speed: _Speed | None = Field(default=None, description="Without printing, mm/s.")
    acceleration: Annotated[Number, Field(ge=10.0, le=100_000.0)] | None = Field(default=None, description="mm/s2.")
    max_flow: Annotated[Number, Field(ge=0.1, le=200.0)] | None = Field(
        default=None, description="Most plastic that the hot end melts, mm3/s."
    )
    layer_change: Annotated[Number, Field(ge=0.0, le=120.0)] | None = Field(
        default=None, description="Seconds from one layer to the next."
    )
    heat_up: Annotated[Number, Field(ge=0.0, le=7200.0)] | None = Field(
        default=None, description="Seconds before the first line of a run: heating, levelling, priming."
    )


class Calibration(Noun):
    """One print of the user's own: what was told before, and what it took."""

    of: Literal["time", "filament"] = Field(description="What was measured: seconds or grams.")
    predicted: Annotated[Number, Field(gt=0.0, le=1e8)] = Field(description="As an uncalibrated estimate said.")
    actual: Annotated[Number, Field(gt=0.0, le=1e8)] = Field(description="As the clock or the scales said.")

    @property
    def ratio(self) -> float:
        """Actual over predicted."""
        return float(self.actual / self.predicted)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if not 1.0 / _WORST <= self.ratio <= _WORST:
            error = SpecError(
                "The two figures are too far apart to be of one print.",
                value=self.actual, limit=f"{self.predicted / _WORST:g} to {self.predicted * _WORST:g}",
                remedy="Give both in the same unit: seconds, or grams.",
            )  # fmt: skip
            refusals.add(error, "actual")
        refusals.settle()
        return self


class Printing(Noun):
    """How the parts are printed."""

    tile: KindPrinting = Field(default=KindPrinting(), description="Tiles, loose keys and the coupon's plate.")
    tray: KindPrinting = Field(default=KindPrinting(), description="Trays and the coupon's plug.")
    process: ProcessNumbers = Field(default=ProcessNumbers(), description="Numbers of the user's own profile.")
    spacing: Annotated[float, LengthBounds(0.0, 100.0)] = Field(
        default=5.0, description="Air between two pieces on a bed."
    )
    max_run_hours: Annotated[Number, Field(ge=0.25, le=1000.0)] | None = Field(
        default=None, description="Longest run; a piece that takes longer alone is a run of its own."
    )
    compare: tuple[Layer, ...] = Field(default=(), max_length=8, description="Other layer heights to price.")
    calibration: tuple[Calibration, ...] = Field(
        default=(), max_length=200, description="Prints of the user's own that refine the estimates."
    )

    def of(self, kind: PartKind) -> KindPrinting:
        """Return what differs for a part of this kind."""
        return self.tray if kind in _TRAY_KINDS else self.tile
