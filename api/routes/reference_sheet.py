"""The reference sheet, to print and to photograph things on."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.http.problems.errors import ParameterRefused
from api.http.problems.problem_documents import refusals
from api.http.requests.preconditions import not_modified
from api.http.responses.file_routes import file_route
from api.http.responses.ranges import content_tag
from worker.silhouettes.photo.sheet import SheetSize, Tint
from worker.spec.manifest import PDF_TYPE

__all__ = ["router"]

#: The sheet is public and changes only with the program: caches keep it for a day, then revalidate its ETag.
_CACHING: Final = "public, max-age=86400"

_RESPONSES: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "description": "The sheet, one page.",
        "content": {PDF_TYPE: {"schema": {"type": "string", "format": "binary"}}},
        "headers": {
            "ETag": {"schema": {"type": "string"}, "description": "The entity tag of the sheet."},
            "Cache-Control": {"schema": {"type": "string"}, "description": "How long caches may keep the sheet."},
        },
    },
    304: {"description": "The client's copy is current (If-None-Match)."},
    **refusals(ParameterRefused),
}

router = APIRouter(prefix="/v1", tags=["silhouettes"])


class ReferenceSheetQuery(BaseModel):
    """The query parameters of a reference sheet."""

    model_config = ConfigDict(extra="forbid")

    size: SheetSize = Field(default="a4", description="The paper: A4 (ISO 216), or US Letter.")
    tint: Tint = Field(
        default="green",
        description="The colour of the field that the thing lies on. Choose the one that differs more from the thing.",
    )


@file_route(
    router,
    "/reference-sheet.pdf",
    name="ReferenceSheet",
    summary="Download the reference sheet",
    head_summary="Get the entity tag of the reference sheet",
    responses=_RESPONSES,
)
def get_reference_sheet(request: Request, query: Annotated[ReferenceSheetQuery, Query()]) -> Response:
    """Download the sheet that a thing lies on when it is photographed. Print it at 100 %, without scaling.

    The bar at its top must then measure 150.0 mm.
    """
    from worker.output.drawings.reference_sheet import write_reference_sheet  # noqa: PLC0415 - a service at rest draws nothing

    data = write_reference_sheet(query.size, query.tint)
    disposition = f'inline; filename="reference-sheet-{query.size}-{query.tint}.pdf"'
    headers = {"ETag": content_tag(data), "Cache-Control": _CACHING, "Content-Disposition": disposition}
    return not_modified(request, headers) or Response(data, headers=headers, media_type=PDF_TYPE)
