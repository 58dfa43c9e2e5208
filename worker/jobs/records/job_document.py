"""The JSON document of a job in responses and webhook messages, without its spec."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from worker.jobs.records.models import Job
from worker.silhouettes.errors import SilhouetteError
from worker.spec.errors import DrawerwrightError, SpecError

__all__ = ["absolute", "job_fields", "stored_problem"]


def job_fields(job: Job, base: str) -> dict[str, Any]:
    """Return the fields of a job; ``base`` is the service's URL, or empty for relative links."""
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
        "notes": job.notes,
        "tags": job.tags,
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
    """Return a stored problem document with an absolute type URL."""
    kind = str(problem.get("type", "about:blank"))
    return {**problem, "type": f"{base}{kind}" if kind.startswith("/") else kind}


def stored_problem(error: DrawerwrightError) -> dict[str, Any]:
    """Return the problem document to store for a failed job, batch, repack or silhouette.

    Its status appears in webhook messages and batch manifests: 422 if the spec or file is at fault, otherwise 500.
    """
    spec_at_fault = isinstance(error, SpecError | SilhouetteError)
    status = HTTPStatus.UNPROCESSABLE_ENTITY if spec_at_fault else HTTPStatus.INTERNAL_SERVER_ERROR
    return error.problem(status=status)
