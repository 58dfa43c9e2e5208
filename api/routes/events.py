"""Events: streams of job changes as server-sent events (WHATWG HTML). A stream holds no thread."""

import re
import time
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import Annotated, Any, Final, TypeVar

from fastapi import APIRouter, Depends, Request, Response
from fastapi.sse import KEEPALIVE_COMMENT, EventSourceResponse, format_sse_event
from starlette.concurrency import run_in_threadpool

from api.app_state import AppState, AppStateDep, JobServiceDep
from api.auth.access import caller_of
from api.documents.batches import batch_document, batch_overview
from api.documents.jobs import job_document
from api.documents.silhouettes import event_of, silhouette_overview
from api.http.problems.problem_documents import refusals
from api.http.responses.ranges import content_tag
from worker.jobs.common.errors import BatchNotFound, JobNotFound, QuotaReached, SilhouetteNotFound
from worker.jobs.common.principal import Principal
from worker.jobs.job_service import JobService
from worker.jobs.records.batch_summary import BatchSummary
from worker.jobs.records.batches import Batch
from worker.jobs.records.models import Job
from worker.jobs.records.silhouettes import SilhouetteSummary, StoredSilhouette

__all__ = ["router"]

router = APIRouter(prefix="/v1", tags=["jobs"])

_EntryT = TypeVar("_EntryT", Job, BatchSummary, SilhouetteSummary)
_PolledT = TypeVar("_PolledT", Batch, StoredSilhouette)
_IdT = TypeVar("_IdT", str, int)

_TYPE: Final = "text/event-stream"

#: Milliseconds after which a client reconnects.
_RECONNECT_MS: Final = 2000

#: The id of an event: the revision in a stream of one job or silhouette, microseconds since 1970 in that of all jobs.
_ID: Final = re.compile(r"[0-9]{1,18}", re.ASCII)

#: Seconds between two queries for jobs that changed.
_POLL_SECONDS: Final = 0.5

#: A change can become visible in the table this long after its timestamp: clocks differ, and transactions take time.
_MAX_DELAY: Final = timedelta(seconds=5)

#: Jobs read at a time.
_PAGE: Final = 200


async def _stream_slot(request: Request, state: AppStateDep) -> AsyncIterator[None]:
    """Hold a place among the open streams until the response has ended.

    Raises:
        QuotaReached: when there are too many.
    """
    with state.streams.slot(caller_of(request).owner):
        yield


_StreamSlot = Annotated[None, Depends(_stream_slot)]

_PARAMETER: Final = {
    "parameters": [
        {
            "name": "Last-Event-ID",
            "in": "header",
            "schema": {"type": "string"},
            "description": "The id of the last event that the client received. The stream continues after it.",
        }
    ]
}


def _responses(description: str, example: str) -> dict[int | str, dict[str, Any]]:
    content = {_TYPE: {"schema": {"type": "string"}, "examples": {"events": {"value": example}}}}
    return {200: {"description": description, "content": content}}


_EXAMPLE: Final = (
    'retry: 2000\n\nid: 3\nevent: job.running\ndata: {"id": "01kb4q2v7m5s8r0d9f3h6j1n4p", "state": ...}\n\n'
)


_BATCH_EXAMPLE: Final = (
    'retry: 2000\n\nid: 5f0a\nevent: batch.running\ndata: {"id": "01kb4q2v7m5s8r0d9f3h6j1n4p", "state": ...}\n\n'
)


@router.get(
    "/jobs/{job_id}/events",
    operation_id="followJob",
    summary="Follow a job",
    responses={
        **_responses(
            "The job's events; the last one is its final state. The data of an event is the job document.", _EXAMPLE
        ),
        204: {"description": "The job has ended, and the client has received its last event (Last-Event-ID)."},
        **refusals(JobNotFound, QuotaReached),
    },
    response_class=Response,
    openapi_extra=_PARAMETER,
)
async def follow_job(
    request: Request, state: AppStateDep, job_service: JobServiceDep, job_id: str, _: _StreamSlot
) -> Response:
    """Stream the job's current state and each change until it ends. The event types are those of webhooks.

    Changes in quick succession are sent as one event. The ids of events increase.
    """
    job = await run_in_threadpool(job_service.job, job_id)
    last = _last_event(request)
    if job.ended and last == job.revision:
        return Response(status_code=HTTPStatus.NO_CONTENT)  # a browser does not reconnect after 204
    return _stream(_events_of_job(request, state, job_service, job, last))


@router.get(
    "/batches/{batch_id}/events",
    operation_id="followBatch",
    tags=["batches"],
    summary="Follow a batch",
    responses={
        **_responses("The batch's events; the last one is its end. The data of an event is the batch.", _BATCH_EXAMPLE),
        204: {"description": "The batch has ended, and the client has received its last event (Last-Event-ID)."},
        **refusals(BatchNotFound, QuotaReached),
    },
    response_class=Response,
    openapi_extra=_PARAMETER,
)
async def follow_batch(
    request: Request, state: AppStateDep, job_service: JobServiceDep, batch_id: str, _: _StreamSlot
) -> Response:
    """Stream the batch's current state and each change until it ends, as `batch.running`, `.gathering` and `.ended`.

    Changes in quick succession are sent as one event.
    """
    batch = await run_in_threadpool(job_service.batch, batch_id)
    last = request.headers.get("last-event-id", "")
    if batch.state == "ended" and last == _id_of_batch(request, batch):
        return Response(status_code=HTTPStatus.NO_CONTENT)
    return _stream(_events_of_batch(request, state, job_service, batch, last))


_SILHOUETTE_EXAMPLE: Final = (
    'retry: 2000\n\nid: 3\nevent: silhouette.ended\ndata: {"id": "01k9x5t6v8x0z2b4d6f8h0k2m4", "state": ...}\n\n'
)


@router.get(
    "/silhouettes/{silhouette_id}/events",
    operation_id="followSilhouette",
    tags=["silhouettes"],
    summary="Follow a silhouette",
    responses={
        **_responses(
            "The silhouette's events; the last one is its end. The data of an event is the silhouette without its "
            "outline.",
            _SILHOUETTE_EXAMPLE,
        ),
        204: {"description": "It has been read, and the client has received its last event (Last-Event-ID)."},
        **refusals(SilhouetteNotFound, QuotaReached),
    },
    response_class=Response,
    openapi_extra=_PARAMETER,
)
async def follow_silhouette(
    request: Request, state: AppStateDep, job_service: JobServiceDep, silhouette_id: str, _: _StreamSlot
) -> Response:
    """Stream the silhouette's current state and each change until it has been read.

    The event types are `silhouette.queued`, `silhouette.running` and, as for webhooks, `silhouette.ended`.
    """
    caller = caller_of(request)
    silhouette = await run_in_threadpool(job_service.silhouettes.find, caller, silhouette_id)
    last = _last_event(request)
    if silhouette.ended and last == silhouette.revision:
        return Response(status_code=HTTPStatus.NO_CONTENT)
    return _stream(_events_of_silhouette(request, state, job_service, silhouette, last))


@router.get(
    "/events",
    operation_id="followJobs",
    summary="Follow all jobs",
    responses={
        **_responses(
            "Events of all jobs and silhouettes of this key, and `batch.ended` of its batches. The data of an event is "
            "the job, the silhouette without its outline, or the batch without its specs.",
            _EXAMPLE,
        ),
        **refusals(QuotaReached),
    },
    response_class=Response,
    openapi_extra=_PARAMETER,
)
async def follow_jobs(request: Request, state: AppStateDep, job_service: JobServiceDep, _: _StreamSlot) -> Response:
    """Stream each change of a job or silhouette and the end of each batch from now on, or since Last-Event-ID.

    Events of silhouettes are those of `/v1/silhouettes/{silhouette_id}/events`, and `silhouette.corrected`.

    After a reconnection, an event of the last few seconds can be sent twice.
    """
    return _stream(_events_of_jobs(request, state, job_service, _last_event(request)))


def _stream(events: AsyncIterator[bytes]) -> Response:
    """Return the events as a response.

    FastAPI would encode the events of a route that is a generator, but such a route cannot answer 204.
    """
    return EventSourceResponse(events, headers={"X-Accel-Buffering": "no"})


async def _events_of_job(
    request: Request, state: AppState, job_service: JobService, job: Job, last: int | None
) -> AsyncIterator[bytes]:
    watch, streams = state.watch, state.streams
    deadline = time.monotonic() + streams.max_seconds
    yield format_sse_event(retry=_RECONNECT_MS)
    with suppress(JobNotFound):  # the job was removed
        while True:
            if job.revision != last:
                last = job.revision
                yield _event(request, job, last)
            if job.ended:
                return
            while not await watch.changed(job, streams.heartbeat):
                if watch.closing or time.monotonic() > deadline:
                    return
                yield KEEPALIVE_COMMENT
            job = await run_in_threadpool(job_service.job, job.id)


def _events_of_batch(
    request: Request, state: AppState, job_service: JobService, batch: Batch, last: str
) -> AsyncIterator[bytes]:
    def event_of_batch(entry: Batch, event_id: str) -> bytes:
        data = batch_document(request, entry).model_dump_json()
        return format_sse_event(data_str=data, event=f"batch.{entry.state}", id=event_id)

    return _polled_events(
        state, batch, last,
        read=lambda: job_service.batch(batch.id),
        id_of=lambda entry: _id_of_batch(request, entry),
        event=event_of_batch,
        ended=lambda entry: entry.state == "ended",
        removed=BatchNotFound,
    )  # fmt: skip


def _events_of_silhouette(
    request: Request, state: AppState, job_service: JobService, silhouette: StoredSilhouette, last: int | None
) -> AsyncIterator[bytes]:
    caller = caller_of(request)
    return _polled_events(
        state, silhouette, last,
        read=lambda: job_service.silhouettes.find(caller, silhouette.id),
        id_of=lambda entry: entry.revision,
        event=lambda entry, event_id: _silhouette_event(request, entry, event_id),
        ended=lambda entry: entry.ended,
        removed=SilhouetteNotFound,
    )  # fmt: skip


async def _polled_events(
    state: AppState,
    entry: _PolledT,
    last: _IdT | None,
    *,
    read: Callable[[], _PolledT],
    id_of: Callable[[_PolledT], _IdT],
    event: Callable[[_PolledT, _IdT], bytes],
    ended: Callable[[_PolledT], bool],
    removed: type[Exception],
) -> AsyncIterator[bytes]:
    """Yield an event for each change of an entry that is read again and again, until it has ended or is removed."""
    watch, streams = state.watch, state.streams
    deadline = sent_at = time.monotonic()
    deadline += streams.max_seconds
    yield format_sse_event(retry=_RECONNECT_MS)
    with suppress(removed):
        while True:
            if (event_id := id_of(entry)) != last:
                last, sent_at = event_id, time.monotonic()
                yield event(entry, event_id)
            if ended(entry):
                return
            if time.monotonic() - sent_at >= streams.heartbeat:
                sent_at = time.monotonic()
                yield KEEPALIVE_COMMENT
            await watch.sleep(min(_POLL_SECONDS, streams.heartbeat))
            if watch.closing or time.monotonic() > deadline:
                return
            entry = await run_in_threadpool(read)


def _id_of_batch(request: Request, batch: Batch) -> str:
    """Return the id of a batch's event: the digest of its document, as in its ETag."""
    return content_tag(batch_document(request, batch).model_dump_json().encode()).strip('"')


async def _events_of_jobs(
    request: Request, state: AppState, job_service: JobService, last: int | None
) -> AsyncIterator[bytes]:
    watch, streams = state.watch, state.streams
    deadline = time.monotonic() + streams.max_seconds
    since = datetime.now(UTC) if last is None else _time_of(last)
    sent: dict[str, int] = {}
    sent_batches: set[str] = set()
    caller = caller_of(request)
    if last is None:  # the current state of the jobs is no change
        sent = {job.id: job.revision for job in await _changed(job_service, since)}
        sent |= {silhouette.id: silhouette.revision for silhouette in await _outlines(job_service, caller, since)}
        sent_batches = {batch.id for batch in await _ended_batches(job_service, since)}
    yield format_sse_event(retry=_RECONNECT_MS)
    sent_at = time.monotonic()
    while time.monotonic() < deadline and not watch.closing:
        jobs, batches = await _changed(job_service, since), await _ended_batches(job_service, since)
        silhouettes = await _outlines(job_service, caller, since)
        for job in jobs:
            if sent.get(job.id) != job.revision:
                sent[job.id] = job.revision
                since = max(since, job.updated)
                yield _event(request, job, _id_of(since))
                sent_at = time.monotonic()
        for silhouette in silhouettes:
            if sent.get(silhouette.id) != silhouette.revision:
                since = max(since, silhouette.updated)
                yield _silhouette_event(request, silhouette, _id_of(since))
                sent_at = time.monotonic()
        sent = {job.id: job.revision for job in jobs}
        sent |= {silhouette.id: silhouette.revision for silhouette in silhouettes}
        for batch in batches:
            if batch.id not in sent_batches and batch.finished is not None:
                since = max(since, batch.finished)
                data = batch_overview(request, batch).model_dump_json()
                yield format_sse_event(data_str=data, event="batch.ended", id=str(_id_of(since)))
                sent_at = time.monotonic()
        sent_batches = {batch.id for batch in batches}
        if time.monotonic() - sent_at >= streams.heartbeat:
            sent_at = time.monotonic()
            yield KEEPALIVE_COMMENT
        await watch.sleep(_POLL_SECONDS)


async def _ended_batches(job_service: JobService, since: datetime) -> list[BatchSummary]:
    """Return all batches that ended since this time, less `_MAX_DELAY`."""
    return await _all_since(since, job_service.batches_ended_since, lambda batch: batch.finished or since)


async def _changed(job_service: JobService, since: datetime) -> list[Job]:
    """Return all jobs that changed since this time, less `_MAX_DELAY`."""
    return await _all_since(since, job_service.changed_since, lambda job: job.updated)


async def _outlines(job_service: JobService, caller: Principal, since: datetime) -> list[SilhouetteSummary]:
    """Return all silhouettes that changed since this time, less `_MAX_DELAY`."""

    def fetch(moment: datetime, limit: int) -> list[SilhouetteSummary]:
        return job_service.silhouettes.records.changed_since(moment, limit, owner=caller.sees)

    return await _all_since(since, fetch, lambda silhouette: silhouette.updated)


async def _all_since(
    since: datetime, fetch: Callable[[datetime, int], list[_EntryT]], time_of: Callable[[_EntryT], datetime]
) -> list[_EntryT]:
    """Return each entry once: pages overlap, because a page starts at the time of the last entry before it."""
    entries: dict[str, _EntryT] = {}
    moment = since - _MAX_DELAY
    while True:
        page = await run_in_threadpool(fetch, moment, _PAGE)
        entries |= {entry.id: entry for entry in page}
        if len(page) < _PAGE or time_of(page[-1]) == moment:
            return list(entries.values())
        moment = time_of(page[-1])


def _event(request: Request, job: Job, event_id: int) -> bytes:
    data = job_document(request, job).model_dump_json()
    return format_sse_event(data_str=data, event=f"job.{job.state}", id=str(event_id))


def _silhouette_event(request: Request, silhouette: StoredSilhouette | SilhouetteSummary, event_id: int) -> bytes:
    data = silhouette_overview(request, silhouette).model_dump_json()
    return format_sse_event(data_str=data, event=f"silhouette.{event_of(silhouette)}", id=str(event_id))


def _last_event(request: Request) -> int | None:
    field = request.headers.get("last-event-id", "")
    return int(field) if _ID.fullmatch(field) else None


def _id_of(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _time_of(event_id: int) -> datetime:
    """Return the time of an event, at most a day ago: older changes are not sent again."""
    now = datetime.now(UTC)
    oldest = now - timedelta(days=1)
    if not _id_of(oldest) < event_id < _id_of(now):
        return now if event_id >= _id_of(now) else oldest
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=event_id)
