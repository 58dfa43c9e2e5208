"""Events: jobs as a stream that a browser's EventSource reads (WHATWG HTML, server-sent events). No thread is held."""

import re
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import Any, Final, cast

from fastapi import APIRouter, Request, Response
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool
from starlette.types import Receive, Scope, Send

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.jobs import job_document
from api.http.job_watch import watch_of
from api.http.problems import refusals
from worker.jobs.common.errors import JobNotFound, QuotaReached
from worker.jobs.job_service import JobService
from worker.jobs.records.models import Job

__all__ = ["Streams", "router"]

router = APIRouter(prefix="/v1", tags=["jobs"])

_TYPE: Final = "text/event-stream"

#: What a client is told to wait before it comes again, in milliseconds.
_RETRY: Final = b"retry: 2000\n\n"

#: A comment; it keeps whatever is between from closing a silent connection.
_BEAT: Final = b": nothing new\n\n"

#: An event of one job: its revision. Of all jobs: microseconds since 1970.
_ID: Final = re.compile(r"[0-9]{1,18}", re.ASCII)

#: Seconds between two looks for jobs that changed.
_LOOK: Final = 0.5

#: A change is in the record this long after its own time at most, whatever the clocks of the machines say.
_LATE: Final = timedelta(seconds=5)

#: Most jobs looked for at once.
_MOST: Final = 200


@dataclass
class Streams:
    """The open streams of this process."""

    #: Seconds of silence before a comment, and for which a stream lasts: whoever comes again is looked at again.
    beat: float = 15.0
    longest: float = 900.0
    most: int = 100
    most_each: int = 20
    open: Counter[str] = field(default_factory=Counter)

    def enter(self, owner: str) -> None:
        """Count one more of this owner.

        Raises:
            QuotaReached: when there are too many.
        """
        if self.open[owner] >= self.most_each or self.open.total() >= self.most:
            error = QuotaReached(
                "Too many streams are open.",
                value=self.open[owner],
                limit=f"{self.most_each} of one key, {self.most} in all",
                remedy="Close one, or ask for the jobs themselves with Prefer: wait.",
            )
            error.wait = 10
            raise error
        self.open[owner] += 1

    def leave(self, owner: str) -> None:
        """Count one less."""
        self.open[owner] -= 1
        self.open += Counter()


class _EventStream(StreamingResponse):
    """A stream that gives back its place when it ends, however that comes about."""

    def __init__(self, events: AsyncIterator[bytes], leave: Callable[[], None]) -> None:
        super().__init__(events, media_type=_TYPE, headers={"X-Accel-Buffering": "no"})
        self._leave = leave

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._leave()


_PARAMETER: Final = {
    "parameters": [
        {
            "name": "Last-Event-ID",
            "in": "header",
            "schema": {"type": "string"},
            "description": "The id of the last event that the client has; what came since is told.",
        }
    ]
}


def _answers(what: str, example: str) -> dict[int | str, dict[str, Any]]:
    content = {_TYPE: {"schema": {"type": "string"}, "examples": {"events": {"value": example}}}}
    return {200: {"description": what, "content": content}}


_EXAMPLE: Final = (
    'retry: 2000\n\nid: 3\nevent: job.running\ndata: {"id": "01kb4q2v7m5s8r0d9f3h6j1n4p", "state": ...}\n\n'
)


@router.get(
    "/jobs/{job_id}/events",
    operation_id="followJob",
    summary="A job's changes as they come",
    responses={
        **_answers("Events of a job, the last of which is its end. The data of each is the job.", _EXAMPLE),
        204: {"description": "The job has ended, and the client knows (Last-Event-ID)."},
        **refusals(JobNotFound, QuotaReached),
    },
    response_class=Response,
    openapi_extra=_PARAMETER,
)
async def follow_job(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Tell of a job as it is and of each change: `job.queued`, `job.running`, and how it ended, as in messages.

    Changes that come fast are told of as one. An event's id grows from change to change.
    """
    job = await run_in_threadpool(job_service.job, job_id)
    known = _last_event(request)
    if job.ended and known == job.revision:
        return Response(status_code=HTTPStatus.NO_CONTENT)  # with this a browser does not come again
    streams, owner = _streams_of(request), caller_of(request).owner
    streams.enter(owner)
    events = _of_job(request, job_service, job, known, streams)
    return _EventStream(events, lambda: streams.leave(owner))


@router.get(
    "/events",
    operation_id="followJobs",
    summary="Changes of all jobs as they come",
    responses={
        **_answers("Events of all jobs of this key. The data of each is the job.", _EXAMPLE),
        **refusals(QuotaReached),
    },
    response_class=Response,
    openapi_extra=_PARAMETER,
)
async def follow_jobs(request: Request, job_service: JobServiceDep) -> Response:
    """Tell of each job that changes from now on, or since the event that the client has (Last-Event-ID).

    After such a return an event of the last seconds may come a second time.
    """
    streams, owner = _streams_of(request), caller_of(request).owner
    streams.enter(owner)
    return _EventStream(_of_jobs(request, job_service, _last_event(request), streams), lambda: streams.leave(owner))


async def _of_job(
    request: Request, job_service: JobService, job: Job, known: int | None, streams: Streams
) -> AsyncIterator[bytes]:
    watch, until = watch_of(request), time.monotonic() + streams.longest
    yield _RETRY
    with suppress(JobNotFound):  # removed meanwhile
        while True:
            if job.revision != known:
                known = job.revision
                yield _event(request, job, known)
            if job.ended:
                return
            while not await watch.changed(job, streams.beat):
                if watch.closing or time.monotonic() > until:
                    return
                yield _BEAT
            job = await run_in_threadpool(job_service.job, job.id)


async def _of_jobs(
    request: Request, job_service: JobService, known: int | None, streams: Streams
) -> AsyncIterator[bytes]:
    watch, until = watch_of(request), time.monotonic() + streams.longest
    since = datetime.now(UTC) if known is None else _moment(known)
    told: dict[str, int] = {}
    if known is None:  # what is there already is not news
        told = {job.id: job.revision for job in await _changed(job_service, since)}
    yield _RETRY
    spoken = time.monotonic()
    while time.monotonic() < until and not watch.closing:
        found = await _changed(job_service, since)
        for job in found:
            if told.get(job.id) != job.revision:
                told[job.id] = job.revision
                since = max(since, job.updated)
                yield _event(request, job, _number(since))
                spoken = time.monotonic()
        told = {job.id: job.revision for job in found}
        if time.monotonic() - spoken >= streams.beat:
            spoken = time.monotonic()
            yield _BEAT
        await watch.pause(_LOOK)


async def _changed(job_service: JobService, since: datetime) -> list[Job]:
    """Return all jobs that changed since, and a little before: a change may be in the record later than its time."""
    found: dict[str, Job] = {}
    moment = since - _LATE
    while True:
        page = await run_in_threadpool(job_service.changed_since, moment, _MOST)
        found |= {job.id: job for job in page}
        if len(page) < _MOST or page[-1].updated == moment:
            return list(found.values())
        moment = page[-1].updated


def _event(request: Request, job: Job, number: int) -> bytes:
    data = job_document(request, job).model_dump_json()  # without a line break
    return f"id: {number}\nevent: job.{job.state}\ndata: {data}\n\n".encode()


def _last_event(request: Request) -> int | None:
    given = request.headers.get("last-event-id", "")
    return int(given) if _ID.fullmatch(given) else None


def _number(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _moment(number: int) -> datetime:
    """Return the moment of an event, within a day at most: what is older is not told again one by one."""
    now = datetime.now(UTC)
    oldest = now - timedelta(days=1)
    if not _number(oldest) < number < _number(now):
        return now if number >= _number(now) else oldest
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=number)


def _streams_of(request: Request) -> Streams:
    return cast("Streams", request.app.state.streams)
