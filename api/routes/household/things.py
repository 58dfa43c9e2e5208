"""Things of the household: describe, list, change and remove them."""

from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import Field

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.household import ThingDocument, ThingPage, thing_document
from api.documents.whereabouts import thing_match
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
    DrawerNotFound,
    HouseholdRefused,
    PreconditionFailed,
    QuotaReached,
    SilhouetteNotFound,
    ThingNotFound,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.household.things import ThingFilters
from worker.jobs.job_service import JobService
from worker.spec.items.item import Access
from worker.spec.requests.household import ThingRequest

__all__ = ["router"]

router = APIRouter(prefix="/v1/things", tags=["household"])

_EXAMPLE: Final[dict[str, Any]] = {
    "name": "calliper",
    "shape": {"kind": "box", "size": [235, 78, 16]},
    "tags": ["measuring"],
    "access": "often",
}
_STANDARD: Final[dict[str, Any]] = {
    "name": "batteries",
    "shape": {"kind": "standard", "id": "battery-aa"},
    "count": 12,
    "place": "on the shelf by the door",
}


class ThingQuery(ListQuery):
    """The query parameters of a list of things."""

    q: str | None = Field(
        default=None,
        min_length=1,
        max_length=200,
        description="Search by name, tag or catalogue name; typing errors and word forms are tolerated. The best "
        "matches come first, with where they lie. A search has no further pages and no other conditions.",
    )
    name: str | None = Field(
        default=None, min_length=1, max_length=80, description="List only things whose name contains this text."
    )
    tag: str | None = Field(default=None, min_length=1, max_length=80, description="List only things with this tag.")
    drawer: str | None = Field(
        default=None, pattern=f"^{ID_PATTERN}$", description="List only things that belong in this drawer."
    )
    access: Access | None = Field(default=None, description="List only things that are used this often.")

    def filters(self) -> ThingFilters:
        """Return the conditions."""
        return ThingFilters(self.name, self.tag, self.drawer, self.access)


async def read_thing(request: Request) -> ThingRequest:
    """Return the thing in the body.

    Raises:
        HouseholdRefused: with every fault of the body.
    """
    return await read_noun(request, ThingRequest, LARGEST_BODY, HouseholdRefused, "thing")


_ThingBody = Annotated[ThingRequest, Depends(read_thing)]


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    operation_id="createThing",
    summary="Add a thing",
    responses={
        **created(ThingDocument, "thing"),
        **refusals(QuotaReached, DrawerNotFound, SilhouetteNotFound, *BODY_ERRORS),
    },
    response_class=Response,
    openapi_extra=example_body("ThingRequest", measured=_EXAMPLE, standard=_STANDARD),
)
def create_thing(request: Request, job_service: JobServiceDep, thing: _ThingBody) -> Response:
    """Add a thing to the household, so that jobs can name it by id. The key needs the scope submit."""
    made = job_service.household.things.create(caller_of(request).owner, thing)
    document = thing_document(request, made)
    return revised_response(request, document, made.revision, status=HTTPStatus.CREATED, location=document.self)


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listThings",
    summary="List things",
    responses={
        **linked_pages("The things, newest first; of a search, best match first."),
        **refusals(ParameterRefused),
    },
)
def list_things(
    request: Request, response: Response, job_service: JobServiceDep, page: Annotated[ThingQuery, Query()]
) -> ThingPage:
    """List the things of the household, newest first, or search them (q)."""
    if page.q is not None:
        return _search(request, job_service, page, page.q)
    things = job_service.household.things.list(caller_of(request).sees, page.limit + 1, page.after, page.filters())
    following = next_url(request, "things", (thing.id for thing in things), page)
    link_next(response, following)
    return ThingPage(things=tuple(thing_document(request, thing) for thing in things[: page.limit]), next=following)


@router.head("/{thing_id}", include_in_schema=False)
@router.get(
    "/{thing_id}",
    operation_id="getThing",
    summary="Get a thing",
    responses={
        **revised(ThingDocument, "The thing."),
        **UNCHANGED,
        **refusals(ThingNotFound),
    },
    response_class=Response,
)
def get_thing(request: Request, job_service: JobServiceDep, thing_id: str) -> Response:
    """Get a thing: its description, and the drawer that it belongs in."""
    thing = job_service.household.things.find(thing_id, caller_of(request).sees)
    return revised_response(request, thing_document(request, thing), thing.revision)


@router.put(
    "/{thing_id}",
    operation_id="replaceThing",
    summary="Change a thing",
    responses={
        **revised(ThingDocument, "The thing as it is now."),
        **refusals(ThingNotFound, DrawerNotFound, SilhouetteNotFound, PreconditionFailed, *BODY_ERRORS),
    },
    response_class=Response,
    openapi_extra=example_body("ThingRequest", IF_MATCH_PARAMETER, measured=_EXAMPLE, standard=_STANDARD),
)
def replace_thing(request: Request, job_service: JobServiceDep, thing_id: str, thing: _ThingBody) -> Response:
    """Replace the description of a thing."""
    records, sees = job_service.household.things, caller_of(request).sees
    revision = required_revision(request, records.find(thing_id, sees).revision)
    changed = records.replace(thing_id, sees, thing, revision)
    return revised_response(request, thing_document(request, changed), changed.revision)


@router.delete(
    "/{thing_id}",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeThing",
    summary="Remove a thing",
    response_description="The thing was removed.",
    responses=refusals(ThingNotFound, PreconditionFailed),
    response_class=Response,
    openapi_extra={"parameters": [IF_MATCH_PARAMETER]},
)
def remove_thing(request: Request, job_service: JobServiceDep, thing_id: str) -> None:
    """Remove a thing. The tray that was made for it stays."""
    records, sees = job_service.household.things, caller_of(request).sees
    records.remove(thing_id, sees, required_revision(request, records.find(thing_id, sees).revision))


def _search(request: Request, job_service: JobService, page: ThingQuery, query: str) -> ThingPage:
    """Return the best matches of a search.

    Raises:
        ParameterRefused: if there are conditions beside the query.
    """
    others = page.model_fields_set - {"q", "limit"}
    if others:
        name = min(others)
        raise ParameterRefused.of(
            name, "A search has no other conditions.", getattr(page, name), limit="q and limit", remedy="Remove it."
        )
    located = job_service.household.locate(query, caller_of(request).sees, page.limit)
    things = tuple(thing_document(request, match.thing, thing_match(request, match)) for match in located)
    return ThingPage(things=things, next=None)
