"""Preconditions: If-Match of changes, If-None-Match of reads (RFC 9110, 13.1)."""

from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any, Final

from fastapi import Request, Response

from api.http.responses.ranges import tag_matches
from worker.jobs.common.errors import PreconditionFailed

__all__ = ["IF_MATCH_PARAMETER", "IF_NONE_MATCH_PARAMETER", "check_match", "not_modified"]

#: The headers as parameters of an operation.
IF_MATCH_PARAMETER: Final[dict[str, Any]] = {
    "name": "If-Match",
    "in": "header",
    "schema": {"type": "string"},
    "description": "An ETag of the resource that is changed: 412 if it has changed since.",
}

IF_NONE_MATCH_PARAMETER: Final[dict[str, Any]] = {
    "name": "If-None-Match",
    "in": "header",
    "schema": {"type": "string"},
    "description": "The ETag of the previous response: 304 if nothing has changed since.",
}


def check_match(request: Request, tag: Callable[[], str]) -> bool:
    """Return whether the request has an If-Match that holds; ``tag`` returns the entity tag of the resource.

    Raises:
        PreconditionFailed: when the condition does not hold.
    """
    match = request.headers.get("if-match")
    if match is None:
        return False
    current = tag()
    if not tag_matches(match, current, weak=False):
        raise PreconditionFailed(value=match, limit=current)
    return True


def not_modified(request: Request, headers: Mapping[str, str]) -> Response | None:
    """Return the response 304 if If-None-Match names the entity tag in these headers, None otherwise."""
    match = request.headers.get("if-none-match")
    if match is None or not tag_matches(match, headers["ETag"], weak=True):
        return None
    return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=dict(headers))
