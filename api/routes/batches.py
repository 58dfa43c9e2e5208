"""Batches: submit many specs at once, follow their jobs, download the runs of the whole batch."""

import json
import time
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api.app_state import AppStateDep, JobServiceDep
from api.documents.batches import BatchDocument, BatchPage, batch_document, batch_page
from api.http.problems.errors import (
    BodyTooLarge,
    BodyTooSlow,
    BodyTypeRefused,
    HeaderRefused,
    ParameterRefused,
)
from api.http.problems.problem_documents import refusals
from api.http.requests.batch_body import LINES_TYPE, BatchOptions, BatchSpecs, read_batch
from api.http.requests.idempotency import IDEMPOTENCY_PARAMETER, IdempotencyKeyDep
from api.http.requests.preconditions import IF_MATCH_PARAMETER, IF_NONE_MATCH_PARAMETER, check_match, not_modified
from api.http.requests.preferences import APPLIED, PREFER_PARAMETER, PreferencesDep
from api.http.requests.query_time import QueryTime
from api.http.responses.file_routes import file_responses, file_route, is_file_name
from api.http.responses.pages import PageQuery, link_next
from api.http.responses.ranges import content_tag
from api.http.responses.streaming import archive_response, file_response
from api.openapi.examples import document as example
from worker.jobs.common.errors import (
    BatchNotFound,
    BatchNotReady,
    BlobMissing,
    FileNotInJob,
    PreconditionFailed,
    QuotaReached,
    RequestRepeated,
    WebhookNotFound,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.records.batch_summary import BatchState
from worker.jobs.records.batches import BatchFilters
from worker.jobs.records.models import BUNDLE_NAME, MANIFEST_NAME
from worker.spec.errors import SpecError
from worker.spec.manifest import JSON_TYPE, THREEMF_TYPE, ZIP_TYPE
from worker.spec.manifest.batch_manifest import BatchManifest

__all__ = ["router"]

router = APIRouter(prefix="/v1/batches", tags=["batches"])

#: Seconds between two looks at a batch that a request waits for.
_POLL_SECONDS: Final = 0.5


class _Options(BaseModel):
    """The query parameters of a batch. Only `webhook` applies to a JSON document, which has the others as fields."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(
        default="batch",
        min_length=1,
        max_length=80,
        pattern=r"^[^\x00-\x1f\x7f]+$",
        description="The name of the batch.",
    )
    strict: bool = Field(default=False, description="Refuse the whole batch if one spec is refused.")
    split: bool = Field(default=False, description="Make a separate job for each drawer of a spec.")
    webhook: list[Annotated[str, Field(pattern=f"^{ID_PATTERN}$")]] = Field(
        default=[],
        max_length=5,
        description="The id of a webhook of this key that receives the events of the jobs and of the batch. Repeat it "
        "for several.",
    )


async def _batch_specs(
    request: Request, job_service: JobServiceDep, options: Annotated[_Options, Query()]
) -> BatchSpecs:
    return await read_batch(request, job_service, BatchOptions(options.name, options.strict, options.split))


_SMALL: Final = example("small")
_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"$ref": "#/components/schemas/BatchRequest"},
                "examples": {
                    "two": {
                        "summary": "Two specs",
                        "value": {
                            "batch": "1",
                            "name": "kitchen",
                            "specs": [_SMALL, {**_SMALL, "name": "hall table, second"}],
                        },
                    }
                },
            },
            LINES_TYPE: {
                "schema": {"type": "string", "description": "One spec per line."},
                "examples": {
                    "lines": {"summary": "One spec per line", "value": "\n".join([json.dumps(_SMALL)] * 2)},
                },
            },
        },
    },
    "parameters": [IDEMPOTENCY_PARAMETER],
}


@router.post(
    "",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="submitBatch",
    summary="Submit a batch",
    responses={
        202: {
            "description": "The jobs of the valid specs wait for workers; other specs have a problem each.",
            "headers": {
                "Location": {"schema": {"type": "string", "format": "uri"}, "description": "The URL of the batch."},
                "Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait before polling."},
            },
        },
        **refusals(
            SpecError,
            BatchNotFound,
            BodyTooLarge,
            BodyTooSlow,
            BodyTypeRefused,
            HeaderRefused,
            ParameterRefused,
            QuotaReached,
            RequestRepeated,
            WebhookNotFound,
        ),
    },
    openapi_extra=_BODY,
)
async def submit_batch(
    request: Request,
    response: Response,
    *,
    job_service: JobServiceDep,
    key: IdempotencyKeyDep,
    options: Annotated[_Options, Query()],
    specs: Annotated[BatchSpecs, Depends(_batch_specs)],
) -> BatchDocument:
    """Submit many specs, as one JSON document or with one spec per line (NDJSON). Each valid spec becomes a job.

    An invalid spec is refused and does not stop the others. A part that several specs need is built once. When the last
    job has ended, print runs are packed across the whole batch.
    """
    name = specs.options.name
    batch = await run_in_threadpool(job_service.submit_batch, name, specs.entries, webhooks=options.webhook, key=key)
    document = batch_document(request, batch)
    response.headers["Location"] = document.links.self
    response.headers["Retry-After"] = "1"
    return document


class BatchQuery(PageQuery):
    """The query parameters of a list of batches."""

    limit: int = Field(default=50, ge=1, le=100, description="The number of batches on a page.")
    after: str | None = Field(
        default=None, pattern=f"^{ID_PATTERN}$", description="The id of the last batch on the previous page."
    )
    state: list[BatchState] = Field(
        default=[], max_length=3, description="List only batches in this state. Repeat it for several."
    )
    name: str | None = Field(
        default=None, min_length=1, max_length=80, description="List only batches whose name contains this text."
    )
    created_after: QueryTime | None = Field(default=None, description="List only batches submitted after this time.")
    created_before: QueryTime | None = Field(default=None, description="List only batches submitted before this time.")

    def filters(self) -> BatchFilters:
        """Return the filters of the list."""
        return BatchFilters(tuple(self.state), self.name, self.created_after, self.created_before)


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listBatches",
    summary="List batches",
    responses={
        200: {
            "description": "Batches, newest first.",
            "headers": {
                "Link": {
                    "schema": {"type": "string"},
                    "description": "The page with older batches (RFC 8288, rel=next).",
                }
            },
        },
        **refusals(ParameterRefused),
    },
)
def list_batches(
    request: Request, response: Response, job_service: JobServiceDep, page: Annotated[BatchQuery, Query()]
) -> BatchPage:
    """List batches, newest first."""
    batches = job_service.list_batches(limit=page.limit + 1, after=page.after, filters=page.filters())
    document = batch_page(request, batches, page)
    link_next(response, document.next)
    return document


@router.head("/{batch_id}", include_in_schema=False)
@router.get(
    "/{batch_id}",
    operation_id="getBatch",
    summary="Get a batch",
    responses={
        200: {
            "model": BatchDocument,
            "description": "The batch.",
            "headers": {
                "ETag": {"schema": {"type": "string"}, "description": "Of the batch as it is now."},
                **APPLIED,
            },
        },
        304: {"description": "The batch is unchanged (If-None-Match)."},
        **refusals(BatchNotFound, HeaderRefused),
    },
    response_class=Response,
    openapi_extra={"parameters": [PREFER_PARAMETER, IF_NONE_MATCH_PARAMETER]},
)
async def get_batch(
    request: Request, state: AppStateDep, job_service: JobServiceDep, batch_id: str, preferred: PreferencesDep
) -> Response:
    """Get the state of a batch and of each of its specs. With `Prefer: wait`, wait until the batch has ended."""
    batch = await run_in_threadpool(job_service.batch, batch_id)
    until = time.monotonic() + (preferred.wait or 0)
    while batch.state != "ended" and time.monotonic() < until and not state.watch.closing:
        await state.watch.sleep(min(_POLL_SECONDS, until - time.monotonic()))
        batch = await run_in_threadpool(job_service.batch, batch_id)
    body = batch_document(request, batch).model_dump_json().encode()
    headers = {"ETag": content_tag(body), **preferred.applied()}
    if batch.state != "ended":
        headers["Retry-After"] = "1"
    return not_modified(request, headers) or Response(body, headers=headers, media_type=JSON_TYPE)


def _matched(request: Request, job_service: JobServiceDep, batch_id: str) -> None:
    """Check If-Match against the batch.

    Raises:
        BatchNotFound: when there is no such batch.
        PreconditionFailed: when the batch has changed.
    """
    if "if-match" in request.headers:
        batch = job_service.batch(batch_id)
        check_match(request, lambda: content_tag(batch_document(request, batch).model_dump_json().encode()))


_Matched = Annotated[None, Depends(_matched)]
_MATCHED: Final[dict[str, Any]] = {"parameters": [IF_MATCH_PARAMETER]}


@router.delete(
    "/{batch_id}",
    operation_id="cancelBatch",
    summary="Cancel all jobs of a batch",
    response_description="The batch with its active jobs cancelled.",
    responses=refusals(BatchNotFound, PreconditionFailed),
    openapi_extra=_MATCHED,
)
def cancel_batch(request: Request, job_service: JobServiceDep, batch_id: str, _: _Matched) -> BatchDocument:
    """Cancel the jobs that have not ended. The batch still gets a manifest and runs of those that succeeded."""
    return batch_document(request, job_service.cancel_batch(batch_id))


@router.delete(
    "/{batch_id}/files",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeBatch",
    summary="Remove a batch that has ended",
    response_description="The batch was removed.",
    responses=refusals(BatchNotFound, BatchNotReady, PreconditionFailed),
    response_class=Response,
    openapi_extra=_MATCHED,
)
def remove_batch(job_service: JobServiceDep, batch_id: str, _: _Matched) -> None:
    """Remove the record of a batch and the files of the whole batch. Its jobs stay; remove each by itself."""
    job_service.remove_batch(batch_id)


_FILE_ERRORS: Final = (BatchNotFound, FileNotInJob, BatchNotReady, BlobMissing)


@file_route(
    router,
    "/{batch_id}/manifest",
    name="BatchManifest",
    summary="Get the manifest of a batch",
    head_summary="Get the size and checksum of the manifest of a batch",
    responses={
        **file_responses("The manifest.", JSON_TYPE, errors=_FILE_ERRORS),
        200: {"model": BatchManifest, "description": "The manifest."},
    },
)
def get_batch_manifest(request: Request, job_service: JobServiceDep, batch_id: str) -> Response:
    """Get the result of each spec and, for the whole batch, the runs with totals, filament to buy and cautions."""
    return file_response(request, job_service, job_service.batch_file(batch_id, MANIFEST_NAME), attachment=False)


@file_route(
    router,
    "/{batch_id}/bundle.zip",
    name="BatchBundle",
    summary="Download all files of a batch as one archive",
    head_summary="Get the size and entity tag of the archive of a batch",
    responses=file_responses(
        "The manifest and runs of the batch, and a folder with the files of each job that succeeded.",
        ZIP_TYPE,
        errors=_FILE_ERRORS,
        tag="Changes when a job of the batch is removed.",
    ),
)
def get_batch_bundle(request: Request, job_service: JobServiceDep, batch_id: str) -> Response:
    """Download the manifest and the runs of a batch and the files of its jobs, a folder each, as one ZIP archive.

    The archive is put together while it is sent, from the bundles of the jobs; it is stored nowhere. A job that was
    removed since is not in it.
    """
    archive = job_service.batch_archive(batch_id)
    return archive_response(request, archive, BUNDLE_NAME)


@file_route(
    router,
    "/{batch_id}/files/{name}",
    name="BatchFile",
    summary="Download a file of a batch",
    head_summary="Get the size and checksum of a file of a batch",
    responses=file_responses("The 3MF file of a run, or the manifest.", THREEMF_TYPE, JSON_TYPE, errors=_FILE_ERRORS),
)
def get_batch_file(request: Request, job_service: JobServiceDep, batch_id: str, name: str) -> Response:
    """Download the 3MF file of a run of the whole batch, or the manifest as a file."""
    if not is_file_name(name):
        job_service.batch(batch_id)
        raise FileNotInJob("The batch has no such file.", value=name)
    return file_response(request, job_service, job_service.batch_file(batch_id, name))
