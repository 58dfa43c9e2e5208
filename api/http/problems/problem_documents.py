"""Problem documents (RFC 9457): their models, and the exception handlers that answer every error with one."""

import logging
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final

import orjson
from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.exc import DBAPIError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import Match

from api.http.problems.database_faults import RETRY_SECONDS, error_of
from api.http.problems.errors import (
    AddressUnknown,
    BodyTooSlow,
    MethodRefused,
    ParameterRefused,
    RequestRefused,
)
from api.http.problems.parameter_errors import parameter_error
from api.http.problems.status_codes import status_of
from api.http.requests.base_url import base_of, path_of
from worker.jobs.common.errors import InternalError, QuotaReached
from worker.spec import load
from worker.spec.errors import DrawerwrightError, SpecError

__all__ = [
    "PROBLEM_PATH",
    "PROBLEM_TYPE",
    "Fault",
    "Problem",
    "install",
    "problem_document",
    "problem_response",
    "refusals",
]

_log = logging.getLogger(__name__)

#: The media type of a problem document.
PROBLEM_TYPE: Final = "application/problem+json"

#: The path below which each kind of problem has its page.
PROBLEM_PATH: Final = "/problems/"

_METHODS: Final = ("DELETE", "GET", "HEAD", "PATCH", "POST", "PUT")


def _absent(value: object) -> bool:
    return value is None or value == ()


class Fault(BaseModel):
    """A single fault of a request or of a job."""

    model_config = ConfigDict(frozen=True)

    detail: str = Field(description="What is wrong.")
    pointer: str | None = Field(
        default=None, exclude_if=_absent, description="The place in the body, as a JSON Pointer (RFC 6901)."
    )
    parameter: str | None = Field(default=None, exclude_if=_absent, description="The name of the faulty parameter.")
    value: Any = Field(default=None, exclude_if=_absent, description="The faulty value, shortened.")
    limit: str | None = Field(default=None, exclude_if=_absent, description="The values that are allowed.")
    remedy: str | None = Field(default=None, exclude_if=_absent, description="How to correct the fault.")
    part: str | None = Field(default=None, exclude_if=_absent, description="The mark of the part concerned.")
    reason: str | None = Field(
        default=None, exclude_if=_absent, description="A code of the cause, where a file gives no silhouette."
    )


def _add_example(schema: dict[str, Any]) -> None:
    """Add the problem document with which the service answers a spec with two lengths that are none."""
    drawer = {"name": "keys and coins", "width": "wide", "depth": 146, "height": "x"}
    spec = {"spec": "1", "name": "hall table", "drawers": [drawer], "printer": {"bed": [160, 160, 160]}}
    try:
        load(spec)
    except SpecError as error:
        schema["examples"] = [problem_document(error, "http://127.0.0.1:8765", "/v1/jobs")]


class Problem(Fault):
    """A problem document (RFC 9457). Fields that do not apply are omitted."""

    model_config = ConfigDict(frozen=True, json_schema_extra=_add_example)

    type: str = Field(description="The URL of this kind of problem; the same for every occurrence.")
    title: str = Field(description="A summary of this kind of problem; the same for every occurrence.")
    status: int = Field(description="The HTTP status code.")
    instance: str | None = Field(default=None, exclude_if=_absent, description="The path of the request that failed.")
    errors: tuple[Fault, ...] = Field(default=(), exclude_if=_absent, description="All faults, if there are several.")


def problem_document(error: DrawerwrightError, base: str, instance: str | None = None) -> dict[str, Any]:
    """Return the problem document of an error.

    Args:
        error: the error.
        base: the service's base URL, without a trailing slash.
        instance: the path of the request that failed.
    """
    return error.problem(f"{base}{PROBLEM_PATH}", instance, status=status_of(type(error)))


_CONTENT: Final = {PROBLEM_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}


def refusals(*errors: type[DrawerwrightError]) -> dict[int | str, dict[str, Any]]:
    """Return the OpenAPI responses of these errors, and of the error that every route can end with, by status."""
    responses: dict[int | str, dict[str, Any]] = {}
    kinds: set[type[DrawerwrightError]] = {*errors, InternalError}
    for kind in sorted(kinds, key=lambda kind: (status_of(kind), kind.slug)):
        response = responses.setdefault(status_of(kind), {"description": "", "content": _CONTENT})
        response["description"] = f"{response['description']} `{kind.slug}`: {kind().title}".strip()
    return responses


def problem_response(
    request: Request, error: DrawerwrightError, *, status: int | None = None, headers: Mapping[str, str] | None = None
) -> Response:
    """Return the response that reports an error.

    Args:
        request: the request that failed.
        error: the error.
        status: the HTTP status, where it is not that of the error's kind.
        headers: further headers.
    """
    document = problem_document(error, base_of(request), path_of(request))
    if status is not None:
        document["status"] = status
    # the handler of unexpected errors runs outside of all middleware, so the headers of every response are set here too
    every = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}
    if name := request.scope.get("drawerwright.request"):
        every["X-Request-ID"] = name
    return Response(orjson.dumps(document), document["status"], {**every, **(headers or {})}, PROBLEM_TYPE)


def install(app: FastAPI) -> None:
    """Register the handlers that answer every error with a problem document."""
    app.add_exception_handler(DrawerwrightError, _on_drawerwright_error)
    app.add_exception_handler(RequestValidationError, _on_validation_error)
    app.add_exception_handler(HTTPException, _on_http_exception)
    app.add_exception_handler(ClientDisconnect, _on_disconnect)
    app.add_exception_handler(DBAPIError, _on_database_error)
    app.add_exception_handler(Exception, _on_unexpected_error)


def _on_drawerwright_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, DrawerwrightError):  # the framework's signature is wider than what it is called with
        return _on_unexpected_error(request, error)
    if status_of(type(error)) >= HTTPStatus.INTERNAL_SERVER_ERROR:
        _log.error("%s %s: %s", request.method, path_of(request), error)
    headers = {}
    if isinstance(error, QuotaReached) and error.wait is not None:
        headers["Retry-After"] = str(error.wait)
    if isinstance(error, BodyTooSlow):
        headers["Connection"] = "close"  # the rest of the body may still come (RFC 9110, 15.5.9)
    return problem_response(request, error, headers=headers)


def _on_validation_error(request: Request, error: Exception) -> Response:
    faults = error.errors() if isinstance(error, RequestValidationError) else ()
    errors = [parameter_error(fault) for fault in faults]
    message = errors[0].message if len(errors) == 1 else f"{len(errors)} request parameters are invalid."
    return problem_response(request, ParameterRefused(message, errors=errors))


def _on_http_exception(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else HTTPStatus.INTERNAL_SERVER_ERROR
    headers = dict(error.headers or {}) if isinstance(error, HTTPException) else {}
    if status == HTTPStatus.NOT_FOUND:
        return problem_response(request, AddressUnknown())
    if status == HTTPStatus.METHOD_NOT_ALLOWED:
        methods = ", ".join(_allowed_methods(request))
        return problem_response(request, MethodRefused(value=request.method, limit=methods), headers={"Allow": methods})
    if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        return problem_response(request, InternalError(), status=status, headers=headers)
    return problem_response(request, RequestRefused(), status=status, headers=headers)


def _allowed_methods(request: Request) -> list[str]:
    """Return every method that some route supports at this path; the framework's own Allow lists only one route's."""

    def allowed(method: str) -> bool:
        scope = {**request.scope, "method": method}
        return any(route.matches(dict(scope))[0] is Match.FULL for route in request.app.routes)

    return [method for method in _METHODS if allowed(method)]


def _on_disconnect(request: Request, _error: Exception) -> Response:
    return problem_response(request, RequestRefused("The client disconnected before it had sent the whole body."))


def _on_database_error(request: Request, error: Exception) -> Response:
    database_error = error_of(error) if isinstance(error, DBAPIError) else None
    if database_error is None:
        raise error
    _log.error("%s %s: %s", request.method, path_of(request), getattr(error, "orig", error))
    headers = {"Retry-After": str(RETRY_SECONDS[type(database_error)])}
    return problem_response(request, database_error, headers=headers)


def _on_unexpected_error(request: Request, _error: Exception) -> Response:
    return problem_response(request, InternalError())  # the server logs the traceback; the client sees none of it
