"""Lettering in a second filament: texts, labels and marks in another colour than their part."""

from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Number
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.printer.material import Material

__all__ = ["PAUSED_FACES", "SOLID_FACES", "LetteredFace", "LetteringPrinting"]

#: Faces that can carry lettering.
LetteredFace: TypeAlias = Literal["top", "bottom", "floor", "ledge", "front"]

#: Faces whose lettering lies in a few layers, and those of them on which nothing else of a part need lie in these.
SOLID_FACES: Final[tuple[LetteredFace, ...]] = ("top", "bottom", "floor")
PAUSED_FACES: Final[tuple[LetteredFace, ...]] = ("top", "bottom")


class LetteringPrinting(Noun):
    """Second filament for texts, labels and marks."""

    material: Material = Field(
        description="Filament of the lettering; best of the kind of the parts', so that it bonds."
    )
    faces: tuple[LetteredFace, ...] | None = Field(
        default=None,
        min_length=1,
        max_length=5,
        description="Faces whose lettering is in the second filament. Each layer of lettering costs a change; on "
        "`ledge` and `front` it spans many. Left out: top, bottom and floor, or without printer.tool_changes top and "
        "bottom, the only two that a pause can colour.",
    )
    change_grams: Annotated[Number, Field(ge=0.0, le=100.0)] = Field(
        default=1.0,
        description="Grams that each change of filament wastes. Left out, 1 g; common practice is 0.1 (a nozzle for "
        "each filament) to 2 (one nozzle, flushed).",
    )
    change_seconds: Annotated[Number, Field(ge=0.0, le=7200.0)] | None = Field(
        default=None,
        description="Seconds that each change takes. Left out, 60 for a printer that changes by itself, 300 by hand "
        "(common practice).",
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        faces = self.faces or ()
        for index, face in enumerate(faces):
            if face in faces[:index]:
                error = SpecError(
                    "A face is named twice.", value=face, limit="each face once", remedy="Remove one of them."
                )
                refusals.add(error, "faces", index)
        refusals.settle()
        return self
