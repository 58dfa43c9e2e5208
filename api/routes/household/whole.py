"""The household as a whole: export, import, and a report on what could be tidied."""

from http import HTTPStatus
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api.app_state import AppStateDep, JobServiceDep
from api.auth.access import caller_of
from api.documents.household_report import HouseholdReport, report_document
from api.http.problems.errors import ParameterRefused, ScopeMissing
from api.http.problems.problem_documents import refusals
from api.http.requests.base_url import base_of
from api.http.requests.body import load_noun, read_json
from api.http.requests.preconditions import IF_NONE_MATCH_PARAMETER, not_modified
from api.http.responses.ranges import content_tag
from api.routes.household.pages import BODY_ERRORS, example_body
from worker.jobs.common.errors import DrawerNotFound, HouseholdConflict, HouseholdRefused, QuotaReached
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.common.principal import Principal
from worker.jobs.job_service import JobService
from worker.spec.manifest import JSON_TYPE
from worker.spec.reading.json_limits import HOUSEHOLD_LIMITS
from worker.spec.requests.household_document import HouseholdDocument

__all__ = ["router"]

router = APIRouter(prefix="/v1/household", tags=["household"])

_EXAMPLE: Final[dict[str, Any]] = {
    "household": "1",
    "drawers": [
        {
            "id": "01k9x5m8w2q4r6t8v0y2a4c6e8",
            "created": "2026-03-07T18:42:00Z",
            "drawer": {"name": "top drawer", "width": [300.0], "depth": [400.0], "height": 60.0},
        }
    ],
    "things": [
        {
            "id": "01k9x5n3p5r7t9w1y3a5c7e9g1",
            "thing": {
                "name": "calliper",
                "shape": {"kind": "box", "size": [235.0, 78.0, 16.0]},
                "drawer": "01k9x5m8w2q4r6t8v0y2a4c6e8",
            },
        }
    ],
    "pieces": [],
}


class ImportQuery(BaseModel):
    """The query parameters of an import."""

    model_config = ConfigDict(extra="forbid")

    ids: Literal["keep", "new"] = Field(
        default="keep",
        description="`keep`: the ids of the document, which have to be free. `new`: ids of its own for each entry.",
    )


class ReportQuery(BaseModel):
    """The query parameters of a report."""

    model_config = ConfigDict(extra="forbid")

    drawer: str | None = Field(default=None, pattern=f"^{ID_PATTERN}$", description="Report on this drawer only.")


class ImportedCounts(BaseModel):
    """The number of entries that were added."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"drawers": 1, "things": 1, "pieces": 0}]})

    drawers: int = Field(ge=0, description="Drawers.")
    things: int = Field(ge=0, description="Things.")
    pieces: int = Field(ge=0, description="Pieces.")


async def read_body(request: Request) -> bytes:
    """Return the body, which is read as a household while no other one is imported."""
    return await read_json(request, HOUSEHOLD_LIMITS.size, "Leave out pieces that are retired.")


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="exportHousehold",
    summary="Export the household",
    responses={
        200: {
            "description": "The household.",
            "content": {
                JSON_TYPE: {
                    "schema": {"$ref": "#/components/schemas/HouseholdDocument"},
                    "examples": {"one_drawer": {"value": _EXAMPLE}},
                }
            },
            "headers": {"ETag": {"schema": {"type": "string"}, "description": "The content, for If-None-Match."}},
        },
        304: {"description": "The client's copy is current (If-None-Match)."},
    },
    response_class=Response,
    openapi_extra={"parameters": [IF_NONE_MATCH_PARAMETER]},
)
def export_household(request: Request, job_service: JobServiceDep) -> Response:
    """Export all drawers, things and pieces as one document, which another service can import. Jobs are no part of it.

    The same household gives the same bytes. The schema is published as `openapi/household.schema.json`.
    """
    document = job_service.household.export(caller_of(request).sees)
    body = document.model_dump_json(exclude_unset=True).encode()
    headers = {"ETag": content_tag(body)}
    return not_modified(request, headers) or Response(body, headers=headers, media_type=JSON_TYPE)


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    operation_id="importHousehold",
    summary="Import a household",
    responses={
        201: {"description": "Everything was added."},
        **refusals(HouseholdConflict, QuotaReached, ParameterRefused, ScopeMissing, *BODY_ERRORS),
    },
    openapi_extra=example_body("HouseholdDocument", one_drawer=_EXAMPLE),
)
async def import_household(
    request: Request,
    response: Response,
    *,
    state: AppStateDep,
    job_service: JobServiceDep,
    body: Annotated[bytes, Depends(read_body)],
    query: Annotated[ImportQuery, Query()],
) -> ImportedCounts:
    """Add a household to that of the calling key: all of it, or nothing. What is there already stays as it is.

    An id that is taken refuses the document, with a pointer to each. With pieces the key needs the scope record too.
    """
    async with state.importing:
        counts = await run_in_threadpool(_import, job_service, caller_of(request), body, new_ids=query.ids == "new")
    response.headers["Location"] = f"{base_of(request)}/v1/household"
    return counts


def _import(job_service: JobService, caller: Principal, body: bytes, *, new_ids: bool) -> ImportedCounts:
    """Add the household in a body.

    Raises:
        HouseholdRefused: with every fault of the body.
        ScopeMissing: if it has pieces, which the caller may not record.
        HouseholdConflict, QuotaReached: as `Household.add`.
    """
    household = load_noun(body, HouseholdDocument, HouseholdRefused, "household", HOUSEHOLD_LIMITS)
    if household.pieces and not caller.may("record"):
        raise ScopeMissing(
            value=sorted(caller.scopes), limit="record", remedy="Use an API key with the scopes submit and record."
        )
    job_service.household.add(caller.owner, household, new_ids=new_ids)
    return ImportedCounts(drawers=len(household.drawers), things=len(household.things), pieces=len(household.pieces))


@router.head("/report", include_in_schema=False)
@router.get(
    "/report",
    operation_id="reportHousehold",
    summary="Report what could be tidied",
    response_description="The report.",
    responses=refusals(DrawerNotFound, ParameterRefused),
)
def report_household(
    request: Request, job_service: JobServiceDep, query: Annotated[ReportQuery, Query()]
) -> HouseholdReport:
    """Report the free floor of drawers, things that take much of it and are used rarely, and things in several drawers.

    Nothing is changed.
    """
    return report_document(job_service.household.report(caller_of(request).sees, query.drawer))
