"""Jobs: submit, look, cancel, fetch."""

import re
from hashlib import sha256
from http import HTTPStatus
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api.app_state import AppStateDep, JobServiceDep
from api.documents.jobs import JobDocument, JobPage, job_document, job_page
from api.http.body import read_spec
from api.http.errors import (
    BodyTooLarge,
    BodyTooSlow,
    BodyTypeRefused,
    HeaderRefused,
    ParameterRefused,
    PreconditionFailed,
    RangeRefused,
)
from api.http.idempotency import IDEMPOTENCY_PARAMETER, IdempotencyKeyDep
from api.http.preferences import APPLIED, PREFER_PARAMETER, PreferencesDep
from api.http.problems import refusals
from api.http.ranges import entity_tag, tag_matches
from api.http.streaming import file_response
from api.openapi.spec_body import SPEC_BODY
from worker.jobs.common.errors import (
    BlobMissing,
    FileNotInJob,
    JobFinished,
    JobNotEnded,
    JobNotFailed,
    JobNotFound,
    JobNotReady,
    QuotaReached,
    RequestRepeated,
    WebhookNotFound,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.records.job_filters import JobFilters
from worker.jobs.records.models import JobState
from worker.spec import Spec
from worker.spec.errors import SpecError, SpecTooLarge
from worker.spec.manifest import FILE_TYPES, JSON_TYPE, Manifest

__all__ = ["file_answers", "router"]

router = APIRouter(prefix="/v1/jobs", tags=["jobs"])

#: Names that a file can have; anything else need not be looked up.
_FILE_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


_Webhooks = Annotated[
    list[Annotated[str, Field(pattern=f"^{ID_PATTERN}$")]],
    Query(max_length=5, description="Webhooks of this key that are told of this job; given again for more."),
]


def _dated(value: object) -> object:
    if isinstance(value, str) and "T" not in value.upper():
        raise ValueError("give it as in RFC 3339, such as 2026-03-07T18:42:00Z")
    return value


#: A date and a time; what is only a number would be taken for seconds since 1970.
_Time = Annotated[AwareDatetime, BeforeValidator(_dated)]


class Page(BaseModel):
    """Which jobs to list."""

    model_config = ConfigDict(extra="forbid")

    limit: int = Field(default=50, ge=1, le=100, description="How many.")
    after: str | None = Field(default=None, pattern=f"^{ID_PATTERN}$", description="The last job of the page before.")
    state: list[JobState] = Field(
        default=[], max_length=5, description="Only jobs in this state; given again, in one of these."
    )
    name: str | None = Field(
        default=None, min_length=1, max_length=80, description="Only jobs whose name has this in it."
    )
    created_after: _Time | None = Field(default=None, description="Only jobs submitted later.")
    created_before: _Time | None = Field(default=None, description="Only jobs submitted earlier.")

    def filters(self) -> JobFilters:
        """Return which jobs are meant."""
        return JobFilters(tuple(self.state), self.name, self.created_after, self.created_before)

    def query(self) -> str:
        """Return the query of the next page, but for where it begins."""
        parameters = self.model_dump(mode="json", exclude_defaults=True, exclude={"after"})
        return urlencode({**parameters, "limit": self.limit}, doseq=True)


def file_answers(description: str, *media_types: str) -> dict[int | str, dict[str, Any]]:
    """Return what the documentation says of a file: whole, in part, or not sent because the client has it."""
    binary: dict[str, Any] = {"type": "string", "format": "binary"}
    content = {media_type: {"schema": {} if media_type == JSON_TYPE else binary} for media_type in media_types}
    tag = {"ETag": {"schema": {"type": "string"}, "description": "The file's SHA-256, quoted."}}
    part = {"Content-Range": {"schema": {"type": "string"}, "description": "Which bytes these are."}}
    return {
        200: {"description": description, "content": content, "headers": tag},
        206: {"description": "The bytes asked for with Range.", "content": content, "headers": {**tag, **part}},
        304: {"description": "The client has it already (If-None-Match).", "headers": tag},
        **refusals(PreconditionFailed, RangeRefused, JobNotFound, JobNotReady, FileNotInJob, BlobMissing),
    }


_SOON: Final = {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds until a look is worth it."}}
_JOB_HEADERS: Final[dict[str, Any]] = {
    "Location": {"schema": {"type": "string", "format": "uri"}, "description": "The job."},
    **APPLIED,
}

#: Seconds after which a job that has not ended is worth another look.
_POLL_SECONDS: Final = "1"


@router.post(
    "",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="submitJob",
    summary="Submit a job",
    responses={
        201: {
            "model": JobDocument,
            "description": "The job has ended in the time that the client waits (Prefer: wait), well or not.",
            "headers": _JOB_HEADERS,
        },
        202: {"description": "The job waits for a worker.", "headers": {**_JOB_HEADERS, **_SOON}},
        **refusals(
            SpecError,
            SpecTooLarge,
            BodyTooLarge,
            BodyTooSlow,
            BodyTypeRefused,
            HeaderRefused,
            JobNotFound,
            QuotaReached,
            RequestRepeated,
            WebhookNotFound,
            ParameterRefused,
        ),
    },
    openapi_extra={**SPEC_BODY, "parameters": [IDEMPOTENCY_PARAMETER, PREFER_PARAMETER]},
)
async def submit_job(
    request: Request,
    response: Response,
    *,
    state: AppStateDep,
    job_service: JobServiceDep,
    key: IdempotencyKeyDep,
    preferred: PreferencesDep,
    spec: Annotated[Spec, Depends(read_spec)],
    webhook: _Webhooks = [],  # noqa: B006 - FastAPI copies it
) -> JobDocument:
    """Take a spec; parts and manifest are made by a worker. Follow the job at its address.

    Sent again under the same Idempotency-Key, it is answered with the job that it made the first time.
    """
    job = await run_in_threadpool(job_service.submit, spec, webhooks=webhook, key=key)
    if preferred.wait:
        job = await state.watch.ended(job_service, job, preferred.wait)
        if job.ended:
            response.status_code = HTTPStatus.CREATED
    document = job_document(request, job)
    response.headers.update({**preferred.applied(), "Location": document.links.self})
    if not job.ended:
        response.headers["Retry-After"] = _POLL_SECONDS
    return document


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listJobs",
    summary="List jobs",
    responses={
        200: {
            "description": "Jobs, newest first.",
            "headers": {
                "Link": {"schema": {"type": "string"}, "description": "The page with older jobs (RFC 8288, rel=next)."}
            },
        },
        **refusals(ParameterRefused),
    },
)
def list_jobs(
    request: Request, response: Response, job_service: JobServiceDep, page: Annotated[Page, Query()]
) -> JobPage:
    """List jobs, newest first."""
    jobs = job_service.jobs(limit=page.limit + 1, after=page.after, filters=page.filters())
    document = job_page(request, jobs, page.limit, page.query())
    if document.next is not None:
        response.headers["Link"] = f'<{document.next}>; rel="next"'
    return document


@router.head("/{job_id}", include_in_schema=False)
@router.get(
    "/{job_id}",
    operation_id="getJob",
    summary="State and progress",
    responses={
        200: {
            "model": JobDocument,
            "description": "The job.",
            "headers": {
                "ETag": {"schema": {"type": "string"}, "description": "Of the job as it is now."},
                **_SOON,
                **APPLIED,
            },
        },
        304: {"description": "It is as the client has it (If-None-Match)."},
        **refusals(JobNotFound, HeaderRefused),
    },
    response_class=Response,
    openapi_extra={
        "parameters": [
            PREFER_PARAMETER,
            {
                "name": "If-None-Match",
                "in": "header",
                "schema": {"type": "string"},
                "description": "The ETag of the last answer.",
            },
        ]
    },
)
async def get_job(
    request: Request, state: AppStateDep, job_service: JobServiceDep, job_id: str, preferred: PreferencesDep
) -> Response:
    """Tell how far a job is. With `Prefer: wait` it is told as soon as it has ended."""
    job = await run_in_threadpool(job_service.job, job_id)
    if preferred.wait:
        job = await state.watch.ended(job_service, job, preferred.wait)
    body = job_document(request, job).model_dump_json().encode()
    tag = entity_tag(sha256(body).hexdigest())
    headers = {"ETag": tag, **preferred.applied()}
    if not job.ended:
        headers["Retry-After"] = _POLL_SECONDS
    match = request.headers.get("if-none-match")
    if match is not None and tag_matches(match, tag, weak=True):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    return Response(body, headers=headers, media_type="application/json")


@router.delete(
    "/{job_id}",
    operation_id="cancelJob",
    summary="Cancel a job",
    response_description="The cancelled job.",
    responses=refusals(JobNotFound, JobFinished),
)
def cancel_job(request: Request, job_service: JobServiceDep, job_id: str) -> JobDocument:
    """Cancel a job that has not ended; a worker that is at it stops before its next part."""
    return job_document(request, job_service.cancel(job_id))


@router.post(
    "/{job_id}/retry",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="retryJob",
    summary="Retry a failed job",
    responses={
        202: {"description": "The job waits for a worker.", "headers": _SOON},
        **refusals(JobNotFound, JobNotFailed, QuotaReached),
    },
)
def retry_job(request: Request, response: Response, job_service: JobServiceDep, job_id: str) -> JobDocument:
    """Queue a failed job again, under the same id and with all its attempts.

    Outages of the database, the object store or the disk never make a job fail: it waits until they are over. The retry
    counts towards the quotas of the key like a new job. A batch that had ended with the job is finished again with it.
    """
    document = job_document(request, job_service.retry(job_id))
    response.headers["Retry-After"] = _POLL_SECONDS
    return document


@router.delete(
    "/{job_id}/files",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeJob",
    summary="Remove a job that has ended",
    response_description="The job was removed.",
    responses=refusals(JobNotFound, JobNotEnded),
    response_class=Response,
)
def remove_job(job_service: JobServiceDep, job_id: str) -> None:
    """Remove a job for ever: its record and its files, so that nothing of it can be asked for any more.

    It has an address of its own so that a cancel that comes too late never removes what was made.
    """
    job_service.remove(job_id)


_MANIFEST_ANSWERS: Final = {
    **file_answers("The manifest.", "application/json"),
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
def get_manifest(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Hand out what was made: drawers, places, parts with their checks and files, warnings, cautions."""
    return file_response(request, job_service, job_service.manifest(job_id), attachment=False)


_BUNDLE_ANSWERS: Final = file_answers("All files and the manifest.", "application/zip")


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
def get_bundle(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Hand out all files and the manifest as one archive."""
    return file_response(request, job_service, job_service.bundle(job_id))


_FILE_ANSWERS: Final = file_answers("The file; which of these types it has is in the manifest.", *FILE_TYPES)


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
def get_file(request: Request, job_service: JobServiceDep, job_id: str, name: str) -> Response:
    """Hand out one file that the manifest names."""
    if not _FILE_NAME.fullmatch(name):
        job_service.job(job_id)
        raise FileNotInJob(value=name)
    return file_response(request, job_service, job_service.file(job_id, name))
