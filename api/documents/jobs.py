"""The documents about jobs that the service answers with."""

from datetime import datetime
from typing import Annotated, Final

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from api.http.problems.problem_documents import Problem
from api.http.requests.base_url import base_of
from api.http.responses.pages import PageQuery, next_url
from worker.jobs.records.job_document import job_fields
from worker.jobs.records.models import Job, JobState

__all__ = ["JobDocument", "JobPage", "job_document", "job_page"]


_URL: Final = "http://127.0.0.1:8765/v1/jobs"
_ID: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_EXAMPLE: Final[JsonDict] = {
    "id": _ID,
    "name": "hall table",
    "state": "running",
    "created": "2026-03-07T18:42:00Z",
    "started": "2026-03-07T18:42:00Z",
    "finished": None,
    "attempts": 1,
    "progress": {"done": 3, "total": 9, "now": "tray T2"},
    "notes": "for the flat",
    "tags": ["kitchen"],
    "problem": None,
    "links": {
        "self": f"{_URL}/{_ID}",
        "manifest": None,
        "bundle": None,
        "files": None,
        "prints": None,
        "runs": None,
    },
}


class JobProgress(BaseModel):
    """The progress of a job."""

    model_config = ConfigDict(frozen=True)

    done: Annotated[int, Field(ge=0, description="Steps completed.")]
    total: Annotated[int, Field(ge=0, description="Steps in total; 0 until the layout is made.")]
    now: str | None = Field(description="The current step.")


class JobLinks(BaseModel):
    """URLs related to a job; null until the resource exists."""

    model_config = ConfigDict(frozen=True)

    self: str = Field(description="This job. DELETE cancels it, PATCH changes its name, notes and tags.")
    manifest: str | None = Field(description="The manifest, once the job has succeeded.")
    bundle: str | None = Field(description="All files as one ZIP archive.")
    files: str | None = Field(description="A single file: replace {name} by a file name of the manifest.")
    prints: str | None = Field(default=None, description="The print history. POST records an event.")
    runs: str | None = Field(default=None, description="The runs still to print.")


class JobDocument(BaseModel):
    """A job: its state, progress and links."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EXAMPLE]})

    id: str = Field(description="The job's identifier.")
    name: str = Field(description="The name in the spec, until PATCH changes it.")
    state: JobState = Field(description="The job's state. succeeded, failed and cancelled are final.")
    created: datetime = Field(description="When the job was submitted.")
    started: datetime | None = Field(description="When the latest attempt started.")
    finished: datetime | None = Field(description="When the job reached a final state.")
    attempts: Annotated[
        int,
        Field(
            ge=0,
            description="Attempts that workers have started. One that met an outage of the database, the object store "
            "or the disk is not counted.",
        ),
    ]
    progress: JobProgress
    notes: str | None = Field(default=None, description="Notes; PATCH changes them.")
    tags: tuple[str, ...] = Field(default=(), description="Tags; PATCH changes them.")
    problem: Problem | None = Field(description="Why the job failed.")
    links: JobLinks


class JobPage(BaseModel):
    """A page of jobs, newest first."""

    model_config = ConfigDict(
        frozen=True,
        json_schema_extra={"examples": [{"jobs": [_EXAMPLE], "next": f"{_URL}?limit=1&after={_ID}"}]},
    )

    jobs: tuple[JobDocument, ...] = Field(description="The jobs of this page.")
    next: str | None = Field(description="The URL of the page with older jobs; null on the last page.")


def job_document(request: Request, job: Job) -> JobDocument:
    """Return the document of a job, with absolute URLs."""
    return JobDocument.model_validate(job_fields(job, base_of(request)))


def job_page(request: Request, jobs: list[Job], page: PageQuery) -> JobPage:
    """Return a page of jobs.

    Args:
        request: the request, for the base URL.
        jobs: the jobs of the page and, where another page follows, one more.
        page: the parameters of the page.
    """
    following = next_url(request, "jobs", (job.id for job in jobs), page)
    return JobPage(jobs=tuple(job_document(request, job) for job in jobs[: page.limit]), next=following)
