"""Jobs: submit, look, cancel, fetch."""

import re
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.body import read_spec
from api.documents import JobDocument, JobPage, job_document, job_page
from api.errors import (
    BodyTooLarge,
    BodyTooSlow,
    BodyTypeRefused,
    ParameterRefused,
    PreconditionFailed,
    RangeRefused,
)
from api.problems import refusals
from api.service import JobEngine
from api.specs import SPEC_BODY
from api.streaming import file_response
from worker.spec import Spec
from worker.spec.errors import (
    BlobMissing,
    FileNotInJob,
    JobFinished,
    JobNotEnded,
    JobNotFound,
    JobNotReady,
    QuotaReached,
    SpecError,
    SpecTooLarge,
    WebhookNotFound,
)
from worker.spec.manifest import Manifest

__all__ = ["file_answers", "router"]

router = APIRouter(prefix="/v1/jobs", tags=["jobs"])

#: Names that a file can have; anything else need not be looked up.
_FILE_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


_Named = Annotated[
    list[Annotated[str, Field(pattern=r"^[0-9a-hjkmnp-tv-z]{26}$")]],
    Query(max_length=5, description="Webhooks of this key that are told of this job; given again for more."),
]


class Page(BaseModel):
    """Which jobs to list."""

    model_config = ConfigDict(extra="forbid")

    limit: int = Field(default=50, ge=1, le=100, description="How many.")
    after: str | None = Field(
        default=None, pattern=r"^[0-9a-hjkmnp-tv-z]{26}$", description="The last job of the page before."
    )


def file_answers(media_type: str, description: str) -> dict[int | str, dict[str, Any]]:
    """Return what the documentation says of a file: whole, in part, or not sent because the client has it."""
    content = {media_type: {"schema": {"type": "string", "format": "binary"}}}
    tag = {"ETag": {"schema": {"type": "string"}, "description": "The file's SHA-256, quoted."}}
    part = {"Content-Range": {"schema": {"type": "string"}, "description": "Which bytes these are."}}
    return {
        200: {"description": description, "content": content, "headers": tag},
        206: {"description": "The bytes asked for with Range.", "content": content, "headers": {**tag, **part}},
        304: {"description": "The client has it already (If-None-Match).", "headers": tag},
        **refusals(PreconditionFailed, RangeRefused, JobNotFound, JobNotReady, FileNotInJob, BlobMissing),
    }


@router.post(
    "",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="submitJob",
    summary="Submit a job",
    responses={
        202: {
            "description": "The job waits for a worker.",
            "headers": {"Location": {"schema": {"type": "string", "format": "uri"}, "description": "The job."}},
        },
        **refusals(
            SpecError,
            SpecTooLarge,
            BodyTooLarge,
            BodyTooSlow,
            BodyTypeRefused,
            QuotaReached,
            WebhookNotFound,
            ParameterRefused,
        ),
    },
    openapi_extra=SPEC_BODY,
)
def submit_job(
    request: Request,
    response: Response,
    engine: JobEngine,
    spec: Annotated[Spec, Depends(read_spec)],
    webhook: _Named = [],  # noqa: B006
) -> JobDocument:
    """Take a spec; parts and manifest are made by a worker. Follow the job at its address."""
    document = job_document(request, engine.submit(spec, webhooks=webhook))
    response.headers["Location"] = document.links.self
    return document


@router.head("", include_in_schema=False)
@router.get("", operation_id="listJobs", summary="List jobs", responses=refusals(ParameterRefused))
def list_jobs(request: Request, engine: JobEngine, page: Annotated[Page, Query()]) -> JobPage:
    """List jobs, newest first."""
    return job_page(request, engine.jobs(limit=page.limit + 1, after=page.after), page.limit)


@router.head("/{job_id}", include_in_schema=False)
@router.get("/{job_id}", operation_id="getJob", summary="State and progress", responses=refusals(JobNotFound))
def get_job(request: Request, engine: JobEngine, job_id: str) -> JobDocument:
    """Tell how far a job is."""
    return job_document(request, engine.job(job_id))


@router.delete(
    "/{job_id}", operation_id="cancelJob", summary="Cancel a job", responses=refusals(JobNotFound, JobFinished)
)
def cancel_job(request: Request, engine: JobEngine, job_id: str) -> JobDocument:
    """Cancel a job that has not ended; a worker that is at it stops before its next part."""
    return job_document(request, engine.cancel(job_id))


@router.delete(
    "/{job_id}/files",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeJob",
    summary="Remove a job that has ended",
    responses=refusals(JobNotFound, JobNotEnded),
    response_class=Response,
)
def remove_job(engine: JobEngine, job_id: str) -> None:
    """Remove a job for ever: its record and its files, so that nothing of it can be asked for any more.

    It has an address of its own so that a cancel that comes too late never removes what was made.
    """
    engine.remove(job_id)


_MANIFEST_ANSWERS: Final = {
    **file_answers("application/json", "The manifest."),
    200: {"model": Manifest, "description": "The manifest."},
}


@router.head(
    "/{job_id}/manifest",
    operation_id="headManifest",
    summary="Size and digest of the manifest",
    responses=_MANIFEST_ANSWERS,
    response_class=Response,
)
@router.get(
    "/{job_id}/manifest",
    operation_id="getManifest",
    summary="The manifest",
    responses=_MANIFEST_ANSWERS,
    response_class=Response,
)
def get_manifest(request: Request, engine: JobEngine, job_id: str) -> Response:
    """Hand out what was made: drawers, places, parts with their checks and files, warnings, cautions."""
    return file_response(request, engine, engine.manifest(job_id), attachment=False)


_BUNDLE_ANSWERS: Final = file_answers("application/zip", "All files and the manifest.")


@router.head(
    "/{job_id}/bundle.zip",
    operation_id="headBundle",
    summary="Size and digest of the archive",
    responses=_BUNDLE_ANSWERS,
    response_class=Response,
)
@router.get(
    "/{job_id}/bundle.zip",
    operation_id="getBundle",
    summary="All files as one archive",
    responses=_BUNDLE_ANSWERS,
    response_class=Response,
)
def get_bundle(request: Request, engine: JobEngine, job_id: str) -> Response:
    """Hand out all files and the manifest as one archive."""
    return file_response(request, engine, engine.bundle(job_id))


_FILE_ANSWERS: Final = file_answers("application/octet-stream", "The file; its own media type is in the manifest.")


@router.head(
    "/{job_id}/files/{name}",
    operation_id="headFile",
    summary="Size and digest of one file",
    responses=_FILE_ANSWERS,
    response_class=Response,
)
@router.get(
    "/{job_id}/files/{name}",
    operation_id="getFile",
    summary="One file",
    responses=_FILE_ANSWERS,
    response_class=Response,
)
def get_file(request: Request, engine: JobEngine, job_id: str, name: str) -> Response:
    """Hand out one file that the manifest names."""
    if not _FILE_NAME.fullmatch(name):
        engine.job(job_id)
        raise FileNotInJob(value=name)
    return file_response(request, engine, engine.file(job_id, name))
