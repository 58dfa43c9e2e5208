"""Batches: many specs at once, each a job of its own, and the manifest over all of them."""

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from worker.spec.manifest.manifest import (
    CautionEntry,
    Count,
    Generator,
    PurchaseEntry,
    RunEntry,
    RunNumber,
    RunPiece,
    WorkEntry,
)
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Name

__all__ = [
    "MOST_SPECS",
    "BatchBeds",
    "BatchDrawer",
    "BatchManifest",
    "BatchPiece",
    "BatchRequest",
    "BatchRun",
    "EntryState",
]

#: Most specs of one batch.
MOST_SPECS = 500

#: What became of a spec: it was refused, or it is a job that is in this state or was removed.
EntryState: TypeAlias = Literal["refused", "queued", "running", "succeeded", "failed", "cancelled", "removed"]

#: Each is judged by itself later on, so that a bad one does not spoil the others.
_Unread: TypeAlias = Annotated[Any, WithJsonSchema({"$ref": "#/components/schemas/Spec"})]


class BatchRequest(Noun):
    """Many specs as one document."""

    batch: Literal["1"] = Field(description="Version of this contract.")
    name: Name = Field(description="What the batch is called.")
    specs: tuple[_Unread, ...] = Field(min_length=1, max_length=MOST_SPECS, description="The specs.")
    strict: bool = Field(default=False, strict=True, description="Refuse all where one is refused.")
    split: bool = Field(default=False, strict=True, description="Make each drawer of a spec a job of its own.")


class _Entry(BaseModel):
    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, json_schema_serialization_defaults_required=True
    )


class BatchPiece(RunPiece):
    """One piece in a run: of which spec, and as in a run of one job."""

    entry: Count
    """The spec: an index into the entries."""


class BatchRun(RunEntry):
    """What is printed in one go on one bed, for one spec or several."""

    pieces: tuple[BatchPiece, ...]


class BatchBeds(_Entry):
    """Runs for printers that are alike, of specs that are printed alike."""

    bed: tuple[float, float, float]
    entries: tuple[Count, ...]
    """The specs, as indices into the entries."""
    runs: tuple[RunNumber, ...]
    work: WorkEntry


class BatchDrawer(_Entry):
    """What became of one spec and its drawers."""

    entry: Count
    name: str | None
    """The spec's; null where a refused one had none."""
    state: EntryState
    job: str | None
    """The job's identity; null for a refused spec."""
    drawers: tuple[str, ...]
    """Names of the drawers that were made."""
    parts: Count
    """Pieces to print for it."""
    problem: dict[str, Any] | None
    """Why it was refused or failed, as a problem document."""


class BatchManifest(_Entry):
    """All that a batch made: each job has a manifest of its own beside it."""

    batch: Literal["1"] = "1"
    generator: Generator | None
    """Null when no job succeeded."""
    name: str
    entries: tuple[BatchDrawer, ...]
    runs: tuple[BatchRun, ...]
    """Runs packed over all jobs, in the order of work for each kind of bed."""
    beds: tuple[BatchBeds, ...]
    pieces: Count
    grams: float
    seconds: float
    """All runs one after another."""
    purchases: tuple[PurchaseEntry, ...]
    cautions: tuple[CautionEntry, ...]
