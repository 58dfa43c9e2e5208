"""Schedules: the remaining runs as a calendar to subscribe to, and the secret address under which an app may do so."""

from datetime import datetime
from hashlib import sha256
from http import HTTPStatus
from typing import Any, Final

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.print_progress import PrintWork, beginning
from api.http.base_url import base_of
from api.http.problems import refusals
from api.http.ranges import entity_tag, tag_matches
from worker.jobs.common.errors import BlobMissing, FileNotInJob, JobNotFound, JobNotReady, RunsUnknown
from worker.jobs.database.db_clock import utc_now
from worker.output.bundle.calendar_feed import write_feed
from worker.spec.manifest import CALENDAR_TYPE

__all__ = ["ScheduleLinkDocument", "router"]

router = APIRouter(prefix="/v1/jobs", tags=["prints"])

#: A calendar asks each time, and is sent only what changed.
_CACHING: Final = "private, no-cache"

_KNOWN: Final = (JobNotFound, JobNotReady, RunsUnknown, BlobMissing, FileNotInJob)


class ScheduleLinkDocument(BaseModel):
    """The secret address of a calendar, which is told this once."""

    model_config = ConfigDict(frozen=True)

    url: str = Field(
        description="For a calendar app that cannot send a key: whoever has it reads this job's calendar, and nothing "
        "else. Good until it is replaced or withdrawn, the job is removed, or the key that asked for it ends."
    )


_FEED_ANSWERS: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "description": "The calendar (RFC 5545).",
        "content": {CALENDAR_TYPE: {"schema": {"type": "string"}}},
        "headers": {"ETag": {"schema": {"type": "string"}, "description": "The calendar's SHA-256, quoted."}},
    },
    304: {"description": "The client has it already (If-None-Match)."},
    **refusals(*_KNOWN),
}


@router.head(
    "/{job_id}/schedule.ics",
    operation_id="headSchedule",
    summary="Digest of the calendar",
    responses=_FEED_ANSWERS,
    response_class=Response,
)
@router.get(
    "/{job_id}/schedule.ics",
    operation_id="getSchedule",
    summary="The runs that remain, as a calendar to subscribe to",
    responses=_FEED_ANSWERS,
    response_class=Response,
)
def get_schedule(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Hand out the calendar of the remaining runs, dated from the next quarter of an hour on.

    Instead of a key it takes the token of a secret address, as the parameter ``token``.
    """
    work = PrintWork.read(job_service, job_id)
    made = beginning(utc_now())
    data = _feed(work, made)
    tag = entity_tag(sha256(data).hexdigest())
    headers = {"ETag": tag, "Cache-Control": _CACHING, "Content-Disposition": 'inline; filename="schedule.ics"'}
    if (match := request.headers.get("if-none-match")) is not None and tag_matches(match, tag, weak=True):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    return Response(data, headers=headers, media_type=CALENDAR_TYPE)


@router.post(
    "/{job_id}/schedule-link",
    status_code=HTTPStatus.CREATED,
    operation_id="createScheduleLink",
    summary="Make a secret address of the calendar",
    responses=refusals(*_KNOWN),
)
def create_schedule_link(request: Request, job_service: JobServiceDep, job_id: str) -> ScheduleLinkDocument:
    """Make an address for calendar apps, which cannot send a key. One that was made before opens nothing any more."""
    _check_schedule(PrintWork.read(job_service, job_id))
    token = job_service.prints.links.make(job_id, caller_of(request).owner)
    return ScheduleLinkDocument(
        url=f"{base_of(request)}/v1/jobs/{job_id}/schedule.ics?token={token.get_secret_value()}"
    )


@router.delete(
    "/{job_id}/schedule-link",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="withdrawScheduleLink",
    summary="Withdraw the secret address of the calendar",
    responses=refusals(JobNotFound),
    response_class=Response,
)
def withdraw_schedule_link(job_service: JobServiceDep, job_id: str) -> None:
    """Have the secret address open nothing any more, if there is one."""
    job_service.prints.links.withdraw(job_service.job(job_id).id)


def _feed(work: PrintWork, made: datetime) -> bytes:
    runs, _ = work.remaining()
    schedule = work.schedule(runs, made)
    if schedule is None:
        raise _none()
    return write_feed(schedule, runs, name=work.manifest.name, uid_base=work.job_id, made=made)


def _check_schedule(work: PrintWork) -> None:
    if work.spec.schedule is None:
        raise _none()


def _none() -> FileNotInJob:
    remedy = "Give the spec a schedule and submit it again."
    return FileNotInJob("The job has no schedule.", value="schedule.ics", remedy=remedy)
