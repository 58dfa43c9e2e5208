"""The catalogue: standard things whose sizes nobody has to measure."""

from functools import lru_cache
from hashlib import sha256
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.http.errors import ParameterRefused, ThingUnknown
from api.http.problems import refusals
from api.http.ranges import entity_tag, tag_listed
from worker.spec.errors import SpecError
from worker.spec.items.catalogue import CatalogueEntry, catalogue, lookup
from worker.spec.manifest.manifest import JSON_TYPE

__all__ = ["CatalogueDocument", "catalogue_document", "router"]

#: The catalogue is the same for everyone and changes only with the program: an hour without asking, then by its tag.
_CACHING: Final = "public, max-age=3600"


class CatalogueDocument(BaseModel):
    """Standard things, category by category."""

    model_config = ConfigDict(frozen=True)

    things: tuple[CatalogueEntry, ...] = Field(description="Each with the source of its sizes.")


def _name_categories(schema: dict[str, Any]) -> None:
    schema["enum"] = list(dict.fromkeys(one.category for one in catalogue()))


class Choice(BaseModel):
    """Which things to list."""

    model_config = ConfigDict(extra="forbid")

    category: Annotated[str, Field(max_length=80, json_schema_extra=_name_categories)] | None = Field(
        default=None, description="Only things of this category."
    )


def catalogue_document(category: str | None = None) -> CatalogueDocument:
    """Return the catalogue, or one category of it.

    Raises:
        ParameterRefused: when there is no such category.
    """
    things = tuple(one for one in catalogue() if category in (None, one.category))
    if not things:
        known = ", ".join(dict.fromkeys(one.category for one in catalogue()))
        error = ParameterRefused("There is no such category.", value=category, limit=f"one of {known}")
        error.parameter = "category"
        raise error
    return CatalogueDocument(things=things)


def _told(model: type[BaseModel], description: str) -> dict[int | str, dict[str, Any]]:
    """Return what the documentation says of an answer that is the same until the program changes.

    Shapes are told of under the names that they have in a spec; the answer gives their lengths as numbers.
    """
    content = {JSON_TYPE: {"schema": {"$ref": f"#/components/schemas/{model.__name__}"}}}
    tag = {"ETag": {"schema": {"type": "string"}, "description": "Digest of the answer, quoted."}}
    return {
        200: {"description": description, "content": content, "headers": tag},
        304: {"description": "The client has it already (If-None-Match).", "headers": tag},
    }


router = APIRouter(prefix="/v1/catalogue", tags=["catalogue"])


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listCatalogue",
    summary="Standard things",
    response_model=None,
    responses={**_told(CatalogueDocument, "The things, category by category."), **refusals(ParameterRefused)},
)
def list_catalogue(request: Request, choice: Annotated[Choice, Query()]) -> Response:
    """List the things that an item's shape may name by their id, with their sizes and sources."""
    return _answer(request, *_listed(choice.category))


@router.head("/{thing_id}", include_in_schema=False)
@router.get(
    "/{thing_id}",
    operation_id="getCatalogueEntry",
    summary="One standard thing",
    response_model=None,
    responses={**_told(CatalogueEntry, "The thing."), **refusals(ThingUnknown)},
)
def get_catalogue_entry(request: Request, thing_id: str) -> Response:
    """Tell the sizes of one thing, and where they come from."""
    return _answer(request, *_written(_entry(thing_id)))


def _entry(thing_id: str) -> CatalogueEntry:
    try:
        return lookup(thing_id)
    except SpecError as unknown:
        raise ThingUnknown(value=thing_id, limit=unknown.limit, remedy=unknown.remedy) from None


def _answer(request: Request, body: bytes, tag: str) -> Response:
    headers = {"ETag": tag, "Cache-Control": _CACHING}
    match = request.headers.get("if-none-match")
    if match is not None and tag_listed(match, tag, weak=True):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    if request.method == "HEAD":
        return Response(headers={**headers, "Content-Length": str(len(body))}, media_type=JSON_TYPE)
    return Response(body, headers=headers, media_type=JSON_TYPE)


@lru_cache(maxsize=32)
def _listed(category: str | None) -> tuple[bytes, str]:
    return _written(catalogue_document(category))


def _written(document: BaseModel) -> tuple[bytes, str]:
    body = document.model_dump_json().encode()
    return body, entity_tag(sha256(body).hexdigest())
