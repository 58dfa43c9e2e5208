"""Print settings: overrides by kind of part, the user's own profile, limits of a run, and calibrations."""

from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.manifest import PartKind
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, Number
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.printer.lettering import LetteringPrinting
from worker.spec.printer.material import Material
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Calibration", "KindPrinting", "LayerProcess", "Printing", "ProcessNumbers"]

Layer: TypeAlias = Annotated[float, LengthBounds(0.02, 1.6)]
_Speed: TypeAlias = Annotated[Number, Field(ge=1.0, le=2000.0)]
_Layers: TypeAlias = Annotated[Count, Field(ge=0, le=100)]

#: Kinds that are printed with the settings of trays; every other kind uses those of tiles.
_TRAY_KINDS: Final[frozenset[PartKind]] = frozenset({"tray", "plug", "panel", "shoe", "clip"})

#: Largest plausible ratio of measured to predicted values; beyond it the two are of different prints.
_WORST: Final = 5.0


class KindPrinting(Noun):
    """Settings for one kind of part; those left out are as for the job."""

    layer: Layer | None = Field(default=None, description="Layer height.")
    line_width: Annotated[float, LengthBounds(0.08, 5.0)] | None = Field(default=None, description="Line width.")
    material: Material | None = Field(default=None, description="Filament of another kind or colour.")


class ProcessNumbers(Noun):
    """Settings of the user's own print profile; those left out follow common practice for the material."""

    walls: Annotated[Count, Field(ge=1, le=50)] | None = Field(default=None, description="Number of lines in a wall.")
    top_layers: _Layers | None = Field(default=None, description="Number of solid layers below a top face.")
    bottom_layers: _Layers | None = Field(default=None, description="Number of solid layers above a bottom face.")
    infill: Annotated[Number, Field(ge=0.0, le=1.0)] | None = Field(
        default=None, description="Infill density; 0.15 for 15 %."
    )
    first_layer_speed: _Speed | None = Field(default=None, description="Speed of the first layer, mm/s.")
    outer_speed: _Speed | None = Field(default=None, description="Speed of outer walls, mm/s.")
    inner_speed: _Speed | None = Field(default=None, description="Speed of inner walls, mm/s.")
    full_layer_speed: _Speed | None = Field(default=None, description="Speed of solid layers, mm/s.")
    infill_speed: _Speed | None = Field(default=None, description="Speed of infill, mm/s.")
    travel_speed: _Speed | None = Field(default=None, description="Travel speed, mm/s.")
    acceleration: Annotated[Number, Field(ge=10.0, le=100_000.0)] | None = Field(
        default=None, description="Acceleration, mm/s2."
    )
    max_flow: Annotated[Number, Field(ge=0.1, le=200.0)] | None = Field(
        default=None, description="Maximum volumetric flow of the hot end, mm3/s."
    )
    layer_change: Annotated[Number, Field(ge=0.0, le=120.0)] | None = Field(
        default=None, description="Extra seconds per layer change."
    )
    heat_up: Annotated[Number, Field(ge=0.0, le=7200.0)] | None = Field(
        default=None, description="Seconds before the first line of a run, for heating, levelling and priming."
    )


class LayerProcess(ProcessNumbers):
    """Settings of the user's own print profile for one layer height; those left out are as in ``process``."""

    layer: Layer = Field(description="Layer height that the settings are for.")


class Calibration(Noun):
    """Predicted and measured value of one print of the user's own."""

    of: Literal["time", "filament"] = Field(description="What was measured: time in seconds, or filament in grams.")
    predicted: Annotated[Number, Field(gt=0.0, le=1e8)] = Field(description="Value of the uncalibrated estimate.")
    actual: Annotated[Number, Field(gt=0.0, le=1e8)] = Field(description="Measured value.")

    @property
    def ratio(self) -> float:
        """Measured over predicted value."""
        return float(self.actual / self.predicted)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if not 1.0 / _WORST <= self.ratio <= _WORST:
            error = SpecError(
                "Predicted and measured value are too far apart to be of the same print.",
                value=self.actual, limit=f"{self.predicted / _WORST:g} to {self.predicted * _WORST:g}",
                remedy="Give both in the same unit: seconds, or grams.",
            )  # fmt: skip
            refusals.add(error, "actual")
        refusals.settle()
        return self


class Printing(Noun):
    """Print settings of the parts."""

    tile: KindPrinting = Field(
        default=KindPrinting(), description="Settings for tiles, loose keys and the coupon's plate."
    )
    tray: KindPrinting = Field(default=KindPrinting(), description="Settings for trays, panels and the coupon's plug.")
    process: ProcessNumbers = Field(default=ProcessNumbers(), description="Settings of the user's own print profile.")
    layer_processes: tuple[LayerProcess, ...] = Field(
        default=(),
        max_length=8,
        description="Settings that apply only to parts with this layer height, such as speeds of a profile for fine "
        "layers.",
    )
    spacing: Annotated[float, LengthBounds(0.0, 100.0)] = Field(
        default=5.0, description="Gap between two pieces on the bed."
    )
    max_run_hours: Annotated[Number, Field(ge=0.25, le=1000.0)] | None = Field(
        default=None, description="Longest run in hours; a piece that takes longer is printed alone."
    )
    lettering: LetteringPrinting | None = Field(
        default=None, description="Texts, labels and marks in a second filament; null: engraved or raised only."
    )
    start_waste: Annotated[Number, Field(ge=0.0, le=1000.0)] = Field(
        default=1.0,
        description="Grams that each run wastes at its start: skirt and purge line. Left out, 1 g (common practice).",
    )
    compare: tuple[Layer, ...] = Field(
        default=(),
        max_length=8,
        description="Other layer heights to estimate for comparison. Unless `layer_processes` has the settings for "
        "one, its time lies midway between that at the same speeds and that at the same flow.",
    )
    calibration: tuple[Calibration, ...] = Field(
        default=(), max_length=200, description="Prints of the user's own, by which the estimates are corrected."
    )

    def of(self, kind: PartKind) -> KindPrinting:
        """Return the settings for a kind of part."""
        return self.tray if kind in _TRAY_KINDS else self.tile

    def process_for(self, layer: float) -> LayerProcess | None:
        """Return the settings for a layer height, mm; None where there are none."""
        return next((own for own in self.layer_processes if abs(own.layer - layer) <= LENGTH_EPSILON), None)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        for index, own in enumerate(self.layer_processes):
            if self.process_for(own.layer) is not own:
                error = SpecError(
                    "There are two processes for one layer height.",
                    value=own.layer, limit="one for each layer height", remedy="Remove one of them.",
                )  # fmt: skip
                refusals.add(error, "layer_processes", index, "layer")
        refusals.settle()
        return self
