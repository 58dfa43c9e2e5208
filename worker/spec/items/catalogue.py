"""The catalogue: dimensions of standard items, each with its source.

The data is in `catalogue.json` beside this file. Dimensions are those to reserve space for:
maxima where the source gives them.
"""

import itertools
import json
from difflib import get_close_matches
from functools import cache, lru_cache
from importlib.resources import files
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.items.handling import NestingStep
from worker.spec.items.made_up_shape import Bundle, Coil, Tapered
from worker.spec.items.shape import Box, Cylinder, Prism, Screw
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["CatalogueEntry", "CatalogueShape", "catalogue", "first_entries", "lookup"]

CatalogueShape: TypeAlias = Annotated[
    Box | Cylinder | Prism | Screw | Tapered | Bundle | Coil, Field(discriminator="kind")
]

_MOST_NAMED: Final = 3
_MOST_LISTED: Final = 12


class CatalogueEntry(Noun):
    """A standard item."""

    id: Name = Field(description="Id, by which the shape of an item refers to it.")
    name: Name = Field(description="Name of the standard item.")
    category: Name = Field(description="Category it belongs to.")
    shape: CatalogueShape = Field(description="Shape and dimensions; maxima where the source gives them.")
    nest: NestingStep | None = Field(
        default=None, description="Height that each further one adds to a pile, in mm; null: they do not nest."
    )
    source: Annotated[str, Field(min_length=1)] = Field(description="Source of the dimensions.")
    status: Literal["published source", "from memory", "common practice"] = Field(
        description="Basis of the dimensions: read in a published source, recalled from a standard, or common practice."
    )
    note: str | None = Field(default=None, description="How the shape was derived from the dimensions of the source.")

    @property
    def takes_length(self) -> bool:
        """Whether an item has to give its length, as for a screw."""
        return isinstance(self.shape, Screw)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if isinstance(self.shape, Screw) and self.shape.length is not None:
            error = SpecError(
                "A screw in the catalogue has a fixed length.",
                value=self.shape.length, limit="null", remedy="Remove the length; each item gives its own.",
            )  # fmt: skip
            refusals.add(error, "shape", "length")
        refusals.settle()
        return self


@lru_cache(maxsize=1)
def catalogue() -> tuple[CatalogueEntry, ...]:
    """Return every standard item, in the order of the data."""
    return tuple(_entry(identity) for identity in _documents())


def first_entries(count: int) -> tuple[CatalogueEntry, ...]:
    """Return the first items of the data, and read no others: reading a polygon loads shapely."""
    return tuple(_entry(identity) for identity in itertools.islice(_documents(), count))


def lookup(name: str) -> CatalogueEntry:
    """Return the standard item with this id.

    Raises:
        SpecError: if there is none; the remedy suggests similar ids.
    """
    entries = _documents()
    if name in entries:
        return _entry(name)
    close = get_close_matches(name.lower(), entries, n=_MOST_NAMED, cutoff=0.5)
    if not close:
        beginning = name.lower().partition("-")[0]
        close = [entry for entry in entries if entry.startswith(beginning)][:_MOST_LISTED] if beginning else []
    remedy = (
        f"Did you mean {' or '.join(close)}?" if close else "Use an id from GET /v1/catalogue, or give the dimensions."
    )
    raise SpecError(
        "The catalogue has no item with this id.", value=name, limit="an id of the catalogue", remedy=remedy
    )


@lru_cache(maxsize=1)
def _documents() -> dict[str, Any]:
    """Return the data of every item by its id."""
    data = json.loads(files("worker.spec.items").joinpath("catalogue.json").read_bytes())
    return {document["id"]: document for document in data}


@cache
def _entry(identity: str) -> CatalogueEntry:
    return CatalogueEntry.model_validate(_documents()[identity])
