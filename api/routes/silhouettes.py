"""Silhouettes: outlines of things from photos, drawings, models and corners."""

import asyncio
import time
from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from api.app_state import JobServiceDep, state_of
from api.auth.access import caller_of
from api.documents.silhouettes import SilhouetteDocument, SilhouettePage, silhouette_document
from api.http.problems.errors import (
    BodyTooLarge,
    BodyTooSlow,
    BodyTypeRefused,
    HeaderRefused,
    ParameterRefused,
    RequestRefused,
)
from api.http.problems.problem_documents import refusals
from api.http.requests.body import check_type, load_noun, read_noun
from api.http.requests.idempotency import IDEMPOTENCY_PARAMETER, IdempotencyKeyDep
from api.http.requests.preconditions import IF_MATCH_PARAMETER, not_modified
from api.http.requests.preferences import APPLIED, PREFER_PARAMETER, PreferencesDep
from api.http.requests.query_time import QueryTime
from api.http.requests.revisions import REVISION_TAG, UNCHANGED, required_revision, revised_response
from api.http.requests.upload import read_upload
from api.http.responses.file_routes import file_route
from api.http.responses.pages import link_next, next_url
from api.http.responses.ranges import content_tag
from api.routes.household.pages import ListQuery, example_body, linked_pages, revised
from worker.jobs.common.errors import (
    BlobMissing,
    HouseholdConflict,
    PreconditionFailed,
    QuotaReached,
    RequestRepeated,
    SilhouetteNotFound,
    SilhouetteNotReady,
    SilhouetteRefused,
)
from worker.jobs.common.principal import Principal
from worker.jobs.job_service import JobService
from worker.jobs.records.silhouettes import StoredSilhouette
from worker.jobs.silhouette_service import MOST_FILES
from worker.silhouettes.errors import SilhouetteError
from worker.spec.manifest import JSON_TYPE, PNG_TYPE, SVG_TYPE
from worker.spec.requests.silhouette import OutlineRequest, PolygonRequest, SilhouetteRequest

__all__ = ["router"]

router = APIRouter(prefix="/v1/silhouettes", tags=["silhouettes"])

#: Largest body with corners, in bytes.
_LARGEST_POLYGON: Final = 512 * 1024

_MULTIPART: Final = "multipart/form-data"

#: Seconds between two looks at a silhouette that a client waits for.
_LOOK_SECONDS: Final = 0.25

_POLYGON: Final[dict[str, Any]] = {
    "name": "shim",
    "points": [[0, 0], [40, 0], [40, 20], [0, 20]],
    "holes": [[[10, 10], [14, 10], [12, 13]]],
    "depth": 2,
}
_DRAWING: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="20mm" viewBox="0 0 40 20">'
    '<path d="M0 0h40v20h-40z"/></svg>'
)
_OUTLINE: Final[dict[str, Any]] = {"points": [[0, 0], [41, 0], [41, 20], [0, 20]]}

_LOCATION: Final = {"Location": {"schema": {"type": "string", "format": "uri"}, "description": "The silhouette."}}
_RETRY_AFTER: Final = {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait before polling."}}
_BODY_ERRORS: Final = (SilhouetteRefused, SilhouetteError, BodyTooLarge, BodyTooSlow, BodyTypeRefused)

_UPLOAD: Final[dict[str, Any]] = {
    "type": "object",
    "required": ["file"],
    "additionalProperties": False,
    "properties": {
        "file": {
            "type": "array",
            "minItems": 1,
            "maxItems": MOST_FILES,
            "items": {"type": "string", "format": "binary"},
            "description": "One or two photos on the reference sheet (JPEG, PNG, WebP, HEIC), or one drawing (SVG, "
            "DXF) or model (STL, 3MF, OBJ). The end of the file's name says which.",
        },
        "options": {"$ref": "#/components/schemas/SilhouetteRequest"},
    },
}
_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            _MULTIPART: {
                "schema": _UPLOAD,
                "encoding": {"options": {"contentType": "application/json"}},
                "examples": {"drawing": {"value": {"file": [_DRAWING], "options": {"name": "shim", "thickness": 2}}}},
            },
            **example_body("PolygonRequest", polygon=_POLYGON)["requestBody"]["content"],
        },
    },
    "parameters": [IDEMPOTENCY_PARAMETER, PREFER_PARAMETER],
}


class SilhouetteQuery(ListQuery):
    """The query parameters of a list of silhouettes."""

    name: str | None = Field(
        default=None, min_length=1, max_length=80, description="List only silhouettes whose name contains this text."
    )
    tag: list[Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")]] = Field(
        default=[], max_length=5, description="List only silhouettes with this tag. Repeat it to require several tags."
    )
    changed_after: QueryTime | None = Field(
        default=None, description="List only silhouettes that were sent, read or corrected after this time."
    )


async def read_outline(request: Request) -> OutlineRequest:
    """Return the corrected outline in the body.

    Raises:
        SilhouetteRefused: with every fault of the body.
    """
    return await read_noun(request, OutlineRequest, _LARGEST_POLYGON, SilhouetteRefused, "outline")


@router.post(
    "",
    status_code=HTTPStatus.ACCEPTED,
    operation_id="submitSilhouette",
    summary="Make a silhouette",
    responses={
        201: {
            "model": SilhouetteDocument,
            "description": "The silhouette was read, or is made of the corners that were sent.",
            "headers": {**REVISION_TAG, **_LOCATION, **APPLIED},
        },
        202: {
            "model": SilhouetteDocument,
            "description": "The files wait for a worker.",
            "headers": {**REVISION_TAG, **_LOCATION, **APPLIED, **_RETRY_AFTER},
        },
        **refusals(*_BODY_ERRORS, RequestRefused, HeaderRefused, QuotaReached, RequestRepeated),
    },
    response_class=Response,
    openapi_extra=_BODY,
)
async def submit_silhouette(
    request: Request, job_service: JobServiceDep, key: IdempotencyKeyDep, preferred: PreferencesDep
) -> Response:
    """Send the files that show a thing, or the corners of its outline. A worker reads files; follow Location.

    Files are deleted once they are read, unless the options have `keep`. A request repeated with the same
    Idempotency-Key returns the silhouette of the first request.
    """
    caller = caller_of(request)
    if check_type(request, _MULTIPART, JSON_TYPE) == _MULTIPART:
        upload = await read_upload(request, state_of(request.app).settings.largest_upload, MOST_FILES)
        options = load_noun(upload.options, SilhouetteRequest, SilhouetteRefused, "silhouette")
        made = await run_in_threadpool(job_service.silhouettes.submit, caller, options, upload.files, key)
    else:
        polygon = await read_noun(request, PolygonRequest, _LARGEST_POLYGON, SilhouetteRefused, "silhouette")
        made = await run_in_threadpool(job_service.silhouettes.add_polygon, caller, polygon, key)
    made = await _ended(job_service, caller, made, preferred.wait)
    document = silhouette_document(request, made)
    status = HTTPStatus.CREATED if made.ended else HTTPStatus.ACCEPTED
    response = revised_response(request, document, made.revision, status=status, location=document.links.self)
    response.headers.update(preferred.applied())
    if not made.ended:
        response.headers["Retry-After"] = "1"
    return response


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listSilhouettes",
    summary="List silhouettes",
    responses={**linked_pages("The silhouettes, newest first."), **refusals(ParameterRefused)},
)
def list_silhouettes(
    request: Request, response: Response, job_service: JobServiceDep, page: Annotated[SilhouetteQuery, Query()]
) -> SilhouettePage:
    """List silhouettes, newest first."""
    sees = caller_of(request).sees
    listed = job_service.silhouettes.records.latest(
        sees, page.limit + 1, page.after, name=page.name, tags=page.tag, changed_after=page.changed_after
    )
    following = next_url(request, "silhouettes", (silhouette.id for silhouette in listed), page)
    link_next(response, following)
    documents = tuple(silhouette_document(request, silhouette) for silhouette in listed[: page.limit])
    return SilhouettePage(silhouettes=documents, next=following)


@router.head("/{silhouette_id}", include_in_schema=False)
@router.get(
    "/{silhouette_id}",
    operation_id="getSilhouette",
    summary="Get a silhouette",
    responses={
        200: {
            "model": SilhouetteDocument,
            "description": "The silhouette.",
            "headers": {**REVISION_TAG, **APPLIED, **_RETRY_AFTER},
        },
        **UNCHANGED,
        **refusals(SilhouetteNotFound, HeaderRefused),
    },
    response_class=Response,
    openapi_extra={"parameters": [PREFER_PARAMETER]},
)
async def get_silhouette(
    request: Request, job_service: JobServiceDep, silhouette_id: str, preferred: PreferencesDep
) -> Response:
    """Get a silhouette: its state, and its outline once it has been read."""
    caller = caller_of(request)
    silhouette = await run_in_threadpool(job_service.silhouettes.find, caller, silhouette_id)
    silhouette = await _ended(job_service, caller, silhouette, preferred.wait)
    response = revised_response(request, silhouette_document(request, silhouette), silhouette.revision)
    response.headers.update(preferred.applied())
    if not silhouette.ended:
        response.headers["Retry-After"] = "1"
    return response


@file_route(
    router,
    "/{silhouette_id}/outline.svg",
    name="SilhouetteDrawing",
    summary="Download the outline as a drawing",
    head_summary="Get the entity tag of the drawing",
    responses={
        200: {
            "description": "The outline at full size with its dimensions.",
            "content": {SVG_TYPE: {"schema": {"type": "string", "format": "binary"}}},
            "headers": REVISION_TAG,
        },
        **UNCHANGED,
        **refusals(SilhouetteNotFound, SilhouetteNotReady),
    },
)
def get_drawing(request: Request, job_service: JobServiceDep, silhouette_id: str) -> Response:
    """Download the outline as SVG at full size: print it at 100 % and lay the thing on it."""
    _, drawing = job_service.silhouettes.drawing(caller_of(request), silhouette_id)
    return _file(request, drawing.encode(), SVG_TYPE)


@file_route(
    router,
    "/{silhouette_id}/overlay.png",
    name="SilhouetteOverlay",
    summary="Download the outline over the photo",
    head_summary="Get the entity tag of the picture",
    responses={
        200: {
            "description": "The rectified photo with the outline.",
            "content": {PNG_TYPE: {"schema": {"type": "string", "format": "binary"}}},
            "headers": REVISION_TAG,
        },
        **UNCHANGED,
        **refusals(SilhouetteNotFound, SilhouetteNotReady, BlobMissing, ParameterRefused),
    },
)
def get_overlay(
    request: Request,
    job_service: JobServiceDep,
    silhouette_id: str,
    *,
    lines: Annotated[bool, Query(description="False leaves out the outline: below one that is corrected.")] = True,
) -> Response:
    """Download the rectified photo with the outline as it was read, to look at before using it."""
    return _file(request, job_service.silhouettes.overlay(caller_of(request), silhouette_id, lines=lines), PNG_TYPE)


@router.put(
    "/{silhouette_id}/outline",
    operation_id="correctSilhouette",
    summary="Correct the outline by hand",
    responses={
        **revised(SilhouetteDocument, "The silhouette with the new outline."),
        **refusals(SilhouetteNotFound, SilhouetteNotReady, PreconditionFailed, *_BODY_ERRORS),
    },
    response_class=Response,
    openapi_extra=example_body("OutlineRequest", IF_MATCH_PARAMETER, outline=_OUTLINE),
)
def correct_silhouette(
    request: Request,
    job_service: JobServiceDep,
    silhouette_id: str,
    outline: Annotated[OutlineRequest, Depends(read_outline)],
) -> Response:
    """Replace the outline by a corrected one. A silhouette that could not be read gets one in this way too."""
    caller, service = caller_of(request), job_service.silhouettes
    revision = required_revision(request, service.find(caller, silhouette_id).revision)
    changed = service.correct(caller, silhouette_id, outline, revision)
    return revised_response(request, silhouette_document(request, changed), changed.revision)


@router.delete(
    "/{silhouette_id}",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removeSilhouette",
    summary="Remove a silhouette",
    response_description="The silhouette and its files were removed.",
    responses=refusals(SilhouetteNotFound, HouseholdConflict, PreconditionFailed),
    response_class=Response,
    openapi_extra={"parameters": [IF_MATCH_PARAMETER]},
)
def remove_silhouette(request: Request, job_service: JobServiceDep, silhouette_id: str) -> None:
    """Remove a silhouette with its files. Specs that were sent with it keep its outline."""
    caller, service = caller_of(request), job_service.silhouettes
    service.remove(caller, silhouette_id, required_revision(request, service.find(caller, silhouette_id).revision))


async def _ended(
    job_service: JobService, caller: Principal, silhouette: StoredSilhouette, seconds: float
) -> StoredSilhouette:
    """Return a silhouette as soon as it has been read, or as it is after so many seconds."""
    deadline = time.monotonic() + seconds
    while not silhouette.ended and time.monotonic() < deadline:
        await asyncio.sleep(_LOOK_SECONDS)
        silhouette = await run_in_threadpool(job_service.silhouettes.find, caller, silhouette.id)
    return silhouette


def _file(request: Request, data: bytes, media_type: str) -> Response:
    headers = {"ETag": content_tag(data), "Cache-Control": "no-cache"}
    return not_modified(request, headers) or Response(data, headers=headers, media_type=media_type)
