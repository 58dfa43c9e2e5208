"""Telling: a job as the document that answers and messages carry. No secret is in it, and no spec."""

from collections.abc import Mapping
from typing import Any

from worker.jobs.records.models import Job

__all__ = ["absolute", "job_fields"]


def job_fields(job: Job, base: str) -> dict[str, Any]:
    """Return what is told of a job; ``base`` is the address of the service, or nothing where nobody knows it."""
    address = f"{base}/v1/jobs/{job.id}"
    ready = job.state == "succeeded"
    return {
        "id": job.id,
        "name": job.name,
        "state": job.state,
        "created": job.created,
        "started": job.started,
        "finished": job.finished,
        "attempts": job.attempts,
        "progress": {"done": job.progress.done, "total": job.progress.total, "now": job.progress.now},
        "problem": None if job.problem is None else absolute(base, job.problem),
        "links": {
            "self": address,
            "manifest": f"{address}/manifest" if ready else None,
            "bundle": f"{address}/bundle.zip" if ready else None,
            "files": f"{address}/files/{{name}}" if ready else None,
            "prints": f"{address}/prints" if ready else None,
            "runs": f"{address}/runs" if ready else None,
        },
    }


def absolute(base: str, problem: Mapping[str, Any]) -> dict[str, Any]:
    """Return a stored problem document with the address of its kind made absolute."""
    kind = str(problem.get("type", "about:blank"))
    return {**problem, "type": f"{base}{kind}" if kind.startswith("/") else kind}
