"""The documents about batches that the service answers with."""

from collections import Counter
from datetime import datetime
from typing import Annotated, Any, Final

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field

from api.http.problems.problem_documents import Problem, problem_document
from api.http.requests.base_url import base_of
from api.http.responses.pages import PageQuery, next_url
from api.openapi.examples import document as example
from worker.jobs.records.batch_summary import BatchState, BatchSummary, batch_fields
from worker.jobs.records.batches import Batch, BatchEntry
from worker.jobs.records.job_document import absolute
from worker.spec import load
from worker.spec.errors import SpecError
from worker.spec.manifest.batch_manifest import EntryState

__all__ = [
    "BatchDocument",
    "BatchOverview",
    "BatchPage",
    "BatchSummaryDocument",
    "batch_document",
    "batch_overview",
    "batch_page",
]

_URL: Final = "http://127.0.0.1:8765/v1"
_ID: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True)


class BatchCounts(_Document):
    """Number of specs in each state."""

    refused: int = Field(default=0, description="Specs that were refused.")
    queued: int = Field(default=0, description="Jobs that wait for a worker.")
    running: int = Field(default=0, description="Jobs that a worker is running.")
    succeeded: int = Field(default=0, description="Jobs that succeeded.")
    failed: int = Field(default=0, description="Jobs that failed.")
    cancelled: int = Field(default=0, description="Jobs that were cancelled.")
    removed: int = Field(default=0, description="Jobs that were removed after they had ended.")


class BatchEntryDocument(_Document):
    """The result of one spec of a batch."""

    index: Annotated[int, Field(ge=0, description="The spec's index in the batch.")]
    name: str | None = Field(description="The spec's name; null if it was refused and had no name.")
    state: EntryState = Field(description="refused, removed, or the state of the spec's job.")
    job: str | None = Field(description="The URL of the spec's job; null if the spec was refused.")
    problem: Problem | None = Field(description="Why the spec was refused, or its job failed.")


class BatchLinks(_Document):
    """URLs related to a batch; null until the resource exists."""

    self: str = Field(description="This batch. DELETE cancels all its jobs.")
    manifest: str | None = Field(description="The manifest of the batch, once it has ended.")
    bundle: str | None = Field(description="The files of the batch and of all its jobs as one ZIP archive.")
    files: str | None = Field(description="A single file: replace {name} by the file name of a run.")


def _add_example(schema: dict[str, Any]) -> None:
    """Add a batch of which one spec was refused, with the problem of a spec without drawers."""
    small = example("small")
    try:
        load({name: value for name, value in small.items() if name != "drawers"})
    except SpecError as error:
        problem = problem_document(error, "http://127.0.0.1:8765")
        job = f"{_URL}/jobs/{_ID}"
        schema["examples"] = [
            {
                "id": _ID,
                "name": "kitchen",
                "state": "running",
                "created": "2026-03-07T18:42:00Z",
                "finished": None,
                "counts": BatchCounts(refused=1, running=1).model_dump(),
                "entries": [
                    {"index": 0, "name": "hall table", "state": "running", "job": job, "problem": None},
                    {"index": 1, "name": small["name"], "state": "refused", "job": None, "problem": problem},
                ],
                "problem": None,
                "links": {"self": f"{_URL}/batches/{_ID}", "manifest": None, "bundle": None, "files": None},
            }
        ]


class BatchOverview(_Document):
    """A batch without its specs."""

    id: str = Field(description="The batch's identifier.")
    name: str = Field(description="The name of the batch.")
    state: BatchState = Field(
        description="running: jobs have not ended. gathering: all jobs have ended, and a worker packs the runs of the "
        "whole batch. ended: the manifest exists, or `problem` says why not."
    )
    created: datetime = Field(description="When the batch was submitted.")
    finished: datetime | None = Field(description="When the batch ended.")
    counts: BatchCounts
    problem: Problem | None = Field(description="Why the batch has no manifest; its jobs have their own.")
    links: BatchLinks


class BatchDocument(BatchOverview):
    """A batch: its specs, their jobs and links."""

    model_config = ConfigDict(frozen=True, json_schema_extra=_add_example)

    entries: tuple[BatchEntryDocument, ...] = Field(description="The specs in the order of the batch.")


class BatchSummaryDocument(_Document):
    """A batch in a list, without its specs."""

    id: str = Field(description="The batch's identifier.")
    name: str = Field(description="The name of the batch.")
    state: BatchState = Field(description="As in the batch itself.")
    created: datetime = Field(description="When the batch was submitted.")
    finished: datetime | None = Field(description="When the batch ended.")
    counts: BatchCounts
    problem: Problem | None = Field(description="Why the batch has no manifest.")
    self: str = Field(description="The batch.")


class BatchPage(_Document):
    """A page of batches, newest first."""

    model_config = ConfigDict(
        frozen=True,
        json_schema_extra={
            "examples": [
                {
                    "batches": [
                        {
                            "id": _ID,
                            "name": "kitchen",
                            "state": "ended",
                            "created": "2026-03-07T18:42:00Z",
                            "finished": "2026-03-07T18:43:10Z",
                            "counts": BatchCounts(succeeded=2).model_dump(),
                            "problem": None,
                            "self": f"{_URL}/batches/{_ID}",
                        }
                    ],
                    "next": None,
                }
            ]
        },
    )

    batches: tuple[BatchSummaryDocument, ...] = Field(description="The batches of this page.")
    next: str | None = Field(description="The URL of the page with older batches; null on the last page.")


def batch_page(request: Request, batches: list[BatchSummary], page: PageQuery) -> BatchPage:
    """Return a page of batches.

    Args:
        request: the request, for the base URL.
        batches: the batches of the page and, where another page follows, one more.
        page: the parameters of the page.
    """
    base = base_of(request)
    documents = tuple(
        BatchSummaryDocument(
            id=batch.id,
            name=batch.name,
            state=batch.state,
            created=batch.created,
            finished=batch.finished,
            counts=BatchCounts(**batch.counts),
            problem=_problem(base, batch.problem),
            self=f"{base}/v1/batches/{batch.id}",
        )
        for batch in batches[: page.limit]
    )
    return BatchPage(batches=documents, next=next_url(request, "batches", (batch.id for batch in batches), page))


def batch_overview(request: Request, batch: BatchSummary) -> BatchOverview:
    """Return a batch without its specs, with absolute URLs."""
    return BatchOverview.model_validate(batch_fields(batch, base_of(request)))


def batch_document(request: Request, batch: Batch) -> BatchDocument:
    """Return the document of a batch, with absolute URLs."""
    base = base_of(request)
    counts = Counter[str](entry.state for entry in batch.entries)
    summary = BatchSummary(
        batch.id, batch.name, batch.state, batch.created, batch.finished, batch.problem, dict(counts)
    )
    entries = tuple(_entry_document(base, entry) for entry in batch.entries)
    return BatchDocument.model_validate({**batch_fields(summary, base), "entries": entries})


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
