"""Routes of files: each answers GET and HEAD, and the contract describes both alike."""

import re
from collections.abc import Callable, Mapping
from typing import Any, Final, TypeAlias, TypeVar

from fastapi import APIRouter, Response

from api.http.problems.errors import RangeRefused
from api.http.problems.problem_documents import refusals
from worker.jobs.common.errors import PreconditionFailed
from worker.spec.errors import DrawerwrightError
from worker.spec.manifest import JSON_TYPE

__all__ = ["FileResponses", "file_responses", "file_route", "is_file_name"]

#: OpenAPI responses by status.
FileResponses: TypeAlias = dict[int | str, dict[str, Any]]

_Handler = TypeVar("_Handler", bound=Callable[..., Response])

_FILE_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


def is_file_name(name: str) -> bool:
    """Return whether a file can have this name; other names need no query."""
    return _FILE_NAME.fullmatch(name) is not None


def file_responses(
    description: str,
    *media_types: str,
    errors: tuple[type[DrawerwrightError], ...],
    tag: str = "The file's SHA-256 in quotes.",
) -> FileResponses:
    """Return the OpenAPI responses of a stored file: all of it, a range of it, not modified, or an error.

    Args:
        description: what the file is.
        media_types: those that it can have.
        errors: what can go wrong, apart from conditions and ranges that are refused.
        tag: what its entity tag is.
    """
    binary: dict[str, Any] = {"type": "string", "format": "binary"}
    content = {media_type: {"schema": {} if media_type == JSON_TYPE else binary} for media_type in media_types}
    tagged = {"ETag": {"schema": {"type": "string"}, "description": tag}}
    part = {"Content-Range": {"schema": {"type": "string"}, "description": "The position of these bytes in the file."}}
    return {
        200: {"description": description, "content": content, "headers": tagged},
        206: {"description": "The bytes that Range requests.", "content": content, "headers": {**tagged, **part}},
        304: {"description": "The client's copy is current (If-None-Match).", "headers": tagged},
        **refusals(PreconditionFailed, RangeRefused, *errors),
    }


def file_route(
    router: APIRouter, path: str, *, name: str, summary: str, head_summary: str, responses: Mapping[int | str, Any]
) -> Callable[[_Handler], _Handler]:
    """Return a decorator that registers a handler for GET and HEAD of a file.

    Args:
        router: where the routes are registered.
        path: below the router's prefix.
        name: of the file in the operation ids ``get...`` and ``head...``.
        summary: of GET.
        head_summary: of HEAD.
        responses: of both, for the contract.
    """

    def register(handler: _Handler) -> _Handler:
        for method, text in (("GET", summary), ("HEAD", head_summary)):
            router.add_api_route(
                path,
                handler,
                methods=[method],
                operation_id=f"{method.lower()}{name}",
                summary=text,
                responses=dict(responses),
                response_class=Response,
            )
        return handler

    return register
