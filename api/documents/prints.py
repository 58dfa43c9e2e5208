"""Documents about the printing of a job."""

from datetime import datetime
from typing import Annotated, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

from worker.printing.progress.print_state import RunState
from worker.spec.manifest import (
    Amount,
    Colour,
    Count,
    Mark,
    PartKind,
    PurchaseEntry,
    RunEntry,
    RunNumber,
    ScheduleEntry,
    WorkEntry,
)
from worker.spec.requests.print_event import Outcome

__all__ = [
    "FilamentStanding",
    "MarkStanding",
    "PrintDocument",
    "PrintsDocument",
    "RunFiles",
    "RunFilesState",
    "RunStanding",
    "RunsDocument",
]


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True)


class PrintDocument(_Document):
    """An event as it was recorded."""

    number: Annotated[int, Field(ge=1, description="Its place in the job's history.")]
    id: str = Field(description="The caller's own name for it, or one of ours.")
    recorded: datetime = Field(description="When the service was told.")
    at: datetime = Field(description="When it was.")
    outcome: Outcome
    run: RunNumber | None
    mark: Mark | None
    count: Annotated[int, Field(ge=1)] | None = Field(description="Pieces of the mark.")
    failed: dict[Mark, Annotated[int, Field(ge=1)]] = Field(description="Pieces of the run that failed, by mark.")
    note: str | None
    pieces_left: Annotated[int, Field(ge=0, description="Pieces to print after this event.")]
    runs_left: Annotated[int, Field(ge=0, description="Runs to print after this event.")]


class MarkStanding(_Document):
    """Where the pieces of one mark stand."""

    mark: Mark
    kind: PartKind
    name: str
    needed: Count
    printed: Count = Field(description="Good pieces that there are, those in the drawer among them.")
    placed: Count = Field(description="In the drawer.")
    failed: Count = Field(description="Pieces that ever failed.")
    left: Count = Field(description="Still to print.")


class RunStanding(_Document):
    """Where one run stands. A number always means the same pieces and is never given twice."""

    number: RunNumber
    state: RunState = Field(
        description="open: to be printed. replaced: its pieces were packed afresh, or are there already; it may be "
        "reported as printed all the same, if it was begun."
    )
    planned: bool = Field(description="By the job; otherwise it was packed afresh.")
    pieces: Annotated[int, Field(ge=1)]
    failed: dict[Mark, Count] = Field(description="Pieces that failed in it, by mark.")
    file: str | None = Field(description="Address of its 3MF; null until a worker has written it.")


RunFilesState: TypeAlias = Literal["complete", "awaited", "failed"]


class RunFiles(_Document):
    """Whether each run that was packed afresh has its file."""

    state: RunFilesState = Field(
        description="complete: it has. awaited: a worker writes what is missing. failed: it could not be written, and "
        "the files that there are do not cover what remains."
    )
    problem: str | None = Field(description="Why it could not be written.")
    retry: datetime | None = Field(
        description="When it is tried again; null of one that failed: with the next event that makes new runs."
    )


class FilamentStanding(_Document):
    """Filament of one material and colour, in grams, by the estimates."""

    material: str
    colour: Colour | None
    used: Amount = Field(description="Of all pieces that were printed, good or not.")
    used_for_failed: Amount = Field(
        description="Of these, how much is assumed for pieces that failed: each is counted as if it was printed to its "
        "end, so a print that was stopped early has used less."
    )
    needed: Amount = Field(description="For the runs to come.")
    spools: tuple[Amount, ...] = Field(
        description="Left on each spool that is there, the one in use first. What was used beyond the spools that the "
        "spec names came off new ones."
    )


class PrintsDocument(_Document):
    """The history of a job's printing, newest first, and where it stands now."""

    job: str
    done: bool = Field(description="Whether nothing is left to print.")
    pieces_left: Count
    runs_left: Count
    marks: tuple[MarkStanding, ...]
    runs: tuple[RunStanding, ...] = Field(description="All runs that the job has or had, by number.")
    files: RunFiles
    filament: tuple[FilamentStanding, ...] = Field(description="Empty where parts have no estimate.")
    events: tuple[PrintDocument, ...] = Field(description="One page of the history, newest first.")
    next: str | None = Field(description="The page with older events, if there are any.")


class RunsDocument(_Document):
    """What is still to be printed, recomputed from now."""

    job: str
    done: bool = Field(description="Whether nothing is left to print.")
    runs: tuple[RunEntry, ...] = Field(
        description="In the order of work. A run that was packed afresh has no file until a worker has written it."
    )
    work: WorkEntry = Field(description="All of them in numbers.")
    schedule: ScheduleEntry | None = Field(description="From now on; null without a schedule in the spec.")
    purchases: tuple[PurchaseEntry, ...] = Field(description="Filament to buy for what remains.")
    files: RunFiles
    filament: tuple[FilamentStanding, ...] = Field(description="Empty where parts have no estimate.")
