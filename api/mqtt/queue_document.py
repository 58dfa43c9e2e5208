"""The printer's queue: the runs to come of all jobs, in one document."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final

from api.documents.jobs import JobDocument
from api.documents.prints import RunsDocument
from worker.spec.manifest.manifest import RunEntry

__all__ = ["queue_document"]

#: Runs of a job that are named one by one.
_NEXT: Final = 3


def queue_document(waiting: Iterable[tuple[JobDocument, RunsDocument]], now: datetime) -> dict[str, Any]:
    """Return what is to be printed, the oldest job first. ``finish`` is the last job's, if all have one."""
    jobs = [_job(job, runs) for job, runs in waiting]
    finishes = [one["finish"] for one in jobs]
    seconds = [one["seconds"] for one in jobs]
    return {
        "at": now,
        "jobs": jobs,
        "pieces_left": sum(one["pieces_left"] for one in jobs),
        "runs_left": sum(one["runs_left"] for one in jobs),
        "seconds_left": None if None in seconds else sum(seconds),
        "next": next((one["next"][0] | {"job": one["job"], "name": one["name"]} for one in jobs if one["next"]), None),
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
        "next": [_run(one, begins.get(one.number), address) for one in runs.runs[:_NEXT]],
        "filament": [
            {"material": one.material, "colour": one.colour, "needed": one.needed, "left": round(sum(one.spools), 2)}
            for one in runs.filament
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
