"""Drawers of the household: describe, list, change and remove them, and see what they hold."""

from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.drawer_contents import ContentsDocument, contents_document
from api.documents.household import DrawerDocument, DrawerPage, drawer_document
from api.documents.print_progress import PrintWork
from api.http.problems.errors import ParameterRefused
from api.http.problems.problem_documents import refusals
from api.http.requests.body import read_noun
from api.http.requests.preconditions import IF_MATCH_PARAMETER
from api.http.requests.revisions import UNCHANGED, required_revision, revised_response
from api.http.responses.pages import link_next, next_url
from api.routes.household.pages import (
    BODY_ERRORS,
    LARGEST_BODY,
    ListQuery,
    created,
    example_body,
    linked_pages,
    revised,
)
from worker.jobs.common.errors import (
    BlobMissing,
    DrawerNotFound,
    DrawerNotLaidOut,
    HouseholdRefused,
    JobNotFound,
    JobNotReady,
    PreconditionFailed,
    QuotaReached,
    RunsUnknown,
    ThingNotFound,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.household.layouts import PrintedJob
from worker.jobs.household.models import StoredDrawer
from worker.jobs.job_service import JobService
from worker.spec.manifest import SVG_TYPE
from worker.spec.requests.household import DrawerRequest, LayoutRequest

__all__ = ["router"]

router = APIRouter(prefix="/v1/drawers", tags=["household"])

_EXAMPLE: Final[dict[str, Any]] = {
    "name": "top drawer",
    "width": [300, 299],
    "depth": 400,
    "height": "60 mm",
    "place": "in the workshop",
    "tags": ["tools"],
    "printer": {"bed": [220, 220, 220]},
}


class DrawerQuery(ListQuery):
    """The query parameters of a list of drawers."""

    name: str | None = Field(
        default=None, min_length=1, max_length=80, description="List only drawers whose name contains this text."
    )
    tag: str | None = Field(default=None, min_length=1, max_length=80, description="List only drawers with this tag.")


class MapQuery(BaseModel):
    """The query parameters of a map."""

    model_config = ConfigDict(extra="forbid")

    thing: str | None = Field(default=None, pattern=f"^{ID_PATTERN}$", description="The thing whose places are marked.")


async def read_drawer(request: Request) -> DrawerRequest:
    """Return the drawer in the body.

    Raises:
        HouseholdRefused: with every fault of the body.
    """
    return await read_noun(request, DrawerRequest, LARGEST_BODY, HouseholdRefused, "drawer")


async def read_layout(request: Request) -> LayoutRequest:
    """Return the job and drawer in the body.

    Raises:
        HouseholdRefused: with every fault of the body.
    """
    return await read_noun(request, LayoutRequest, LARGEST_BODY, HouseholdRefused, "layout")


_DrawerBody = Annotated[DrawerRequest, Depends(read_drawer)]
_CHANGED: Final = revised(DrawerDocument, "The drawer as it is now.")


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    operation_id="createDrawer",
    summary="Add a drawer",
    responses={
        **created(DrawerDocument, "drawer"),
        **refusals(QuotaReached, *BODY_ERRORS),
    },
    response_class=Response,
    openapi_extra=example_body("DrawerRequest", measured=_EXAMPLE),
)
def create_drawer(request: Request, job_service: JobServiceDep, drawer: _DrawerBody) -> Response:
    """Add a drawer to the household, so that jobs can name it by id. The key needs the scope submit."""
    made = job_service.household.drawers.create(caller_of(request).owner, drawer)
    document = drawer_document(request, made, {})
    return revised_response(request, document, made.revision, status=HTTPStatus.CREATED, location=document.links.self)


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listDrawers",
    summary="List drawers",
    responses={**linked_pages("The drawers, newest first."), **refusals(ParameterRefused)},
)
def list_drawers(
    request: Request, response: Response, job_service: JobServiceDep, page: Annotated[DrawerQuery, Query()]
) -> DrawerPage:
    """List the drawers of the household, newest first."""
    records = job_service.household.drawers
    drawers = records.list(caller_of(request).sees, page.limit + 1, page.after, name=page.name, tag=page.tag)
    following = next_url(request, "drawers", (drawer.id for drawer in drawers), page)
    link_next(response, following)
    shown = drawers[: page.limit]
    counts = records.piece_counts([drawer.id for drawer in shown])
    return DrawerPage(
        drawers=tuple(drawer_document(request, drawer, counts[drawer.id]) for drawer in shown), next=following
    )


@router.head("/{drawer_id}", include_in_schema=False)
@router.get(
    "/{drawer_id}",
    operation_id="getDrawer",
    summary="Get a drawer",
    responses={
        **revised(DrawerDocument, "The drawer."),
        **UNCHANGED,
        **refusals(DrawerNotFound),
    },
    response_class=Response,
)
def get_drawer(request: Request, job_service: JobServiceDep, drawer_id: str) -> Response:
    """Get a drawer: its description, the job that laid it out, and the number of its pieces."""
    return _respond(request, job_service, job_service.household.drawers.find(drawer_id, caller_of(request).sees))


@router.put(
    "/{drawer_id}",
    operation_id="replaceDrawer",
    summary="Change a drawer",
    responses={**_CHANGED, **refusals(DrawerNotFound, PreconditionFailed, *BODY_ERRORS)},
    response_class=Response,
    openapi_extra=example_body("DrawerRequest", IF_MATCH_PARAMETER, measured=_EXAMPLE),
)
def replace_drawer(request: Request, job_service: JobServiceDep, drawer_id: str, drawer: _DrawerBody) -> Response:
    """Replace the description of a drawer. What was printed for it stays as it is."""
    records, sees = job_service.household.drawers, caller_of(request).sees
    revision = required_revision(request, records.find(drawer_id, sees).revision)
    return _respond(request, job_service, records.replace(drawer_id, sees, drawer, revision))


@router.delete(
    "/{drawer_id}",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeDrawer",
    summary="Remove a drawer",
    response_description="The drawer was removed.",
    responses=refusals(DrawerNotFound, PreconditionFailed),
    response_class=Response,
    openapi_extra={"parameters": [IF_MATCH_PARAMETER]},
)
def remove_drawer(request: Request, job_service: JobServiceDep, drawer_id: str) -> None:
    """Remove a drawer. Its pieces become spare, and its things stay, in no drawer."""
    records, sees = job_service.household.drawers, caller_of(request).sees
    records.remove(drawer_id, sees, required_revision(request, records.find(drawer_id, sees).revision))


@router.head("/{drawer_id}/contents", include_in_schema=False)
@router.get(
    "/{drawer_id}/contents",
    operation_id="getDrawerContents",
    summary="Get the contents of a drawer",
    response_description="The contents.",
    responses=refusals(DrawerNotFound, DrawerNotLaidOut),
)
def get_drawer_contents(request: Request, job_service: JobServiceDep, drawer_id: str) -> ContentsDocument:
    """Get each place of a drawer with the piece that lies there and the things in it."""
    household = job_service.household
    held = household.contents(drawer_id, caller_of(request).sees)
    return contents_document(request, held, household.things.in_drawer(drawer_id))


@router.head("/{drawer_id}/map.svg", include_in_schema=False)
@router.get(
    "/{drawer_id}/map.svg",
    operation_id="getDrawerMap",
    summary="Get a map of a drawer",
    responses={
        200: {"description": "The map.", "content": {SVG_TYPE: {"schema": {"type": "string", "format": "binary"}}}},
        **refusals(DrawerNotFound, DrawerNotLaidOut, ThingNotFound, ParameterRefused),
    },
    response_class=Response,
)
def get_drawer_map(
    request: Request, job_service: JobServiceDep, drawer_id: str, query: Annotated[MapQuery, Query()]
) -> Response:
    """Get a map of a drawer as it is laid out, with the places of a thing marked."""
    from worker.output.drawings.place_map import write_place_map  # noqa: PLC0415 - a service at rest needs no drawings

    household, sees = job_service.household, caller_of(request).sees
    held = household.contents(drawer_id, sees)
    (entry,) = held.manifest.drawers
    title, marked = held.drawer.request.name, []
    if query.thing is not None:
        thing = household.things.find(query.thing, sees)
        numbers = household.things.in_drawer(drawer_id)
        title = f"{thing.request.name} in {title}"
        marked = [content for number, content in enumerate(entry.contents) if numbers.get(number) == thing.id]
    parts = {part.mark: part for part in held.manifest.parts}
    return Response(write_place_map(entry, parts, marked, title), media_type=SVG_TYPE)


@router.put(
    "/{drawer_id}/layout",
    operation_id="placeWholeDrawer",
    summary="Record a whole drawer as placed",
    responses={
        **_CHANGED,
        **refusals(
            DrawerNotFound, PreconditionFailed, JobNotFound, JobNotReady, RunsUnknown, BlobMissing, *BODY_ERRORS
        ),
    },
    response_class=Response,
    openapi_extra=example_body("LayoutRequest", IF_MATCH_PARAMETER, job={"job": "01k9x5q2c4e6g8j0m2p4r6t8w0"}),
)
def place_whole_drawer(
    request: Request, job_service: JobServiceDep, drawer_id: str, layout: Annotated[LayoutRequest, Depends(read_layout)]
) -> Response:
    """Record that a drawer is as a job laid it out, with a piece in every place.

    Print events do this piece by piece. This is for drawers whose parts were printed and placed before.
    """
    household, sees = job_service.household, caller_of(request).sees
    revision = required_revision(request, household.drawers.find(drawer_id, sees).revision)
    work = PrintWork.read(job_service, layout.job)
    job = PrintedJob(layout.job, work.spec, work.manifest)
    return _respond(request, job_service, household.lay_out(drawer_id, sees, job, layout.drawer, revision))


def _respond(request: Request, job_service: JobService, drawer: StoredDrawer) -> Response:
    counts = job_service.household.drawers.piece_counts([drawer.id])[drawer.id]
    return revised_response(request, drawer_document(request, drawer, counts), drawer.revision)
