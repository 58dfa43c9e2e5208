"""What the service says about jobs."""

from datetime import datetime
from typing import Annotated

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field

from api.http.base_url import base_of
from api.http.problems import Problem
from worker.jobs.records.job_document import job_fields
from worker.jobs.records.models import Job, JobState

__all__ = ["JobDocument", "JobPage", "job_document", "job_page"]


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True)


class JobProgress(_Document):
    """How far a job is."""

    done: Annotated[int, Field(ge=0, description="Steps done.")]
    total: Annotated[int, Field(ge=0, description="Steps in all; 0 before that is known.")]
    now: str | None = Field(description="What it is at.")


class JobLinks(_Document):
    """Where to go from here. What a job does not have yet is null."""

    self: str = Field(description="This job; DELETE cancels it.")
    manifest: str | None = Field(description="The manifest of a job that succeeded.")
    bundle: str | None = Field(description="All its files as one archive.")
    files: str | None = Field(description="One file: put a name of the manifest in the place of {name}.")
    prints: str | None = Field(default=None, description="What is printed; POST tells of more.")
    runs: str | None = Field(default=None, description="The runs that remain.")


class JobDocument(_Document):
    """A job."""

    id: str
    name: str = Field(description="The spec's name.")
    state: JobState
    created: datetime
    started: datetime | None = Field(description="When the last attempt began.")
    finished: datetime | None
    attempts: Annotated[int, Field(ge=0, description="Times that a worker took it up.")]
    progress: JobProgress
    problem: Problem | None = Field(description="Why it failed.")
    links: JobLinks


class JobPage(_Document):
    """Jobs, newest first."""

    jobs: tuple[JobDocument, ...]
    next: str | None = Field(description="The page with older jobs, if there are any.")


def job_document(request: Request, job: Job) -> JobDocument:
    """Return the job as its document."""
    return JobDocument.model_validate(job_fields(job, base_of(request)))


def job_page(request: Request, jobs: list[Job], limit: int, query: str) -> JobPage:
    """Return a page of at most ``limit`` jobs, of which one more was looked up; ``query`` is that of each page."""
    shown = jobs[:limit]
    more = f"{base_of(request)}/v1/jobs?{query}&after={shown[-1].id}" if len(jobs) > limit else None
    return JobPage(jobs=tuple(job_document(request, job) for job in shown), next=more)
