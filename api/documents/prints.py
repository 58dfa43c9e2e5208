"""The documents about the printing of a job that the service answers with."""

from datetime import datetime
from typing import Annotated, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, JsonValue
from pydantic.config import JsonDict

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
    "FilamentProgress",
    "MarkProgress",
    "PrintDocument",
    "PrinterRecord",
    "PrintsDocument",
    "ReprintsDocument",
    "RunFiles",
    "RunFilesState",
    "RunProgress",
    "RunsDocument",
]


_JOB: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_AT: Final = "2026-03-07T18:42:00Z"

_EVENT: Final[JsonDict] = {
    "number": 4,
    "id": "printer-1.run-3",
    "recorded": _AT,
    "at": _AT,
    "outcome": "printed",
    "run": 3,
    "mark": None,
    "count": None,
    "failed": {"T4": 1},
    "clearance": None,
    "printer": "by the window",
    "seconds": 5120.0,
    "event": None,
    "withdrawn_by": None,
    "note": "a corner came loose",
    "pieces_left": 3,
    "runs_left": 2,
}

_FILAMENT: Final[list[JsonValue]] = [
    {
        "material": "PETG",
        "colour": "#2E6F9E",
        "used": 212.4,
        "used_for_failed": 18.2,
        "waste": 19.2,
        "needed": 54.6,
        "spools": [187.6, 1000.0],
    }
]

_PRINTS: Final[JsonDict] = {
    "job": _JOB,
    "done": False,
    "clearance": 0.3,
    "refit": None,
    "pieces_left": 3,
    "runs_left": 2,
    "marks": [
        {
            "mark": "T4",
            "kind": "tray",
            "name": "bits",
            "needed": 4,
            "printed": 1,
            "placed": 0,
            "failed": 1,
            "left": 3,
        }
    ],
    "runs": [
        {"number": 3, "state": "printed", "planned": True, "pieces": 2, "failed": {"T4": 1}, "file": None},
        {"number": 4, "state": "open", "planned": True, "pieces": 2, "failed": {}, "file": None},
        {"number": 5, "state": "open", "planned": False, "pieces": 1, "failed": {}, "file": None},
    ],
    "files": {"state": "awaited", "problem": None, "retry": None},
    "filament": _FILAMENT,
    "waste": 19.2,
    "printers": [
        {
            "printer": "by the window",
            "runs": 4,
            "failed": 1,
            "failure_rate": 0.0833,
            "failure_uncertainty": 0.0553,
            "time_factor": 1.08,
            "time_uncertainty": 0.25,
        }
    ],
    "events": [_EVENT],
    "next": None,
}

_RUNS: Final[JsonDict] = {
    "job": _JOB,
    "done": False,
    "runs": [
        {
            "number": 5,
            "material": "PETG",
            "colour": "#2E6F9E",
            "layer": 0.2,
            "line_width": 0.44,
            "pieces": [{"mark": "T4", "at": [0.5, 0.5], "turn": 0, "drawer": "top"}],
            "seconds": 4210.0,
            "grams": 18.2,
            "metres": 6.0,
            "cost": 0.36,
            "file": "run-05.3mf",
            "lettering": None,
            "printers": [],
        }
    ],
    "work": {
        "pieces": 1,
        "runs": 1,
        "least_runs": 1,
        "long_pieces": [],
        "calendar_run_hours": None,
        "grams": 18.2,
        "metres": 6.0,
        "cost": 0.36,
        "seconds": 4210.0,
        "time_uncertainty": 0.25,
        "filament_uncertainty": 0.08,
        "calibrated_time": 1.0,
        "calibrated_filament": 1.0,
        "alternatives": [],
        "printers": [],
    },
    "schedule": None,
    "reprints": {"runs": 1, "pieces": 1, "seconds": 4210.0, "grams": 18.2, "finish_without": None},
    "purchases": [
        {"material": "PETG", "colour": "#2E6F9E", "grams": 18.2, "left": 1187.6, "spools": 0, "by": None, "cost": None}
    ],
    "files": {"state": "awaited", "problem": None, "retry": None},
    "filament": _FILAMENT,
}


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True)


class PrintDocument(_Document):
    """A recorded print event."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EVENT]})

    number: Annotated[int, Field(ge=1, description="The event's sequence number in the job.")]
    id: str = Field(description="The event's id: the caller's, or else one that the service made.")
    recorded: datetime = Field(description="When the service recorded the event.")
    at: datetime = Field(description="When the event happened.")
    outcome: Outcome = Field(description="What happened to the pieces.")
    run: RunNumber | None = Field(description="The run concerned; null where the event names a mark.")
    mark: Mark | None = Field(description="The mark concerned; null where the event names a run.")
    count: Annotated[int, Field(ge=1)] | None = Field(description="The number of pieces of the mark.")
    failed: dict[Mark, Annotated[int, Field(ge=1)]] = Field(description="Failed pieces of the run, by mark.")
    clearance: float | None = Field(description="The clearance that the coupon showed, in mm.")
    printer: str | None = Field(description="The printer that printed the run.")
    seconds: float | None = Field(description="The measured print time of the run, in seconds.")
    event: int | None = Field(description="The number of the event that this one withdraws.")
    withdrawn_by: int | None = Field(description="The number of the event that withdrew this one; null if it counts.")
    note: str | None = Field(description="The caller's note.")
    pieces_left: Annotated[int, Field(ge=0, description="Pieces still to print after this event.")]
    runs_left: Annotated[int, Field(ge=0, description="Runs still to print after this event.")]


class MarkProgress(_Document):
    """The progress of one mark."""

    mark: Mark
    kind: PartKind
    name: str
    needed: Count
    printed: Count = Field(description="Good pieces printed, including those placed in the drawer.")
    placed: Count = Field(description="Pieces placed in the drawer.")
    failed: Count = Field(description="Pieces that failed, in total.")
    left: Count = Field(description="Pieces still to print.")


class RunProgress(_Document):
    """The progress of one run. A run's number always stands for the same pieces and is never reused."""

    number: RunNumber
    state: RunState = Field(
        description="open: still to print. replaced: its pieces were packed into other runs or already exist; if it "
        "had been started, it can still be reported as printed."
    )
    planned: bool = Field(description="Whether the job planned the run; otherwise it was packed after a print event.")
    pieces: Annotated[int, Field(ge=1)]
    failed: dict[Mark, Count] = Field(description="Failed pieces of the run, by mark.")
    file: str | None = Field(description="The URL of the run's 3MF file; null until a worker has written it.")


RunFilesState: TypeAlias = Literal["complete", "awaited", "failed"]


class RunFiles(_Document):
    """The state of the files of runs that were packed after a print event."""

    state: RunFilesState = Field(
        description="complete: every run has its file. awaited: a worker is writing the missing ones. failed: a file "
        "could not be written, so the existing files do not cover what remains."
    )
    problem: str | None = Field(description="Why a file could not be written.")
    retry: datetime | None = Field(
        description="When writing is retried; null after a failure means with the next event that makes new runs."
    )


class FilamentProgress(_Document):
    """Estimated filament of one material and colour, in grams."""

    material: str
    colour: Colour | None
    used: Amount = Field(description="Used for all printed pieces, good or failed.")
    used_for_failed: Amount = Field(
        description="The share of failed pieces. Each counts as printed completely, so a print that was stopped early "
        "has used less."
    )
    waste: Amount = Field(
        description="Wasted: failed pieces, and of each run that was printed or failed printing.start_waste and what "
        "changes of filament for lettering waste. The latter two are not in `used`."
    )
    needed: Amount = Field(description="Needed for the runs still to print.")
    spools: tuple[Amount, ...] = Field(
        description="What is left on each spool, the one in use first. Filament used beyond the spools in the spec is "
        "taken from new spools."
    )


class PrinterRecord(_Document):
    """What the recorded runs of a printer, in all jobs of this owner, say about it."""

    printer: str
    runs: Count = Field(description="Recorded runs that name this printer.")
    failed: Count = Field(description="Those of which at least one piece failed.")
    failure_rate: Annotated[float, Field(ge=0, le=1)] = Field(
        description="Expected share of failed runs; before anything is recorded, one in twenty (common practice)."
    )
    failure_uncertainty: Amount = Field(description="Standard deviation of the failure rate.")
    time_factor: Annotated[float, Field(gt=0)] = Field(
        description="Median of measured over estimated print times; the schedule multiplies times by it."
    )
    time_uncertainty: Amount = Field(description="Relative uncertainty of print times after that.")


class ReprintsDocument(_Document):
    """Runs that repeat failed pieces, and what they do to the finish."""

    runs: Count = Field(description="Open runs that were packed after a print event.")
    pieces: Count
    seconds: Amount = Field(description="Their print time.")
    grams: Amount = Field(description="Their filament.")
    finish_without: datetime | None = Field(
        description="When printing would end without them; null without a schedule or without such runs."
    )


class PrintsDocument(_Document):
    """The print progress of a job and its history, newest event first."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_PRINTS]})

    job: str = Field(description="The job's identifier.")
    done: bool = Field(description="Whether nothing is left to print.")
    clearance: float | None = Field(
        description="The clearance that the coupon showed, in mm, the greatest of several; null until recorded."
    )
    refit: str | None = Field(
        description="The URL of the spec to submit next, if the coupon showed another clearance than the job's."
    )
    pieces_left: Count = Field(description="Pieces still to print.")
    runs_left: Count = Field(description="Runs still to print.")
    marks: tuple[MarkProgress, ...] = Field(description="The progress of every mark.")
    runs: tuple[RunProgress, ...] = Field(description="All current and former runs, by number.")
    files: RunFiles
    filament: tuple[FilamentProgress, ...] = Field(description="Empty if the parts have no estimates.")
    waste: Amount = Field(description="Grams wasted of all filaments.")
    printers: tuple[PrinterRecord, ...] = Field(description="The schedule's printers; empty without a schedule.")
    events: tuple[PrintDocument, ...] = Field(description="One page of the history, newest event first.")
    next: str | None = Field(description="The URL of the page with older events; null on the last page.")


class RunsDocument(_Document):
    """What is still to print, computed from the current progress."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_RUNS]})

    job: str = Field(description="The job's identifier.")
    done: bool = Field(description="Whether nothing is left to print.")
    runs: tuple[RunEntry, ...] = Field(
        description="In printing order. A run that was packed after a print event has no file until a worker writes it."
    )
    work: WorkEntry = Field(description="Totals over all of these runs.")
    schedule: ScheduleEntry | None = Field(description="The schedule from now on; null if the spec has none.")
    reprints: ReprintsDocument
    purchases: tuple[PurchaseEntry, ...] = Field(description="Filament to buy for the remaining runs.")
    files: RunFiles
    filament: tuple[FilamentProgress, ...] = Field(description="Empty if the parts have no estimates.")
