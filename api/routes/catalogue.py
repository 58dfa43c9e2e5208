"""The catalogue of standard things, whose sizes nobody needs to measure."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.http.problems.errors import ParameterRefused, ThingUnknown
from api.http.problems.problem_documents import refusals
from api.http.requests.preconditions import not_modified
from api.http.responses.ranges import content_tag
from worker.spec.errors import SpecError
from worker.spec.items.catalogue import CatalogueEntry, catalogue, first_entries, lookup
from worker.spec.manifest import JSON_TYPE

__all__ = ["CatalogueDocument", "catalogue_document", "router"]

#: The catalogue is public and changes only with the program: caches keep it for an hour, then revalidate its ETag.
_CACHING: Final = "public, max-age=3600"


class CatalogueDocument(BaseModel):
    """Standard things, grouped by category."""

    model_config = ConfigDict(frozen=True)

    things: tuple[CatalogueEntry, ...] = Field(description="Each thing with the source of its sizes.")


def _list_categories(schema: dict[str, Any]) -> None:
    schema["enum"] = _categories()


def _categories() -> list[str]:
    return list(dict.fromkeys(entry.category for entry in catalogue()))


class CatalogueQuery(BaseModel):
    """The query parameters of a catalogue request."""

    model_config = ConfigDict(extra="forbid")

    category: Annotated[str, Field(max_length=80, json_schema_extra=_list_categories)] | None = Field(
        default=None, description="List only things of this category."
    )


def catalogue_document(category: str | None = None) -> CatalogueDocument:
    """Return the catalogue, or one category of it.

    Raises:
        ParameterRefused: when the category does not exist.
    """
    things = tuple(entry for entry in catalogue() if category in (None, entry.category))
    if not things:
        limit = f"one of {', '.join(_categories())}"
        raise ParameterRefused.of("category", "The category does not exist.", category, limit=limit)
    return CatalogueDocument(things=things)


def _cached_answers(example: BaseModel, description: str) -> dict[int | str, dict[str, Any]]:
    """Return the OpenAPI responses of a document that stays the same until the program changes.

    Shapes appear in the schema as in a spec, where a length may be text; the response has all lengths as numbers.
    """
    schema = {"$ref": f"#/components/schemas/{type(example).__name__}"}
    content = {JSON_TYPE: {"schema": schema, "example": example.model_dump(mode="json", exclude_none=True)}}
    headers = {
        "ETag": {"schema": {"type": "string"}, "description": "The entity tag of the response."},
        "Cache-Control": {"schema": {"type": "string"}, "description": "How long caches may keep the response."},
    }
    return {
        200: {"description": description, "content": content, "headers": headers},
        304: {"description": "The client's copy is current (If-None-Match).", "headers": headers},
    }


router = APIRouter(prefix="/v1/catalogue", tags=["catalogue"])


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listCatalogue",
    summary="List standard things",
    response_model=None,
    responses={
        **_cached_answers(CatalogueDocument(things=first_entries(2)), "The things, grouped by category."),
        **refusals(ParameterRefused),
    },
)
def list_catalogue(request: Request, query: Annotated[CatalogueQuery, Query()]) -> Response:
    """List the things that an item of a spec can name by id, with their sizes and the sources of these."""
    return _respond(request, *_body_and_tag(catalogue_document(query.category)))


@router.head("/{entry_id}", include_in_schema=False)
@router.get(
    "/{entry_id}",
    operation_id="getCatalogueEntry",
    summary="Get a standard thing",
    response_model=None,
    responses={**_cached_answers(first_entries(1)[0], "The thing."), **refusals(ThingUnknown)},
)
def get_catalogue_entry(
    request: Request, entry_id: Annotated[str, Path(description="The id of the thing in the catalogue.")]
) -> Response:
    """Get the sizes of one thing and their source."""
    return _respond(request, *_body_and_tag(_entry(entry_id)))


def _entry(entry_id: str) -> CatalogueEntry:
    try:
        return lookup(entry_id)
    except SpecError as error:
        raise ThingUnknown(value=entry_id, limit=error.limit, remedy=error.remedy) from None


def _respond(request: Request, body: bytes, tag: str) -> Response:
    headers = {"ETag": tag, "Cache-Control": _CACHING}
    if (unchanged := not_modified(request, headers)) is not None:
        return unchanged
    if request.method == "HEAD":
        return Response(headers={**headers, "Content-Length": str(len(body))}, media_type=JSON_TYPE)
    return Response(body, headers=headers, media_type=JSON_TYPE)


def _body_and_tag(document: BaseModel) -> tuple[bytes, str]:
    body = document.model_dump_json().encode()
    return body, content_tag(body)
