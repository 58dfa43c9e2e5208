"""The manifest of a batch: the result of each spec, and the runs packed across all of its jobs."""

from typing import Any, Literal, TypeAlias

from worker.spec.manifest.fields import Count, FileName, OutputModel, RunNumber
from worker.spec.manifest.manifest import Generator
from worker.spec.manifest.plan_document import CautionEntry
from worker.spec.manifest.runs import RunEntry, RunPiece, WorkEntry
from worker.spec.manifest.schedule import PurchaseEntry

__all__ = ["BatchBeds", "BatchDrawer", "BatchManifest", "BatchPiece", "BatchRun", "EntryState"]

#: State of one spec of a batch: refused, the state of its job, or removed with its job.
EntryState: TypeAlias = Literal["refused", "queued", "running", "succeeded", "failed", "cancelled", "removed"]


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
    folder: FileName | None = None
    """Folder of its files in the archive of the batch, bundle.zip; null if its job did not succeed."""
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
