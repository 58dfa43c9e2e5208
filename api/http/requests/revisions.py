"""Revisions as entity tags: conditional reads and changes of a resource that counts its changes (RFC 9110, 13)."""

from http import HTTPStatus
from typing import Any, Final

from fastapi import Request, Response
from pydantic import BaseModel

from api.http.requests.preconditions import check_match, not_modified
from worker.spec.manifest import JSON_TYPE

__all__ = ["REVISION_TAG", "UNCHANGED", "required_revision", "revised_response"]

#: The header of a response with a revision, for the documentation of a route.
REVISION_TAG: Final[dict[str, Any]] = {
    "ETag": {"schema": {"type": "string"}, "description": "The revision, for If-Match and If-None-Match."}
}

#: The response to a conditional read of an unchanged resource.
UNCHANGED: Final[dict[int | str, dict[str, Any]]] = {
    304: {"description": "The client's copy is current (If-None-Match).", "headers": REVISION_TAG}
}


def required_revision(request: Request, revision: int) -> int | None:
    """Return the revision that a change requires: the current one if If-Match names it, None for any.

    Raises:
        PreconditionFailed: if If-Match names other revisions only.
    """
    return revision if check_match(request, lambda: _tag(revision)) else None


def revised_response(
    request: Request, document: BaseModel, revision: int, *, status: int = HTTPStatus.OK, location: str | None = None
) -> Response:
    """Return the response with a document and its ETag; 304 if a GET or HEAD names that in If-None-Match."""
    tag = _tag(revision)
    headers = {"ETag": tag} if location is None else {"ETag": tag, "Location": location}
    if request.method in ("GET", "HEAD") and (unchanged := not_modified(request, headers)) is not None:
        return unchanged
    return Response(document.model_dump_json().encode(), status, headers, JSON_TYPE)


def _tag(revision: int) -> str:
    return f'"{revision}"'
