"""Batches: requests with many specs, each of which becomes a job, and the manifest over all of these jobs."""

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Field, WithJsonSchema

from worker.spec.manifest import (
    CautionEntry,
    Count,
    Generator,
    OutputModel,
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

#: Most specs in one batch.
MOST_SPECS = 500

#: State of one spec of a batch: refused, the state of its job, or removed with its job.
EntryState: TypeAlias = Literal["refused", "queued", "running", "succeeded", "failed", "cancelled", "removed"]

#: Each spec is validated on its own, so that an invalid one does not fail the whole batch.
_Unread: TypeAlias = Annotated[Any, WithJsonSchema({"$ref": "#/components/schemas/Spec"})]


class BatchRequest(Noun):
    """Many specs in one request."""

    batch: Literal["1"] = Field(description="Version of this contract.")
    name: Name = Field(description="Name of the batch.")
    specs: tuple[_Unread, ...] = Field(
        min_length=1, max_length=MOST_SPECS, description="The specs; each becomes a job."
    )
    strict: bool = Field(default=False, strict=True, description="Refuse the whole batch if one spec is refused.")
    split: bool = Field(default=False, strict=True, description="Make a separate job for each drawer of a spec.")


class BatchPiece(RunPiece):
    """Position of a piece in a run, and the spec it belongs to."""

    entry: Count
    """Index of the spec in `entries`."""


class BatchRun(RunEntry):
    """What is printed in one go on one bed, for one or more specs."""

    pieces: tuple[BatchPiece, ...]


class BatchBeds(OutputModel):
    """Runs of the specs that have the same bed and print settings."""

    bed: tuple[float, float, float]
    entries: tuple[Count, ...]
    """Indices of the specs in `entries`."""
    runs: tuple[RunNumber, ...]
    work: WorkEntry


class BatchDrawer(OutputModel):
    """Result of one spec."""

    entry: Count
    name: str | None
    """Name of the spec; null if it was refused and had no name."""
    state: EntryState
    job: str | None
    """Id of the job; null if the spec was refused."""
    drawers: tuple[str, ...]
    """Names of its drawers that were made."""
    parts: Count
    """Number of pieces to print."""
    problem: dict[str, Any] | None
    """Why it was refused or failed, as a problem document (RFC 9457)."""


class BatchManifest(OutputModel):
    """Everything that a batch made. Each job also has its own manifest."""

    batch: Literal["1"] = "1"
    generator: Generator | None
    """Null if no job succeeded."""
    name: str
    entries: tuple[BatchDrawer, ...]
    runs: tuple[BatchRun, ...]
    """Print runs over all jobs, in working order for each kind of bed."""
    beds: tuple[BatchBeds, ...]
    pieces: Count
    grams: float
    seconds: float
    """Total over all runs, printed one after another."""
    purchases: tuple[PurchaseEntry, ...]
    cautions: tuple[CautionEntry, ...]
