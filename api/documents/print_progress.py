"""The print progress of a job, and the documents made of it."""

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from fastapi import Request

from api.documents.prints import (
    FilamentProgress,
    MarkProgress,
    PrintDocument,
    PrinterRecord,
    PrintsDocument,
    ReprintsDocument,
    RunFiles,
    RunProgress,
    RunsDocument,
)
from api.http.requests.base_url import base_of
from worker.jobs.common.errors import RunsUnknown
from worker.jobs.job_service import JobService
from worker.jobs.records.models import run_file_name
from worker.jobs.records.print_events import PrintEventRecord, PrintStatus
from worker.printing.progress.print_state import PrintState, begin
from worker.printing.progress.recorded_run import RecordedRun
from worker.spec import Material, Schedule, Spec
from worker.spec.manifest import Manifest, RunEntry, ScheduleEntry, WorkEntry

if TYPE_CHECKING:  # they bring the estimates and their geometry along
    from worker.printing.progress.printer_history import PrinterHistory
    from worker.printing.scheduling.reliability import Reliability

__all__ = ["PrintWork", "beginning", "print_document", "prints_document", "runs_document"]

#: Remaining runs begin at the next multiple of this at the earliest, so that a calendar changes no more often.
_STEP: Final = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class PrintWork:
    """The manifest, spec, progress and files of a job that is being printed."""

    job_id: str
    manifest: Manifest
    spec: Spec
    status: PrintStatus | None
    files: frozenset[str]
    recorded_runs: tuple[RecordedRun, ...] = ()

    @classmethod
    def read(cls, job_service: JobService, job_id: str) -> "PrintWork":
        """Read them from the database and the object store.

        Raises:
            JobNotFound: when there is no such job.
            JobNotReady: when it has not succeeded.
            RunsUnknown: when it was made before runs were planned.
        """
        file = job_service.manifest(job_id)
        manifest = _manifest(_Stored(file.sha256, lambda: b"".join(job_service.read(file))))
        if manifest.work is None and not manifest.runs:
            raise RunsUnknown(remedy="Submit the spec again.")
        status = job_service.prints.status(job_id)  # before the files: what it calls written is among them
        files = frozenset(file.name for file in job_service.files(job_id))
        spec = _spec(job_service.prints.spec(job_id))
        # only a schedule names printers, of which these are the records
        recorded = () if spec.calendar is None else tuple(job_service.prints.recorded_runs(job_id))
        return cls(job_id, manifest, spec, status, files, recorded)

    @property
    def state(self) -> PrintState:
        """The progress: that of the latest print event, or of a job of which nothing is printed."""
        return begin(self.manifest) if self.status is None else self.status.state

    @property
    def run_files(self) -> RunFiles:
        """The state of the files of runs that were packed after a print event."""
        status = self.status
        if status is None or not status.repack:
            return RunFiles(state="complete", problem=None, retry=None)
        if status.problem is None:
            return RunFiles(state="awaited", problem=None, retry=None)
        return RunFiles(state="failed", problem=str(status.problem.get("detail")), retry=status.retry)

    @property
    def materials(self) -> tuple[Material, ...]:
        """The filaments of all parts."""
        return self.spec.materials_of(part.kind for part in self.manifest.parts)

    @property
    def used(self) -> dict[tuple[str, str | None], float]:
        """Grams used by material and colour; none where parts have no estimate."""
        from worker.printing.progress.remaining import used_filament  # noqa: PLC0415 - a service at rest needs no geometry

        return used_filament(self.state, self.state.laid, self.manifest) or {}

    @property
    def refit_needed(self) -> bool:
        """Whether the coupon showed another clearance than the parts are made with."""
        from worker.printing.progress.coupon_gate import refit_needed  # noqa: PLC0415 - as above

        return refit_needed(self.spec, self.state)

    @property
    def histories(self) -> "tuple[PrinterHistory, ...]":
        """The records of the schedule's printers in all jobs of the owner."""
        from worker.printing.estimating.process_settings import Correction  # noqa: PLC0415 - as above
        from worker.printing.progress.printer_history import histories_of  # noqa: PLC0415 - as above

        printers = () if self.spec.calendar is None else self.spec.calendar.printers
        stated = Correction.of_time(self.spec).uncertainty
        return histories_of(self.recorded_runs, [printer.name for printer in printers], stated)

    def estimate_of(self, number: int) -> float | None:
        """Return the estimated print time of a run in seconds, None if it has none."""
        record = self.state.find(number)
        return None if record is None else record.run.seconds

    def reprints(self, runs: tuple[RunEntry, ...], now: datetime) -> ReprintsDocument:
        """Return the runs that were packed after failures, and when printing would end without them."""
        state = self.state
        again = [run for run in runs if (record := state.find(run.number)) is not None and not record.planned]
        numbers = {run.number for run in again}
        rest = self.schedule(tuple(run for run in runs if run.number not in numbers), now) if again else None
        return ReprintsDocument(
            runs=len(again),
            pieces=sum(len(run.pieces) for run in again),
            seconds=round(sum(run.seconds or 0.0 for run in again), 1),
            grams=round(sum(run.grams or 0.0 for run in again), 2),
            finish_without=None if rest is None else rest.finish,
        )

    def file_of(self, number: int) -> str | None:
        """Return the name of a run's file, if there is one."""
        name = run_file_name(number)
        return name if name in self.files else None

    def remaining(self) -> tuple[tuple[RunEntry, ...], WorkEntry]:
        """Return the runs to come in the order of work, with the files that they have, and all of them in numbers."""
        from worker.printing.progress.remaining import remaining_work  # noqa: PLC0415 - as above

        runs, work = remaining_work(self.state, self.manifest, self.spec)
        return tuple(run.model_copy(update={"file": self.file_of(run.number)}) for run in runs), work

    def schedule(self, runs: tuple[RunEntry, ...], now: datetime) -> ScheduleEntry | None:
        """Return when these runs are printed, or None where the spec has no schedule or a run has no time."""
        plan = self.spec.calendar
        if plan is None or any(run.seconds is None for run in runs):
            return None
        from worker.printing.progress.coupon_gate import gate_of  # noqa: PLC0415 - as above

        gate = gate_of(self.spec, self.manifest.runs, self.state)
        from worker.printing.progress.printer_history import reliability_of  # noqa: PLC0415 - as above

        used, reliability = tuple(self.used.items()), reliability_of(self.histories)
        waits = tuple(gate.items())
        return _timetable(plan, runs, self.materials, now, used, gate=waits, reliability=reliability)

    def filament(self, runs: tuple[RunEntry, ...]) -> tuple[FilamentProgress, ...]:
        """Return the filament used, needed and left."""
        from worker.printing.progress.remaining import used_filament  # noqa: PLC0415 - as above
        from worker.printing.scheduling.spools import filaments_of, spools_left  # noqa: PLC0415 - as above

        state, used = self.state, self.used
        if used_filament(state, state.needed, self.manifest) is None:
            return ()
        failed = used_filament(state, state.failed, self.manifest, failed=True) or {}
        flushed: defaultdict[tuple[str, str | None], float] = defaultdict(float)
        for run in (record.run for record in state.runs if record.state in {"printed", "failed"}):
            flushed[run.material, run.colour] += self.spec.printing.start_waste
            if run.lettering is not None:  # each change wastes half of either filament
                flushed[run.material, run.colour] += run.lettering.waste / 2.0
                flushed[run.lettering.material, run.lettering.colour] += run.lettering.waste / 2.0
        needed: defaultdict[tuple[str, str | None], float] = defaultdict(float)
        for key, grams in (entry for run in runs for entry in filaments_of(run)):
            needed[key] += grams
        return tuple(
            FilamentProgress(
                material=material.name,
                colour=material.colour,
                used=_grams(used, key),
                used_for_failed=_grams(failed, key),
                waste=round(_grams(failed, key) + flushed[key], 2),
                needed=_grams(needed, key),
                spools=tuple(
                    round(grams, 2) for grams in spools_left(material, used.get(key, 0.0), self.spec.calendar)
                ),
            )
            for material in self.materials
            for key in ((material.name, material.colour),)
        )


#: A timetable takes up to two seconds, and calendar apps ask for the same one again and again.
@lru_cache(maxsize=64)
def _timetable(
    plan: Schedule,
    runs: tuple[RunEntry, ...],
    materials: tuple[Material, ...],
    now: datetime,
    used: tuple[tuple[tuple[str, str | None], float], ...],
    *,
    gate: tuple[tuple[tuple[str, ...], str], ...],
    reliability: "Reliability",
) -> ScheduleEntry:
    from worker.printing.scheduling.timetable import make_timetable  # noqa: PLC0415 - a service at rest needs no geometry

    return make_timetable(plan, runs, materials, now, dict(used), gate=dict(gate), reliability=reliability)


def beginning(now: datetime) -> datetime:
    """Return the moment from which remaining runs are dated: the next quarter of an hour."""
    return now + (-(now - datetime(2000, 1, 1, tzinfo=UTC)) % _STEP)


def print_document(event: PrintEventRecord) -> PrintDocument:
    """Return an event as its document."""
    return PrintDocument(**{name: getattr(event, name) for name in PrintEventRecord.__slots__})


def prints_document(request: Request, work: PrintWork, events: list[PrintEventRecord], limit: int) -> PrintsDocument:
    """Return where the job stands, with a page of at most ``limit`` events, of which one more was looked up."""
    address = f"{base_of(request)}/v1/jobs/{work.job_id}"
    state, shown = work.state, events[:limit]
    parts = {part.mark: part for part in work.manifest.parts}
    runs, _ = work.remaining()
    filament = work.filament(runs)
    return PrintsDocument(
        job=work.job_id,
        done=state.done,
        clearance=state.clearance,
        refit=f"{address}/refit" if work.refit_needed else None,
        pieces_left=state.left.total(),
        runs_left=len(runs),
        marks=tuple(
            MarkProgress(
                mark=mark,
                kind=parts[mark].kind,
                name=parts[mark].name,
                needed=needed,
                printed=state.printed.get(mark, 0),
                placed=state.placed.get(mark, 0),
                failed=state.failed.get(mark, 0),
                left=state.left[mark],
            )
            for mark, needed in state.needed.items()
        ),
        runs=tuple(
            RunProgress(
                number=record.run.number,
                state=record.state,
                planned=record.planned,
                pieces=len(record.run.pieces),
                failed=record.failed,
                file=f"{address}/runs/{record.run.number}.3mf" if work.file_of(record.run.number) else None,
            )
            for record in state.runs
        ),
        files=work.run_files,
        filament=filament,
        waste=round(sum(entry.waste for entry in filament), 2),
        printers=tuple(
            PrinterRecord(
                printer=history.printer,
                runs=history.runs,
                failed=history.failed,
                failure_rate=round(history.failure_rate, 4),
                failure_uncertainty=round(history.failure_uncertainty, 4),
                time_factor=history.time.factor,
                time_uncertainty=history.time.uncertainty,
            )
            for history in work.histories
        ),
        events=tuple(print_document(event) for event in shown),
        next=f"{address}/prints?limit={limit}&after={shown[-1].number}" if len(events) > limit else None,
    )


def runs_document(work: PrintWork, now: datetime) -> RunsDocument:
    """Return what is still to be printed."""
    from worker.printing.scheduling.spools import purchases  # noqa: PLC0415 - a service at rest needs no geometry

    runs, numbers = work.remaining()
    schedule = work.schedule(runs, beginning(now))
    steps = () if schedule is None else schedule.steps
    return RunsDocument(
        job=work.job_id,
        done=work.state.done,
        runs=runs,
        work=numbers,
        schedule=schedule,
        reprints=work.reprints(runs, beginning(now)),
        purchases=purchases(runs, work.materials, work.used, steps, work.spec.calendar),
        files=work.run_files,
        filament=work.filament(runs),
    )


@dataclass(frozen=True, slots=True)
class _Stored:
    """A stored file, known by its digest alone: what was read once is not read again."""

    sha256: str
    read: Callable[[], bytes] = field(compare=False)


@lru_cache(maxsize=16)
def _manifest(file: _Stored) -> Manifest:
    return Manifest.model_validate_json(file.read())


@lru_cache(maxsize=16)
def _spec(text: str) -> Spec:
    return Spec.model_validate_json(text)


def _grams(amounts: Mapping[tuple[str, str | None], float], key: tuple[str, str | None]) -> float:
    return round(amounts.get(key, 0.0), 2)
