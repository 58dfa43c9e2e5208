"""The catalogue: sizes of standard things, each with its source, so that nobody has to measure them.

The data is `catalogue.json` beside this file. Sizes are for making room: maxima where the source gives them.
"""

import json
from difflib import get_close_matches
from functools import lru_cache
from importlib.resources import files
from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, TypeAdapter, model_validator

from worker.spec.errors import SpecError
from worker.spec.items.shape import Box, Cylinder, Prism, Screw
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["CatalogueEntry", "CatalogueShape", "catalogue", "lookup"]

CatalogueShape: TypeAlias = Annotated[Box | Cylinder | Prism | Screw, Field(discriminator="kind")]

_MOST_NAMED: Final = 3
_MOST_LISTED: Final = 12


class CatalogueEntry(Noun):
    """A standard thing."""

    id: Name = Field(description="What an item's shape names it by.")
    name: Name = Field(description="What it is.")
    category: Name = Field(description="What it is one of.")
    shape: CatalogueShape = Field(description="The room it takes: maxima where the source gives them.")
    source: Annotated[str, Field(min_length=1)] = Field(description="Where the sizes come from.")
    status: Literal["published source", "from memory", "common practice"] = Field(
        description="How far the sizes are known: read in a source, a standard from memory, or usual."
    )
    note: str | None = Field(default=None, description="How the room was taken from the sizes.")

    @property
    def takes_length(self) -> bool:
        """Whether an item must give its length: a screw."""
        return isinstance(self.shape, Screw)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if isinstance(self.shape, Screw) and self.shape.length is not None:
            error = SpecError("A screw of the catalogue has no length of its own.", value=self.shape.length)
            refusals.add(error, "shape", "length")
        refusals.settle()
        return self


@lru_cache(maxsize=1)
def catalogue() -> tuple[CatalogueEntry, ...]:
    """Return every standard thing, in order of the data."""
    data = json.loads(files("worker.spec.items").joinpath("catalogue.json").read_bytes())
    return TypeAdapter(tuple[CatalogueEntry, ...]).validate_python(data)


def lookup(name: str) -> CatalogueEntry:
    """Return the thing of this id.

    Raises:
        SpecError: when there is none; the remedy names what comes close.
    """
    entries = _by_id()
    if name in entries:
        return entries[name]
    close = get_close_matches(name.lower(), entries, n=_MOST_NAMED, cutoff=0.5)
    if not close:
        beginning = name.lower().partition("-")[0]
        close = [entry for entry in entries if entry.startswith(beginning)][:_MOST_LISTED] if beginning else []
    remedy = f"Did you mean {' or '.join(close)}?" if close else "Take one of the catalogue, or give its sizes."
    raise SpecError("The catalogue has no such thing.", value=name, limit="an id of the catalogue", remedy=remedy)


@lru_cache(maxsize=1)
def _by_id() -> dict[str, CatalogueEntry]:
    return {entry.id: entry for entry in catalogue()}
