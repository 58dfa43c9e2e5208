"""Jobs: submit, list, follow, cancel, retry and remove."""

from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from api.app_state import AppStateDep, JobServiceDep
from api.documents.jobs import JobDocument, JobPage, job_document, job_page
from api.http.problems.errors import (
    BodyTooLarge,
    BodyTooSlow,
    BodyTypeRefused,
    HeaderRefused,
    ParameterRefused,
)
from api.http.problems.problem_documents import refusals
from api.http.requests.body import SpecReader, read_noun, receive_spec
from api.http.requests.idempotency import IDEMPOTENCY_PARAMETER, IdempotencyKeyDep
from api.http.requests.matched_job import MATCHED, MatchedRevision
from api.http.requests.preconditions import IF_NONE_MATCH_PARAMETER, not_modified
from api.http.requests.preferences import APPLIED, PREFER_PARAMETER, PreferencesDep
from api.http.requests.query_time import QueryTime
from api.http.responses.pages import PageQuery, link_next
from api.http.responses.ranges import content_tag
from api.openapi.spec_body import SPEC_BODY
from worker.jobs.common.errors import (
    JobFinished,
    JobNotEnded,
    JobNotFailed,
    JobNotFound,
    PatchRefused,
    PreconditionFailed,
    QuotaReached,
    RequestRepeated,
    WebhookNotFound,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.records.job_filters import JobFilters
from worker.jobs.records.models import JobState
from worker.spec.errors import SpecError, SpecTooLarge
from worker.spec.manifest import JSON_TYPE
from worker.spec.requests.job_patch import JobPatch

__all__ = ["router"]

router = APIRouter(prefix="/v1/jobs", tags=["jobs"])

#: Largest body of a change of a job, in bytes.
_LARGEST_PATCH: Final = 64 * 1024

_Webhooks = Annotated[
    list[Annotated[str, Field(pattern=f"^{ID_PATTERN}$")]],
    Query(
        max_length=5,
        description="The id of a webhook of this key that receives the events of this job. Repeat it for several.",
    ),
]


class JobQuery(PageQuery):
    """The query parameters of a list of jobs."""

    limit: int = Field(default=50, ge=1, le=100, description="The number of jobs on a page.")
    after: str | None = Field(
        default=None, pattern=f"^{ID_PATTERN}$", description="The id of the last job on the previous page."
    )
    state: list[JobState] = Field(
        default=[], max_length=5, description="List only jobs in this state. Repeat it for several."
    )
    name: str | None = Field(
        default=None, min_length=1, max_length=80, description="List only jobs whose name contains this text."
    )
    created_after: QueryTime | None = Field(default=None, description="List only jobs submitted after this time.")
    created_before: QueryTime | None = Field(default=None, description="List only jobs submitted before this time.")

    tag: list[Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f\x7f]+$")]] = Field(
        default=[], max_length=5, description="List only jobs with this tag. Repeat it to require several tags."
    )
    batch: str | None = Field(default=None, pattern=f"^{ID_PATTERN}$", description="List only jobs of this batch.")

    def filters(self) -> JobFilters:
        """Return the filters of the list."""
        return JobFilters(
            tuple(self.state), self.name, self.created_after, self.created_before, tuple(self.tag), self.batch
        )


_RETRY_AFTER: Final = {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait before polling."}}
_JOB_HEADERS: Final[dict[str, Any]] = {
    "Location": {"schema": {"type": "string", "format": "uri"}, "description": "The URL of the job."},
    **APPLIED,
}

#: Seconds to wait before polling a job that has not ended.
_POLL_SECONDS: Final = "1"


@router.post(
    "",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="submitJob",
    summary="Submit a job",
    responses={
        201: {
            "model": JobDocument,
            "description": "The job ended, in any final state, within the time the client waits (Prefer: wait).",
            "headers": _JOB_HEADERS,
        },
        202: {"description": "The job waits for a worker.", "headers": {**_JOB_HEADERS, **_RETRY_AFTER}},
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
    read_spec: Annotated[SpecReader, Depends(receive_spec)],
    webhook: _Webhooks = [],  # noqa: B006 - FastAPI copies it
) -> JobDocument:
    """Submit a spec. A worker builds the parts and the manifest; follow the job at the URL in Location.

    A request repeated with the same Idempotency-Key returns the job of the first request.
    """
    job = await run_in_threadpool(lambda: job_service.submit(read_spec(), webhooks=webhook, key=key))
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
                "Link": {
                    "schema": {"type": "string"},
                    "description": "The next page, with older jobs (RFC 8288, rel=next).",
                }
            },
        },
        **refusals(ParameterRefused),
    },
)
def list_jobs(
    request: Request, response: Response, job_service: JobServiceDep, page: Annotated[JobQuery, Query()]
) -> JobPage:
    """List jobs, newest first."""
    jobs = job_service.jobs(limit=page.limit + 1, after=page.after, filters=page.filters())
    document = job_page(request, jobs, page)
    link_next(response, document.next)
    return document


@router.head("/{job_id}", include_in_schema=False)
@router.get(
    "/{job_id}",
    operation_id="getJob",
    summary="Get a job",
    responses={
        200: {
            "model": JobDocument,
            "description": "The job.",
            "headers": {
                "ETag": {"schema": {"type": "string"}, "description": "The entity tag of the job's current state."},
                **_RETRY_AFTER,
                **APPLIED,
            },
        },
        304: {"description": "The job has not changed (If-None-Match)."},
        **refusals(JobNotFound, HeaderRefused),
    },
    response_class=Response,
    openapi_extra={"parameters": [PREFER_PARAMETER, IF_NONE_MATCH_PARAMETER]},
)
async def get_job(
    request: Request, state: AppStateDep, job_service: JobServiceDep, job_id: str, preferred: PreferencesDep
) -> Response:
    """Get a job's state and progress. With `Prefer: wait` the response comes as soon as the job has ended."""
    job = await run_in_threadpool(job_service.job, job_id)
    if preferred.wait:
        job = await state.watch.ended(job_service, job, preferred.wait)
    body = job_document(request, job).model_dump_json().encode()
    headers = {"ETag": content_tag(body), **preferred.applied()}
    if not job.ended:
        headers["Retry-After"] = _POLL_SECONDS
    return not_modified(request, headers) or Response(body, headers=headers, media_type=JSON_TYPE)


@router.delete(
    "/{job_id}",
    operation_id="cancelJob",
    summary="Cancel a job",
    response_description="The cancelled job.",
    responses=refusals(JobNotFound, JobFinished, PreconditionFailed),
    openapi_extra=MATCHED,
)
def cancel_job(request: Request, job_service: JobServiceDep, job_id: str, revision: MatchedRevision) -> JobDocument:
    """Cancel a job that has not ended. A worker that is running it stops before the next part."""
    return job_document(request, job_service.cancel(job_id, revision=revision))


async def _read_patch(request: Request) -> JobPatch:
    """Return the change in the body.

    Raises:
        PatchRefused: with every fault of the body.
    """
    return await read_noun(request, JobPatch, _LARGEST_PATCH, PatchRefused, "change")


_PATCH_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            JSON_TYPE: {
                "schema": {"$ref": "#/components/schemas/JobPatch"},
                "examples": {
                    "tags": {"summary": "Tag a job", "value": {"tags": ["kitchen", "to print"], "notes": "in grey"}}
                },
            }
        },
    }
}


@router.patch(
    "/{job_id}",
    operation_id="changeJob",
    summary="Change a job's name, notes and tags",
    response_description="The changed job.",
    responses=refusals(JobNotFound, PatchRefused, PreconditionFailed, BodyTooLarge, BodyTooSlow, BodyTypeRefused),
    openapi_extra={**_PATCH_BODY, **MATCHED},
)
def change_job(
    request: Request,
    job_service: JobServiceDep,
    job_id: str,
    patch: Annotated[JobPatch, Depends(_read_patch)],
    revision: MatchedRevision,
) -> JobDocument:
    """Change what a job is called and filed under, in any state. Its spec, manifest and files stay as they are."""
    return job_document(request, job_service.change(job_id, patch, revision=revision))


@router.post(
    "/{job_id}/retry",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="retryJob",
    summary="Retry a failed job",
    responses={
        202: {"description": "The job waits for a worker.", "headers": _RETRY_AFTER},
        **refusals(JobNotFound, JobNotFailed, PreconditionFailed, QuotaReached),
    },
    openapi_extra=MATCHED,
)
def retry_job(
    request: Request, response: Response, job_service: JobServiceDep, job_id: str, revision: MatchedRevision
) -> JobDocument:
    """Queue a failed job again under the same id, with its full number of attempts.

    An outage of the database, the object store or the disk never fails a job: the job waits until it is over. The retry
    counts towards the quotas of the key like a new job. If the job belongs to a batch that has ended, the batch gets a
    new manifest when the job ends.
    """
    document = job_document(request, job_service.retry(job_id, revision=revision))
    response.headers["Retry-After"] = _POLL_SECONDS
    return document


@router.delete(
    "/{job_id}/files",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeJob",
    summary="Remove a job that has ended",
    response_description="The job was removed.",
    responses=refusals(JobNotFound, JobNotEnded, PreconditionFailed),
    response_class=Response,
    openapi_extra=MATCHED,
)
def remove_job(job_service: JobServiceDep, job_id: str, revision: MatchedRevision) -> None:
    """Remove a job's record and files for good.

    The URL differs from that of cancelling, so that a cancel request that arrives too late never removes a result.
    """
    job_service.remove(job_id, revision=revision)
