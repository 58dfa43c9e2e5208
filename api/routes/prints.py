"""Prints: record print events, follow the progress, fetch the files of runs."""

import re
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Header, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from api.app_state import JobServiceDep
from api.documents.print_progress import PrintWork, beginning, print_document, prints_document, runs_document
from api.documents.prints import PrintDocument, PrintsDocument, RunsDocument
from api.http.problems.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused, ParameterRefused
from api.http.problems.problem_documents import problem_response, refusals
from api.http.requests.body import read_noun
from api.http.requests.matched_job import MATCHED, MatchedRevision
from api.http.requests.preconditions import not_modified
from api.http.responses.file_routes import file_responses, file_route
from api.http.responses.ranges import content_tag
from api.http.responses.streaming import file_response
from api.openapi.spec_body import SPEC_BODY
from worker.jobs.common.errors import (
    BlobMissing,
    ClearanceNotRead,
    FileNotInJob,
    InternalError,
    JobNotFound,
    JobNotReady,
    PreconditionFailed,
    PrintRepeated,
    PrintsBusy,
    RunNotReady,
    RunsUnknown,
)
from worker.jobs.database.db_clock import utc_now
from worker.jobs.household.layouts import PrintedJob
from worker.jobs.records.models import run_file_name, sheet_file_name
from worker.printing.progress.print_state import PrintState, begin
from worker.spec.errors import PrintRefused
from worker.spec.manifest import PDF_TYPE, THREEMF_TYPE
from worker.spec.requests.print_event import PrintEvent

__all__ = ["router"]

router = APIRouter(prefix="/v1/jobs", tags=["prints"])

#: Largest body of a print event, in bytes.
_LARGEST: Final = 64 * 1024

#: Seconds after which the file of a new run is usually written.
_RETRY_SECONDS: Final = 2

_TIME_FORMAT: Final = "%Y-%m-%dT%H:%MZ"

_NUMBER: Final = re.compile(r"[1-9][0-9]{0,5}", re.ASCII)

_JOB_ERRORS: Final = (JobNotFound, JobNotReady, RunsUnknown, BlobMissing)


class HistoryPage(BaseModel):
    """The query parameters of a page of the print history."""

    model_config = ConfigDict(extra="forbid")

    limit: int = Field(default=50, ge=1, le=100, description="The number of events on a page.")
    after: int | None = Field(
        default=None, ge=1, le=10**9, description="The number of the last event on the previous page."
    )


_Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        pattern=r'^(?:[A-Za-z0-9._-]{1,64}|"[A-Za-z0-9._-]{1,64}")$',
        description="The event's id, if the body has none.",
    ),
]


async def read_event(request: Request, key: _Key = None) -> PrintEvent:
    """Return the event in the body, with the id of the header if the body has none.

    Raises:
        PrintRefused: with every fault of the event, or when body and header have different ids.
    """
    event = await read_noun(request, PrintEvent, _LARGEST, PrintRefused, "event")
    name = key.strip('"') if key is not None else None
    if name is not None and event.id not in (None, name):
        raise PrintRefused(
            "The ids in the body and in the Idempotency-Key header differ.",
            pointer="/id",
            value=event.id,
            limit=name,
            remedy="Send the id in one place only.",
        )
    return event if name is None else event.model_copy(update={"id": name})


#: The body is read as bytes, so the framework cannot document it.
_EVENT_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"$ref": "#/components/schemas/PrintEvent"},
                "examples": {
                    "run": {
                        "summary": "A run that was printed without failures",
                        "value": {"outcome": "printed", "run": 3, "id": "printer-1.run-3"},
                    },
                    "part-of-a-run": {
                        "summary": "A run of which one piece came loose",
                        "value": {"outcome": "printed", "run": 3, "failed": {"T4": 1}, "note": "a corner came loose"},
                    },
                    "failed-run": {
                        "summary": "A run that failed",
                        "value": {"outcome": "failed", "run": 3, "at": "2026-03-07T18:42:00Z"},
                    },
                    "pieces": {
                        "summary": "Pieces of one mark",
                        "value": {"outcome": "printed", "mark": "T4", "count": 2},
                    },
                    "coupon": {
                        "summary": "The coupon, and the clearance that it shows",
                        "value": {"outcome": "printed", "run": 1, "clearance": 0.25},
                    },
                    "withdrawn": {
                        "summary": "An event that was recorded by mistake",
                        "value": {"outcome": "withdrawn", "event": 4},
                    },
                    "placed": {
                        "summary": "Pieces that were placed in the drawer",
                        "value": {"outcome": "placed", "run": 3},
                    },
                },
            }
        },
    }
}


@router.post(
    "/{job_id}/prints",
    status_code=HTTPStatus.CREATED,
    operation_id="recordPrint",
    summary="Record a print event",
    responses={
        201: {"description": "The event was recorded."},
        200: {"model": PrintDocument, "description": "The event had already been recorded under this id."},
        **refusals(
            *_JOB_ERRORS,
            PrintRefused,
            PrintRepeated,
            PrintsBusy,
            BodyTooLarge,
            BodyTooSlow,
            BodyTypeRefused,
            PreconditionFailed,
        ),
    },
    openapi_extra={**_EVENT_BODY, **MATCHED},
)
def record_print(
    response: Response,
    job_service: JobServiceDep,
    job_id: str,
    event: Annotated[PrintEvent, Depends(read_event)],
    _: MatchedRevision,
) -> PrintDocument:
    """Record that pieces were printed, failed or placed in the drawer, or that an earlier event was a mistake.

    Pieces that no open run covers any more are packed into new runs. An event with an id is recorded once, however
    often it is sent. A withdrawn event stays in the history; runs that only it had closed are open again.
    """
    from worker.printing.progress.remaining import follow, withdraw  # noqa: PLC0415 - a service at rest needs no geometry

    work = PrintWork.read(job_service, job_id)

    def after(state: PrintState | None) -> PrintState:
        before = state or begin(work.manifest)
        if event.event is not None:
            kept = job_service.prints.events_without(job_id, event.event)
            return withdraw(before, kept, work.manifest, work.spec)
        return follow(before, event, work.manifest, work.spec)

    effects = job_service.household.effects(PrintedJob(job_id, work.spec, work.manifest), event)
    estimate = None if event.run is None else work.estimate_of(event.run)
    recorded, new = job_service.prints.record(job_id, event, after, effects=effects, estimate=estimate)
    if not new:
        response.status_code = HTTPStatus.OK
    elif (status := job_service.prints.status(job_id)) is not None and status.repack:
        job_service.publish_repack(job_id)
    return print_document(recorded)


@router.head("/{job_id}/prints", include_in_schema=False)
@router.get(
    "/{job_id}/prints",
    operation_id="getPrints",
    summary="Get the print progress",
    response_description="The progress, and one page of the print history.",
    responses={**refusals(*_JOB_ERRORS, ParameterRefused)},
)
def get_prints(
    request: Request, job_service: JobServiceDep, job_id: str, page: Annotated[HistoryPage, Query()]
) -> PrintsDocument:
    """Get the progress of every mark and run, the filament used, and the recorded events, newest first."""
    work = PrintWork.read(job_service, job_id)
    return prints_document(request, work, job_service.prints.events(job_id, page.limit + 1, page.after), page.limit)


@router.head("/{job_id}/runs", include_in_schema=False)
@router.get(
    "/{job_id}/runs",
    operation_id="getRuns",
    summary="List the remaining runs",
    response_description="The remaining runs.",
    responses={**refusals(*_JOB_ERRORS)},
)
def get_runs(job_service: JobServiceDep, job_id: str) -> RunsDocument:
    """List the runs still to print, with totals, the filament to buy and, if the spec has a schedule, times."""
    return runs_document(PrintWork.read(job_service, job_id), utc_now())


@file_route(
    router,
    "/{job_id}/runs/{number}.pdf",
    name="RunSheet",
    summary="Download the sheet of a run",
    head_summary="Get the entity tag of the sheet of a run",
    responses={
        200: {
            "description": "One A4 page: the bed, what is on it, what to do when, and where the pieces go.",
            "content": {PDF_TYPE: {"schema": {"type": "string", "format": "binary"}}},
            "headers": {"ETag": {"schema": {"type": "string"}, "description": "The entity tag of the sheet."}},
        },
        304: {"description": "The client's copy is current (If-None-Match)."},
        **refusals(*_JOB_ERRORS, FileNotInJob),
    },
)
def get_run_sheet(request: Request, job_service: JobServiceDep, job_id: str, number: str) -> Response:
    """Download one page to hang beside the printer. Its dates are those of the schedule from now on."""
    work = PrintWork.read(job_service, job_id)
    record = work.state.find(int(number)) if _NUMBER.fullmatch(number) else None
    if record is None:
        raise FileNotInJob("The job has no run with this number.", value=number)
    from worker.output.drawings.run_sheet import write_run_sheet  # noqa: PLC0415 - a service at rest draws nothing
    from worker.printing.part_printers import printer_of  # noqa: PLC0415 - as above

    runs, _ = work.remaining()
    schedule = work.schedule(runs, beginning(utc_now()))
    steps = () if schedule is None else schedule.steps
    run = record.run.model_copy(update={"file": work.file_of(record.run.number)})
    step = next((step for step in steps if step.run == run.number), None)
    data = write_run_sheet(work.manifest, run, printer_of(work.spec, run), step)
    disposition = f'inline; filename="{sheet_file_name(run.number)}"'
    headers = {"ETag": content_tag(data), "Cache-Control": "private, no-cache", "Content-Disposition": disposition}
    return not_modified(request, headers) or Response(data, headers=headers, media_type=PDF_TYPE)


@router.head("/{job_id}/refit", include_in_schema=False)
@router.get(
    "/{job_id}/refit",
    operation_id="getRefit",
    summary="Get the spec with the clearance that the coupon showed",
    response_description="The spec to submit as a job.",
    responses={
        200: {"content": SPEC_BODY["requestBody"]["content"]},
        **refusals(*_JOB_ERRORS, ClearanceNotRead, PrintRefused),
    },
    response_class=Response,
)
def get_refit(job_service: JobServiceDep, job_id: str) -> Response:
    """Get the job's spec with the recorded clearance and without a coupon; submit it to make the parts anew.

    Where parts other than the coupon are printed already, the sockets keep their profile, so that printed tiles fit the
    new trays.
    """
    from worker.printing.progress.coupon_gate import refit_spec  # noqa: PLC0415 - a service at rest needs no geometry

    work = PrintWork.read(job_service, job_id)
    if work.state.clearance is None:
        raise ClearanceNotRead(
            remedy='Record it: {"outcome": "measured", "clearance": 0.25}, for example.',
        )  # fmt: skip
    try:
        spec = refit_spec(work.spec, work.state)
    except ValidationError as error:
        raise PrintRefused(
            "The joint cannot have the clearance that the coupon showed.",
            pointer="/clearance", value=work.state.clearance, limit=str(error.errors()[0]["msg"]),
            remedy="Print the coupon again with a clearance near that of the job.",
        ) from error  # fmt: skip
    return Response(spec.to_json(), media_type="application/json")


@file_route(
    router,
    "/{job_id}/runs/{number}.3mf",
    name="Run",
    summary="Download a run's 3MF file",
    head_summary="Get the size and checksum of a run's 3MF file",
    responses=file_responses(
        "The run's 3MF file, with every piece in its place on the bed.",
        THREEMF_TYPE,
        errors=(*_JOB_ERRORS, FileNotInJob, RunNotReady),
    ),
)
def get_run(request: Request, job_service: JobServiceDep, job_id: str, number: str) -> Response:
    """Download the file of a run. For a run that was packed after a print event, a worker has to write it first."""
    job_service.job(job_id)
    if not _NUMBER.fullmatch(number):
        raise FileNotInJob("The job has no run with this number.", value=number)
    try:
        return file_response(request, job_service, job_service.file(job_id, run_file_name(int(number))))
    except FileNotInJob:
        status = job_service.prints.status(job_id)
        record = None if status is None else status.state.find(int(number))
        if status is None or record is None or record.planned:
            raise FileNotInJob("The job has no file for this run.", value=number) from None
        if status.problem is not None:
            why = f"Writing the run's file failed: {status.problem.get('detail')}"
            when = (
                "with the next event that makes new runs"
                if status.retry is None
                else f"at {status.retry:{_TIME_FORMAT}}"
            )
            raise InternalError(why, remedy=f"It is retried {when}.") from None
        waiting = RunNotReady(value=int(number), remedy=f"Retry after {_RETRY_SECONDS} seconds.")
        return problem_response(request, waiting, headers={"Retry-After": str(_RETRY_SECONDS)})
