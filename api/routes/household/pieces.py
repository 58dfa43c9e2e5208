"""Printed pieces of the household: list them, and record what becomes of them."""

from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import Field

from api.app_state import JobServiceDep
from api.auth.access import caller_of
from api.documents.household import PieceDocument, PiecePage, piece_document
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
from worker.jobs.common.errors import DrawerNotFound, HouseholdRefused, PieceNotFound, PreconditionFailed, QuotaReached
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.household.pieces import PieceFilters
from worker.spec.requests.household import PieceRequest, PieceState

__all__ = ["router"]

router = APIRouter(prefix="/v1/pieces", tags=["household"])

_EXAMPLE: Final[dict[str, Any]] = {
    "mark": "T4",
    "name": "calliper",
    "digest": "5f" * 32,
    "shape": "a7" * 32,
    "state": "spare",
    "note": "printed twice",
}


class PieceQuery(ListQuery):
    """The query parameters of a list of pieces."""

    state: list[PieceState] = Field(default=[], max_length=4, description="List only pieces in this state; repeatable.")
    drawer: str | None = Field(default=None, pattern=f"^{ID_PATTERN}$", description="List only pieces of this drawer.")
    job: str | None = Field(
        default=None, pattern=f"^{ID_PATTERN}$", description="List only pieces that this job printed."
    )
    mark: str | None = Field(default=None, pattern=r"^[A-Z][0-9]{1,5}$", description="List only pieces with this mark.")
    digest: str | None = Field(
        default=None, pattern=r"^[0-9a-f]{64}$", description="List only pieces of the part with this digest."
    )

    def filters(self) -> PieceFilters:
        """Return the conditions."""
        return PieceFilters(tuple(self.state), self.drawer, self.job, self.mark, self.digest)


async def read_piece(request: Request) -> PieceRequest:
    """Return the piece in the body.

    Raises:
        HouseholdRefused: with every fault of the body.
    """
    return await read_noun(request, PieceRequest, LARGEST_BODY, HouseholdRefused, "piece")


_PieceBody = Annotated[PieceRequest, Depends(read_piece)]


@router.post(
    "",
    status_code=HTTPStatus.CREATED,
    operation_id="createPiece",
    summary="Add a piece",
    responses={
        **created(PieceDocument, "piece"),
        **refusals(QuotaReached, DrawerNotFound, *BODY_ERRORS),
    },
    response_class=Response,
    openapi_extra=example_body("PieceRequest", spare=_EXAMPLE),
)
def create_piece(request: Request, job_service: JobServiceDep, piece: _PieceBody) -> Response:
    """Add a piece that no print event recorded. The key needs the scope record."""
    made = job_service.household.pieces.create(caller_of(request).owner, piece)
    document = piece_document(request, made)
    return revised_response(request, document, made.revision, status=HTTPStatus.CREATED, location=document.self)


@router.head("", include_in_schema=False)
@router.get(
    "",
    operation_id="listPieces",
    summary="List pieces",
    responses={**linked_pages("The pieces, newest first."), **refusals(ParameterRefused)},
)
def list_pieces(
    request: Request, response: Response, job_service: JobServiceDep, page: Annotated[PieceQuery, Query()]
) -> PiecePage:
    """List every printed piece, newest first."""
    pieces = job_service.household.pieces.list(caller_of(request).sees, page.limit + 1, page.after, page.filters())
    following = next_url(request, "pieces", (piece.id for piece in pieces), page)
    link_next(response, following)
    return PiecePage(pieces=tuple(piece_document(request, piece) for piece in pieces[: page.limit]), next=following)


@router.head("/{piece_id}", include_in_schema=False)
@router.get(
    "/{piece_id}",
    operation_id="getPiece",
    summary="Get a piece",
    responses={
        **revised(PieceDocument, "The piece."),
        **UNCHANGED,
        **refusals(PieceNotFound),
    },
    response_class=Response,
)
def get_piece(request: Request, job_service: JobServiceDep, piece_id: str) -> Response:
    """Get a piece: its part, its state and its drawer."""
    piece = job_service.household.pieces.find(piece_id, caller_of(request).sees)
    return revised_response(request, piece_document(request, piece), piece.revision)


@router.put(
    "/{piece_id}",
    operation_id="replacePiece",
    summary="Change a piece",
    responses={
        **revised(PieceDocument, "The piece as it is now."),
        **refusals(PieceNotFound, DrawerNotFound, PreconditionFailed, *BODY_ERRORS),
    },
    response_class=Response,
    openapi_extra=example_body("PieceRequest", IF_MATCH_PARAMETER, spare=_EXAMPLE),
)
def replace_piece(request: Request, job_service: JobServiceDep, piece_id: str, piece: _PieceBody) -> Response:
    """Replace the description of a piece, such as its state or drawer."""
    records, sees = job_service.household.pieces, caller_of(request).sees
    revision = required_revision(request, records.find(piece_id, sees).revision)
    changed = records.replace(piece_id, sees, piece, revision)
    return revised_response(request, piece_document(request, changed), changed.revision)


@router.delete(
    "/{piece_id}",
    status_code=HTTPStatus.NO_CONTENT,
    operation_id="removePiece",
    summary="Remove a piece",
    response_description="The piece was removed.",
    responses=refusals(PieceNotFound, PreconditionFailed),
    response_class=Response,
    openapi_extra={"parameters": [IF_MATCH_PARAMETER]},
)
def remove_piece(request: Request, job_service: JobServiceDep, piece_id: str) -> None:
    """Remove a piece that is thrown away or lost."""
    records, sees = job_service.household.pieces, caller_of(request).sees
    records.remove(piece_id, sees, required_revision(request, records.find(piece_id, sees).revision))
