"""The schedule of the remaining runs as a calendar feed, and secret links to it for calendar apps."""

from datetime import datetime
from http import HTTPStatus
from typing import Final

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.print_progress import PrintWork, beginning
from api.http.problems.problem_documents import refusals
from api.http.requests.base_url import base_of
from api.http.requests.matched_job import MATCHED, MatchedRevision
from api.http.requests.preconditions import not_modified
from api.http.responses.file_routes import FileResponses, file_route
from api.http.responses.ranges import content_tag
from worker.jobs.common.errors import (
    BlobMissing,
    FileNotInJob,
    JobNotFound,
    JobNotReady,
    PreconditionFailed,
    RunsUnknown,
)
from worker.jobs.database.db_clock import utc_now
from worker.spec.manifest import CALENDAR_TYPE

__all__ = ["ScheduleLinkDocument", "router"]

router = APIRouter(prefix="/v1/jobs", tags=["prints"])

#: Calendar apps revalidate the feed each time and receive it only when it changed.
_CACHING: Final = "private, no-cache"

_JOB_ERRORS: Final = (JobNotFound, JobNotReady, RunsUnknown, BlobMissing, FileNotInJob)


class ScheduleLinkDocument(BaseModel):
    """The secret URL of a calendar feed. It is shown only once."""

    model_config = ConfigDict(
        frozen=True,
        json_schema_extra={
            "examples": [
                {
                    "url": "http://127.0.0.1:8765/v1/jobs/01k9x5m8w2q4r6t8v0y2a4c6e8/schedule.ics"
                    "?token=nVd3hJm0Zr8sQw5yBt1kXc7uLe2gPf9aRi4oTj6vYbM"
                }
            ]
        },
    )

    url: str = Field(
        description="The URL of the feed, for calendar apps that cannot send an API key. Whoever has it can read this "
        "job's calendar and nothing else. It is valid until it is replaced or withdrawn, the job is removed, or the "
        "API key that created it expires or is revoked."
    )


_FEED_RESPONSES: Final[FileResponses] = {
    200: {
        "description": "The calendar feed (RFC 5545).",
        "content": {CALENDAR_TYPE: {"schema": {"type": "string"}}},
        "headers": {"ETag": {"schema": {"type": "string"}, "description": "The entity tag of the feed."}},
    },
    304: {"description": "The client's copy is current (If-None-Match)."},
    **refusals(*_JOB_ERRORS),
}


@file_route(
    router,
    "/{job_id}/schedule.ics",
    name="Schedule",
    summary="Subscribe to the remaining runs as a calendar",
    head_summary="Get the entity tag of the calendar feed",
    responses=_FEED_RESPONSES,
)
def get_schedule(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Get the calendar feed of the remaining runs, the first of which starts at the next quarter of an hour.

    The `token` of a schedule link can stand in for an API key.
    """
    work = PrintWork.read(job_service, job_id)
    made = beginning(utc_now())
    data = _feed(work, made, f"{base_of(request)}/v1/jobs/{work.job_id}/runs")
    disposition = 'inline; filename="schedule.ics"'
    headers = {"ETag": content_tag(data), "Cache-Control": _CACHING, "Content-Disposition": disposition}
    return not_modified(request, headers) or Response(data, headers=headers, media_type=CALENDAR_TYPE)


@router.post(
    "/{job_id}/schedule-link",
    status_code=HTTPStatus.CREATED,
    operation_id="createScheduleLink",
    summary="Create a secret link to the calendar feed",
    response_description="The link was created; its URL is shown only here.",
    responses=refusals(*_JOB_ERRORS, PreconditionFailed),
    openapi_extra=MATCHED,
)
def create_schedule_link(
    request: Request, job_service: JobServiceDep, job_id: str, _: MatchedRevision
) -> ScheduleLinkDocument:
    """Create a link for calendar apps, which cannot send an API key. It replaces the job's previous link."""
    _check_schedule(PrintWork.read(job_service, job_id))
    token = job_service.prints.links.make(job_id, caller_of(request).owner)
    return ScheduleLinkDocument(
        url=f"{base_of(request)}/v1/jobs/{job_id}/schedule.ics?token={token.get_secret_value()}"
    )


@router.delete(
    "/{job_id}/schedule-link",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="withdrawScheduleLink",
    summary="Withdraw the secret link to the calendar feed",
    response_description="The link was withdrawn.",
    responses=refusals(JobNotFound, PreconditionFailed),
    response_class=Response,
    openapi_extra=MATCHED,
)
def withdraw_schedule_link(job_service: JobServiceDep, job_id: str, _: MatchedRevision) -> None:
    """Make the job's secret link invalid, if it has one."""
    job_service.prints.links.withdraw(job_service.job(job_id).id)


def _feed(work: PrintWork, made: datetime, sheets: str) -> bytes:
    runs, _ = work.remaining()
    schedule = work.schedule(runs, made)
    if schedule is None:
        raise _no_schedule()
    from worker.output.bundle.calendar_feed import write_feed  # noqa: PLC0415 - a service at rest writes no calendar

    return write_feed(schedule, runs, name=work.manifest.name, uid_base=work.job_id, made=made, sheets=sheets)


def _check_schedule(work: PrintWork) -> None:
    if work.spec.schedule is None:
        raise _no_schedule()


def _no_schedule() -> FileNotInJob:
    remedy = "Add a schedule to the spec and submit it again."
    return FileNotInJob("The job has no schedule.", value="schedule.ics", remedy=remedy)
