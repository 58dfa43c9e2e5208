"""Batches: many specs at once, each a job of its own, and what they come to together."""

import json
import re
from collections import Counter
from datetime import datetime
from http import HTTPStatus
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api.app_state import JobServiceDep
from api.http.base_url import base_of
from api.http.batch_body import LINES_TYPE, BatchOptions, BatchSpecs, read_batch
from api.http.errors import (
    BodyTooLarge,
    BodyTooSlow,
    BodyTypeRefused,
    HeaderRefused,
    ParameterRefused,
    PreconditionFailed,
)
from api.http.idempotency import IDEMPOTENCY_PARAMETER, IdempotencyKeyDep
from api.http.problems import Problem, problem_document, refusals
from api.http.streaming import file_response
from api.openapi.examples import document as example
from api.routes.jobs import file_answers
from worker.jobs.common.errors import (
    BatchNotFound,
    BatchNotReady,
    BlobMissing,
    FileNotInJob,
    QuotaReached,
    RequestRepeated,
    WebhookNotFound,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.records.batches import Batch, BatchEntry
from worker.jobs.records.job_document import absolute
from worker.jobs.records.models import MANIFEST_NAME
from worker.spec import load
from worker.spec.errors import SpecError
from worker.spec.manifest import JSON_TYPE, THREEMF_TYPE
from worker.spec.requests.batch import BatchManifest, EntryState

__all__ = ["router"]

router = APIRouter(prefix="/v1/batches", tags=["batches"])

_FILE_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True)


class BatchCounts(_Document):
    """How many specs are in which state."""

    refused: int = 0
    queued: int = 0
    running: int = 0
    succeeded: int = 0
    failed: int = 0
    cancelled: int = 0
    removed: int = 0


class BatchEntryDocument(_Document):
    """What became of one spec."""

    index: Annotated[int, Field(ge=0, description="Its place in the batch.")]
    name: str | None = Field(description="Its name; null where a refused one had none.")
    state: EntryState = Field(description="refused, removed, or the state of its job.")
    job: str | None = Field(description="Its job.")
    problem: Problem | None = Field(description="Why it was refused, or failed.")


class BatchLinks(_Document):
    """Where to go from here. What a batch does not have yet is null."""

    self: str = Field(description="This batch; DELETE cancels all its jobs.")
    manifest: str | None = Field(description="The manifest over all jobs.")
    files: str | None = Field(description="One file: put the name of a run's in the place of {name}.")


_URL: Final = "http://127.0.0.1:8765/v1"
_ID: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"


def _add_example(schema: dict[str, Any]) -> None:
    """Add a batch of which one spec was refused: with the problem that a spec without drawers has."""
    small = example("small")
    try:
        load({name: value for name, value in small.items() if name != "drawers"})
    except SpecError as error:
        problem = problem_document(error, "http://127.0.0.1:8765")
        schema["examples"] = [
            {
                "id": _ID,
                "name": "kitchen",
                "state": "running",
                "created": "2026-03-07T18:42:00Z",
                "finished": None,
                "counts": BatchCounts(refused=1, running=1).model_dump(),
                "entries": [
                    {
                        "index": 0,
                        "name": "hall table",
                        "state": "running",
                        "job": f"{_URL}/jobs/{_ID}",
                        "problem": None,
                    },
                    {"index": 1, "name": small["name"], "state": "refused", "job": None, "problem": problem},
                ],
                "problem": None,
                "links": {"self": f"{_URL}/batches/{_ID}", "manifest": None, "files": None},
            }
        ]


class BatchDocument(_Document):
    """A batch."""

    model_config = ConfigDict(frozen=True, json_schema_extra=_add_example)

    id: str
    name: str
    state: Literal["running", "gathering", "ended"] = Field(
        description="running: jobs are under way. gathering: they have ended, and the runs over all are made."
    )
    created: datetime
    finished: datetime | None
    counts: BatchCounts
    entries: tuple[BatchEntryDocument, ...]
    problem: Problem | None = Field(description="Why there is no manifest; each job may have its own all the same.")
    links: BatchLinks


class _Options(BaseModel):
    """What is said of a batch of lines; a document says it itself."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(default="batch", min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$", description="Name.")
    strict: bool = Field(default=False, description="Refuse all where one is refused.")
    split: bool = Field(default=False, description="Make each drawer of a spec a job of its own.")
    webhook: list[Annotated[str, Field(pattern=f"^{ID_PATTERN}$")]] = Field(
        default=[], max_length=5, description="Webhooks of this key that are told of the jobs; given again for more."
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
                            "specs": [_SMALL, {**_SMALL, "name": "the same again"}],
                        },
                    }
                },
            },
            LINES_TYPE: {
                "schema": {"type": "string", "description": "A spec a line."},
                "examples": {
                    "lines": {"summary": "A spec a line", "value": "\n".join([json.dumps(_SMALL)] * 2)},
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
    summary="Submit many specs",
    responses={
        202: {
            "description": "The good specs wait for workers; the others are told of one by one.",
            "headers": {
                "Location": {"schema": {"type": "string", "format": "uri"}, "description": "The batch."},
                "Retry-After": {"schema": {"type": "integer"}, "description": "Seconds until a look is worth it."},
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
    """Take many specs, as one document or a spec a line. Each good one becomes a job; a bad one stops no other.

    Parts that several share are built once. When the last job has ended, runs are packed over all of them.
    """
    name = specs.options.name
    batch = await run_in_threadpool(job_service.submit_batch, name, specs.entries, webhooks=options.webhook, key=key)
    document = _batch_document(request, batch)
    response.headers["Location"] = document.links.self
    response.headers["Retry-After"] = "1"
    return document


@router.head("/{batch_id}", include_in_schema=False)
@router.get(
    "/{batch_id}",
    operation_id="getBatch",
    summary="Get a batch",
    response_description="The batch.",
    responses=refusals(BatchNotFound),
)
def get_batch(request: Request, job_service: JobServiceDep, batch_id: str) -> BatchDocument:
    """Tell how far a batch is."""
    return _batch_document(request, job_service.batch(batch_id))


@router.delete(
    "/{batch_id}",
    operation_id="cancelBatch",
    summary="Cancel all jobs of a batch",
    response_description="The batch, with its active jobs cancelled.",
    responses=refusals(BatchNotFound),
)
def cancel_batch(request: Request, job_service: JobServiceDep, batch_id: str) -> BatchDocument:
    """Cancel the jobs that have not ended; what others made is gathered all the same."""
    return _batch_document(request, job_service.cancel_batch(batch_id))


@router.delete(
    "/{batch_id}/files",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeBatch",
    summary="Remove a batch that has ended",
    response_description="The batch was removed.",
    responses=refusals(BatchNotFound, BatchNotReady),
    response_class=Response,
)
def remove_batch(job_service: JobServiceDep, batch_id: str) -> None:
    """Remove the record of a batch and its files over all jobs. The jobs stay; each is removed by itself."""
    job_service.remove_batch(batch_id)


def _answers(description: str, *media_types: str) -> dict[int | str, dict[str, Any]]:
    answers = file_answers(description, *media_types)
    own = refusals(BatchNotFound, FileNotInJob, BatchNotReady, BlobMissing, PreconditionFailed)
    return {**answers, **{status: answer for status, answer in own.items() if status in answers}}


_MANIFEST_ANSWERS: Final = {
    **_answers("The manifest.", JSON_TYPE),
    200: {"model": BatchManifest, "description": "The manifest."},
}


@router.head(
    "/{batch_id}/manifest",
    operation_id="headBatchManifest",
    summary="Size and digest of the manifest over all jobs",
    responses=_MANIFEST_ANSWERS,
    response_class=Response,
)
@router.get(
    "/{batch_id}/manifest",
    operation_id="getBatchManifest",
    summary="The manifest over all jobs",
    responses=_MANIFEST_ANSWERS,
    response_class=Response,
)
def get_batch_manifest(request: Request, job_service: JobServiceDep, batch_id: str) -> Response:
    """Hand out what became of each spec, the runs over all jobs, their work, filament to buy and cautions."""
    return file_response(request, job_service, job_service.batch_file(batch_id, MANIFEST_NAME), attachment=False)


_FILE_ANSWERS: Final = _answers("The 3MF of a run, or the manifest.", THREEMF_TYPE, JSON_TYPE)


@router.head(
    "/{batch_id}/files/{name}",
    operation_id="headBatchFile",
    summary="Size and digest of one file over all jobs",
    responses=_FILE_ANSWERS,
    response_class=Response,
)
@router.get(
    "/{batch_id}/files/{name}",
    operation_id="getBatchFile",
    summary="One file over all jobs",
    responses=_FILE_ANSWERS,
    response_class=Response,
)
def get_batch_file(request: Request, job_service: JobServiceDep, batch_id: str, name: str) -> Response:
    """Hand out the 3MF of a run over all jobs, or the manifest as a file."""
    if not _FILE_NAME.fullmatch(name):
        job_service.batch(batch_id)
        raise FileNotInJob("The batch has no such file.", value=name)
    return file_response(request, job_service, job_service.batch_file(batch_id, name))


def _batch_document(request: Request, batch: Batch) -> BatchDocument:
    base = base_of(request)
    address = f"{base}/v1/batches/{batch.id}"
    ready = batch.state == "ended" and batch.problem is None
    return BatchDocument(
        id=batch.id,
        name=batch.name,
        state=batch.state,
        created=batch.created,
        finished=batch.finished,
        counts=BatchCounts(**Counter[str](entry.state for entry in batch.entries)),
        entries=tuple(_entry_document(base, entry) for entry in batch.entries),
        problem=_problem(base, batch.problem),
        links=BatchLinks(
            self=address,
            manifest=f"{address}/manifest" if ready else None,
            files=f"{address}/files/{{name}}" if ready else None,
        ),
    )


def _entry_document(base: str, entry: BatchEntry) -> BatchEntryDocument:
    return BatchEntryDocument(
        index=entry.number,
        name=entry.name,
        state=entry.state,
        job=None if entry.job_id is None else f"{base}/v1/jobs/{entry.job_id}",
        problem=_problem(base, entry.problem),
    )


def _problem(base: str, stored: dict[str, Any] | None) -> Problem | None:
    return None if stored is None else Problem.model_validate(absolute(base, stored))
