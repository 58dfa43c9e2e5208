"""The print queue: the remaining runs of all jobs in one document."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final

from api.documents.jobs import JobDocument
from api.documents.prints import RunsDocument
from worker.spec.manifest import RunEntry

__all__ = ["queue_document"]

#: Most runs of a job that are listed individually.
_MAX_NEXT: Final = 3


def queue_document(waiting: Iterable[tuple[JobDocument, RunsDocument]], now: datetime) -> dict[str, Any]:
    """Return the queue as a JSON object, oldest job first; ``finish`` is the latest one, if every job has one."""
    jobs = [_job(job, runs) for job, runs in waiting]
    finishes = [job["finish"] for job in jobs]
    seconds = [job["seconds"] for job in jobs]
    return {
        "at": now,
        "jobs": jobs,
        "pieces_left": sum(job["pieces_left"] for job in jobs),
        "runs_left": sum(job["runs_left"] for job in jobs),
        "seconds_left": None if None in seconds else sum(seconds),
        "next": next((job["next"][0] | {"job": job["job"], "name": job["name"]} for job in jobs if job["next"]), None),
        "finish": max(finishes) if finishes and None not in finishes else None,
    }


def _job(job: JobDocument, runs: RunsDocument) -> dict[str, Any]:
    begins = {} if runs.schedule is None else {step.run: step.begin for step in runs.schedule.steps}
    address = (job.links.runs or "").rstrip("/")
    return {
        "job": job.id,
        "name": job.name,
        "pieces_left": runs.work.pieces,
        "runs_left": runs.work.runs,
        "seconds": runs.work.seconds,
        "grams": runs.work.grams,
        "finish": None if runs.schedule is None else runs.schedule.finish,
        "next": [_run(run, begins.get(run.number), address) for run in runs.runs[:_MAX_NEXT]],
        "filament": [
            {
                "material": filament.material,
                "colour": filament.colour,
                "needed": filament.needed,
                "left": round(sum(filament.spools), 2),
            }
            for filament in runs.filament
        ],
    }


def _run(run: RunEntry, begin: datetime | None, address: str) -> dict[str, Any]:
    return {
        "run": run.number,
        "pieces": len(run.pieces),
        "material": run.material,
        "colour": run.colour,
        "layer": run.layer,
        "seconds": run.seconds,
        "grams": run.grams,
        "begin": begin,
        "file": f"{address}/{run.number}.3mf" if run.file is not None and address else None,
    }
