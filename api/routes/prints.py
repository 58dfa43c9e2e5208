"""Prints: tell what was printed, see what remains, fetch runs and calendar."""

import re
from http import HTTPStatus
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Header, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.app_state import JobServiceDep
from api.documents.print_progress import PrintWork, print_document, prints_document, runs_document
from api.documents.prints import PrintDocument, PrintsDocument, RunsDocument
from api.http.body import read_noun
from api.http.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused, ParameterRefused
from api.http.problems import problem_response, refusals
from api.http.streaming import file_response
from api.openapi.print_examples import EVENT_BODY, example_of
from api.routes.jobs import file_answers
from worker.jobs.common.errors import (
    BlobMissing,
    FileNotInJob,
    InternalError,
    JobNotFound,
    JobNotReady,
    PrintRepeated,
    PrintsBusy,
    RunNotReady,
    RunsUnknown,
)
from worker.jobs.database.db_clock import utc_now
from worker.jobs.records.models import run_file_name
from worker.printing.progress.print_state import PrintState
from worker.printing.progress.remaining import begin, follow
from worker.spec.errors import PrintRefused
from worker.spec.requests.print_event import PrintEvent

__all__ = ["router"]

router = APIRouter(prefix="/v1/jobs", tags=["prints"])

#: Bytes that an event may have.
_LARGEST: Final = 64 * 1024

#: Seconds after which the file of a new run may be there.
_SOON: Final = 2

_TIME: Final = "%Y-%m-%dT%H:%MZ"

_NUMBER: Final = re.compile(r"[1-9][0-9]{0,5}", re.ASCII)

_KNOWN: Final = (JobNotFound, JobNotReady, RunsUnknown, BlobMissing)


class HistoryPage(BaseModel):
    """Which events to tell."""

    model_config = ConfigDict(extra="forbid")

    limit: int = Field(default=50, ge=1, le=100, description="How many.")
    after: int | None = Field(default=None, ge=1, le=10**9, description="Number of the last event of the page before.")


_Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        pattern=r'^(?:[A-Za-z0-9._-]{1,64}|"[A-Za-z0-9._-]{1,64}")$',
        description="The event's id, where the body has none.",
    ),
]


async def read_event(request: Request, key: _Key = None) -> PrintEvent:
    """Return the event in the body, with the id of the header if the body has none.

    Raises:
        PrintRefused: with each problem of the event, or when body and header name it differently.
    """
    event = await read_noun(request, PrintEvent, _LARGEST, PrintRefused, "event")
    name = key.strip('"') if key is not None else None
    if name is not None and event.id not in (None, name):
        remedy = "Give it in one place only."
        raise PrintRefused("Body and header name the event differently.", pointer="/id", value=event.id, remedy=remedy)
    return event if name is None else event.model_copy(update={"id": name})


@router.post(
    "/{job_id}/prints",
    status_code=HTTPStatus.CREATED,
    operation_id="recordPrint",
    summary="Tell what was printed, failed or placed",
    responses={
        201: {"description": "It was recorded.", **example_of("print")},
        200: {"model": PrintDocument, "description": "It was recorded before, under this id.", **example_of("print")},
        **refusals(*_KNOWN, PrintRefused, PrintRepeated, PrintsBusy, BodyTooLarge, BodyTooSlow, BodyTypeRefused),
    },
    openapi_extra=EVENT_BODY,
)
def record_print(
    response: Response, job_service: JobServiceDep, job_id: str, event: Annotated[PrintEvent, Depends(read_event)]
) -> PrintDocument:
    """Record an event. What no run covers any more is packed afresh. Sent twice under one id, it counts once."""
    work = PrintWork.read(job_service, job_id)

    def after(standing: PrintState | None) -> PrintState:
        return follow(standing or begin(work.manifest), event, work.manifest, work.spec)

    recorded, new = job_service.prints.record(job_id, event, after)
    if not new:
        response.status_code = HTTPStatus.OK
    elif (status := job_service.prints.status(job_id)) is not None and status.repack:
        job_service.publish_repack(job_id)
    return print_document(recorded)


@router.head("/{job_id}/prints", include_in_schema=False)
@router.get(
    "/{job_id}/prints",
    operation_id="getPrints",
    summary="What was printed, and what is left",
    responses={200: example_of("prints"), **refusals(*_KNOWN, ParameterRefused)},
)
def get_prints(
    request: Request, job_service: JobServiceDep, job_id: str, page: Annotated[HistoryPage, Query()]
) -> PrintsDocument:
    """Tell where each mark and each run stands, how much filament went, and what was recorded, newest first."""
    work = PrintWork.read(job_service, job_id)
    return prints_document(request, work, job_service.prints.events(job_id, page.limit + 1, page.after), page.limit)


@router.head("/{job_id}/runs", include_in_schema=False)
@router.get(
    "/{job_id}/runs",
    operation_id="getRuns",
    summary="The runs that remain, from now on",
    responses={200: example_of("runs"), **refusals(*_KNOWN)},
)
def get_runs(job_service: JobServiceDep, job_id: str) -> RunsDocument:
    """Tell which runs remain, with their work, filament to buy and, where the spec has a schedule, their times."""
    return runs_document(PrintWork.read(job_service, job_id), utc_now())


_RUN_ANSWERS: Final = {
    **file_answers("The run's 3MF, every piece in its place.", "model/3mf"),
    **refusals(*_KNOWN, RunNotReady),
}


@router.head(
    "/{job_id}/runs/{number}.3mf",
    operation_id="headRun",
    summary="Size and digest of a run's 3MF",
    responses=_RUN_ANSWERS,
    response_class=Response,
)
@router.get(
    "/{job_id}/runs/{number}.3mf",
    operation_id="getRun",
    summary="A run's 3MF",
    responses=_RUN_ANSWERS,
    response_class=Response,
)
def get_run(request: Request, job_service: JobServiceDep, job_id: str, number: str) -> Response:
    """Hand out a run, ready to print; one that was packed afresh as soon as a worker has written it."""
    job_service.job(job_id)
    if not _NUMBER.fullmatch(number):
        raise FileNotInJob("The job has no such run.", value=number)
    try:
        return file_response(request, job_service, job_service.file(job_id, run_file_name(int(number))))
    except FileNotInJob:
        status = job_service.prints.status(job_id)
        record = None if status is None else status.standing.find(int(number))
        if status is None or record is None or record.planned:
            raise FileNotInJob("The job has no file of such a run.", value=number) from None
        if status.problem is not None:
            why = f"The run's file cannot be written: {status.problem.get('detail')}"
            when = "with the next event that makes new runs" if status.retry is None else f"at {status.retry:{_TIME}}"
            raise InternalError(why, remedy=f"It is tried again {when}.") from None
        waiting = RunNotReady(value=int(number), remedy=f"Ask again in {_SOON} seconds.")
        return problem_response(request, waiting, headers={"Retry-After": str(_SOON)})
