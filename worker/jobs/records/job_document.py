"""Telling: a job as the document that answers and messages carry. No secret is in it, and no spec."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from worker.jobs.records.models import Job
from worker.spec.errors import DrawerwrightError, SpecError

__all__ = ["absolute", "job_fields", "stored_problem"]


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


def stored_problem(error: DrawerwrightError) -> dict[str, Any]:
    """Return the problem document that a record keeps of why its work failed.

    Its status is part of webhook messages and manifests of batches: 422 where the spec is at fault, otherwise 500.
    """
    spec_at_fault = isinstance(error, SpecError)
    status = HTTPStatus.UNPROCESSABLE_ENTITY if spec_at_fault else HTTPStatus.INTERNAL_SERVER_ERROR
    return error.problem(status=status)
