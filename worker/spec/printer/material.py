"""The filament: density, price, colour and spools."""

from typing import Annotated, Any, Final, Self

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name, Number
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["DENSITIES", "Material"]

#: Typical data-sheet densities in g/cm3 (from memory; those of PLA and PETG lie in the published ranges).
DENSITIES: Final = {"PLA": 1.24, "PETG": 1.27, "ABS": 1.04, "ASA": 1.07, "TPU": 1.21}


def _density(fields: dict[str, Any]) -> float:
    # 0 is refused by the model's own rules, which add the pointer
    return DENSITIES.get(str(fields["name"]).upper(), 0.0)


class Material(Noun):
    """Filament that the parts are printed with."""

    name: Name = Field(
        default="PLA", description="PLA, PETG, ABS, ASA, TPU, or any other name together with a density."
    )
    density: Annotated[Number, Field(ge=0.5, le=25.0)] = Field(
        default_factory=_density,
        description="Density in g/cm3; defaults to a typical value for PLA, PETG, ABS, ASA and TPU.",
    )
    cost_per_kg: Annotated[Number, Field(ge=0.0, le=100_000.0)] | None = Field(
        default=None, description="Price per kilogram, in any currency."
    )
    colour: Annotated[str, Field(strict=True, pattern=r"^#[0-9A-Fa-f]{6}$")] | None = Field(
        default=None, description="Colour as #RRGGBB (sRGB)."
    )
    spool: Annotated[Number, Field(ge=1.0, le=50_000.0)] = Field(
        default=1000.0, description="Grams of filament on a full spool."
    )
    left: tuple[Annotated[Number, Field(gt=0.0, le=50_000.0)], ...] = Field(
        default=(), max_length=50, description="Grams left on spools in stock, in the order of use."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.density == 0.0:
            error = SpecError(
                f"There is no default density for {self.name}.",
                value=None, limit=f"required unless the name is {', '.join(DENSITIES)}",
                remedy="Give the density in g/cm3.",
            )  # fmt: skip
            refusals.add(error, "density")
        refusals.settle()
        return self
