"""What the service says about the printing of a job."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Annotated, Final

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field

from api.address import base_of
from worker.beds.remaining import begin, remaining_work, used_filament
from worker.beds.spools import left_of
from worker.beds.standing import RunState, Standing
from worker.beds.timetable import make_timetable, purchases
from worker.jobs.engine import Engine
from worker.jobs.job import run_file_name
from worker.jobs.prints import Printed, PrintStatus
from worker.spec import Material, Spec
from worker.spec.errors import RunsUnknown
from worker.spec.manifest import (
    Amount,
    Colour,
    Count,
    Manifest,
    Mark,
    PartKind,
    PurchaseEntry,
    RunEntry,
    RunNumber,
    ScheduleEntry,
    WorkEntry,
)
from worker.spec.prints import Outcome

__all__ = [
    "PrintDocument",
    "PrintWork",
    "PrintsDocument",
    "RunsDocument",
    "print_document",
    "prints_document",
    "runs_document",
]

#: Remaining runs begin at the next multiple of this at the earliest, so that a calendar changes no more often.
_STEP: Final = timedelta(minutes=15)


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
    filament: tuple[FilamentStanding, ...] = Field(description="Empty where parts have no estimate.")


@dataclass(frozen=True, slots=True)
class PrintWork:
    """All that is known of a job's printing."""

    job_id: str
    manifest: Manifest
    spec: Spec
    status: PrintStatus | None
    files: frozenset[str]

    @classmethod
    def read(cls, engine: Engine, job_id: str) -> "PrintWork":
        """Read it.

        Raises:
            JobNotFound: when there is no such job.
            JobNotReady: when it has not succeeded.
            RunsUnknown: when it was made before runs were planned.
        """
        manifest = _manifest(b"".join(engine.read(engine.manifest(job_id))))
        if manifest.work is None and not manifest.runs:
            raise RunsUnknown(remedy="Submit its spec again.")
        files = frozenset(file.name for file in engine.files(job_id))
        return cls(job_id, manifest, _spec(engine.prints.spec(job_id)), engine.prints.status(job_id), files)

    @property
    def standing(self) -> Standing:
        """Where it stands."""
        return begin(self.manifest) if self.status is None else self.status.standing

    @property
    def materials(self) -> tuple[Material, ...]:
        """The filaments of all parts."""
        return tuple(dict.fromkeys(self.spec.material_of(part.kind) for part in self.manifest.parts))

    @property
    def used(self) -> dict[tuple[str, str | None], float]:
        """Grams used by material and colour; none where parts have no estimate."""
        return used_filament(self.standing, self.standing.laid, self.manifest) or {}

    def file_of(self, number: int) -> str | None:
        """Return the name of a run's file, if there is one."""
        name = run_file_name(number)
        return name if name in self.files else None

    def remaining(self) -> tuple[tuple[RunEntry, ...], WorkEntry]:
        """Return the runs to come in the order of work, with the files that they have, and all of them in numbers."""
        runs, work = remaining_work(self.standing, self.manifest, self.spec)
        return tuple(run.model_copy(update={"file": self.file_of(run.number)}) for run in runs), work

    def schedule(self, runs: tuple[RunEntry, ...], now: datetime) -> ScheduleEntry | None:
        """Return when these runs are printed, or None where the spec has no schedule or a run has no time."""
        plan = self.spec.schedule
        if plan is None or any(run.seconds is None for run in runs):
            return None
        return make_timetable(plan, runs, self.materials, now, self.used)

    def filament(self, runs: tuple[RunEntry, ...]) -> tuple[FilamentStanding, ...]:
        """Return the filament used, needed and left."""
        standing, used = self.standing, self.used
        if used_filament(standing, standing.needed, self.manifest) is None:
            return ()
        failed = used_filament(standing, standing.failed, self.manifest) or {}
        needed: dict[tuple[str, str | None], float] = {}
        for run in runs:
            key = run.material, run.colour
            needed[key] = needed.get(key, 0.0) + (run.grams or 0.0)
        return tuple(
            FilamentStanding(
                material=one.name,
                colour=one.colour,
                used=_grams(used, key),
                used_for_failed=_grams(failed, key),
                needed=_grams(needed, key),
                spools=tuple(round(grams, 2) for grams in left_of(one, used.get(key, 0.0))),
            )
            for one in self.materials
            for key in ((one.name, one.colour),)
        )


def beginning(now: datetime) -> datetime:
    """Return the moment from which remaining runs are dated: the next quarter of an hour."""
    return now + (-(now - datetime(2000, 1, 1, tzinfo=UTC)) % _STEP)


def print_document(event: Printed) -> PrintDocument:
    """Return an event as its document."""
    return PrintDocument(**{name: getattr(event, name) for name in Printed.__slots__})


def prints_document(request: Request, work: PrintWork, events: list[Printed], limit: int) -> PrintsDocument:
    """Return where the job stands, with a page of at most ``limit`` events, of which one more was looked up."""
    address = f"{base_of(request)}/v1/jobs/{work.job_id}"
    standing, shown = work.standing, events[:limit]
    parts = {part.mark: part for part in work.manifest.parts}
    runs, _ = work.remaining()
    return PrintsDocument(
        job=work.job_id,
        done=standing.done,
        pieces_left=standing.left.total(),
        runs_left=len(runs),
        marks=tuple(
            MarkStanding(
                mark=mark,
                kind=parts[mark].kind,
                name=parts[mark].name,
                needed=needed,
                printed=standing.printed.get(mark, 0),
                placed=standing.placed.get(mark, 0),
                failed=standing.failed.get(mark, 0),
                left=standing.left[mark],
            )
            for mark, needed in standing.needed.items()
        ),
        runs=tuple(
            RunStanding(
                number=one.run.number,
                state=one.state,
                planned=one.planned,
                pieces=len(one.run.pieces),
                failed=one.failed,
                file=f"{address}/runs/{one.run.number}.3mf" if work.file_of(one.run.number) else None,
            )
            for one in standing.runs
        ),
        filament=work.filament(runs),
        events=tuple(print_document(event) for event in shown),
        next=f"{address}/prints?limit={limit}&after={shown[-1].number}" if len(events) > limit else None,
    )


def runs_document(work: PrintWork, now: datetime) -> RunsDocument:
    """Return what is still to be printed."""
    runs, numbers = work.remaining()
    schedule = work.schedule(runs, beginning(now))
    steps = () if schedule is None else schedule.steps
    return RunsDocument(
        job=work.job_id,
        done=work.standing.done,
        runs=runs,
        work=numbers,
        schedule=schedule,
        purchases=purchases(runs, work.materials, work.used, steps),
        filament=work.filament(runs),
    )


@lru_cache(maxsize=16)
def _manifest(data: bytes) -> Manifest:
    return Manifest.model_validate_json(data)


@lru_cache(maxsize=16)
def _spec(text: str) -> Spec:
    return Spec.model_validate_json(text)


def _grams(amounts: Mapping[tuple[str, str | None], float], key: tuple[str, str | None]) -> float:
    return round(amounts.get(key, 0.0), 2)
