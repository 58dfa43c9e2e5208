"""Problems: every error as a problem document (RFC 9457), and a page about each kind."""

import logging
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final

import orjson
from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.exc import DBAPIError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.routing import Match

from api.http.base_url import base_of, path_of
from api.http.database_faults import WAITS, fault_of
from api.http.errors import (
    AddressUnknown,
    BodyTooSlow,
    MethodRefused,
    ParameterRefused,
    RequestInFlight,
    RequestRefused,
)
from api.http.status_codes import problem_kinds, status_of
from worker.jobs.common.errors import InternalError, QuotaReached
from worker.spec.errors import DrawerwrightError

__all__ = ["PROBLEM_TYPE", "Fault", "Problem", "ProblemKind", "install", "problem_response", "refusals", "router"]

_log = logging.getLogger(__name__)

PROBLEM_TYPE: Final = "application/problem+json"

#: Where the pages about the kinds are.
_PAGES: Final = "/problems/"

_METHODS: Final = ("DELETE", "GET", "HEAD", "PATCH", "POST", "PUT")


def _absent(value: object) -> bool:
    return value is None or value == ()


class Fault(BaseModel):
    """One thing that is wrong."""

    model_config = ConfigDict(frozen=True)

    detail: str = Field(description="What is wrong.")
    pointer: str | None = Field(
        default=None, exclude_if=_absent, description="Where in the body (JSON Pointer, RFC 6901)."
    )
    parameter: str | None = Field(default=None, exclude_if=_absent, description="Which parameter of the address.")
    value: Any = Field(default=None, exclude_if=_absent, description="What was given, cut short.")
    limit: str | None = Field(default=None, exclude_if=_absent, description="What would be taken.")
    remedy: str | None = Field(default=None, exclude_if=_absent, description="What would help.")
    part: str | None = Field(default=None, exclude_if=_absent, description="The mark of the part that it is about.")


class Problem(Fault):
    """A problem document (RFC 9457). Fields that do not apply are left out."""

    type: str = Field(description="Address of a page about this kind of problem; the same for each occurrence.")
    title: str = Field(description="The kind in words.")
    status: int = Field(description="The HTTP status.")
    instance: str | None = Field(default=None, exclude_if=_absent, description="What was asked for.")
    errors: tuple[Fault, ...] = Field(
        default=(), exclude_if=_absent, description="Each thing that is wrong, where there can be several."
    )


class ProblemKind(BaseModel):
    """A kind of problem."""

    model_config = ConfigDict(frozen=True)

    type: str = Field(description="Its address.")
    title: str = Field(description="The kind in words.")
    status: int = Field(description="The HTTP status that it comes with.")


_CONTENT: Final = {PROBLEM_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}


def refusals(*errors: type[DrawerwrightError]) -> dict[int | str, dict[str, Any]]:
    """Return what a route's documentation says about these errors and those that every route may meet."""
    told: dict[int | str, dict[str, Any]] = {}
    every: set[type[DrawerwrightError]] = {*errors, InternalError}
    for error in sorted(every, key=lambda one: (status_of(one), one.slug)):
        known = told.setdefault(status_of(error), {"description": "", "content": _CONTENT})
        known["description"] = f"{known['description']} `{error.slug}`: {error().title}".strip()
    return told


router = APIRouter(tags=["problems"])

_UNKNOWN: Final = refusals(AddressUnknown)


@router.head(_PAGES.rstrip("/"), include_in_schema=False)
@router.get(_PAGES.rstrip("/"), operation_id="listProblems", summary="Every kind of problem")
def list_problems(request: Request) -> list[ProblemKind]:
    """List the kinds of problem that this service answers with."""
    return [_kind(request, one) for one in problem_kinds().values()]


@router.head(_PAGES + "{slug}", include_in_schema=False)
@router.get(_PAGES + "{slug}", operation_id="getProblem", summary="One kind of problem", responses=_UNKNOWN)
def get_problem(request: Request, slug: str) -> ProblemKind:
    """Tell about one kind of problem; this is where a problem document's `type` leads."""
    kind = problem_kinds().get(slug)
    if kind is None:
        raise AddressUnknown
    return _kind(request, kind)


def _kind(request: Request, kind: type[DrawerwrightError]) -> ProblemKind:
    return ProblemKind(type=f"{base_of(request)}{_PAGES}{kind.slug}", title=kind().title, status=status_of(kind))


def problem_response(
    request: Request, error: DrawerwrightError, *, status: int | None = None, headers: Mapping[str, str] | None = None
) -> Response:
    """Return the error as a response."""
    status = status_of(type(error)) if status is None else status
    document = error.problem(f"{base_of(request)}{_PAGES}", path_of(request), status=status)
    # the outermost handler answers outside of all middleware, so what is always said is said here
    always = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}
    if name := request.scope.get("drawerwright.request"):
        always["X-Request-ID"] = name
    return Response(orjson.dumps(document), status, {**always, **(headers or {})}, PROBLEM_TYPE)


def install(app: FastAPI) -> None:
    """Make the app answer every error with a problem document."""
    app.add_exception_handler(DrawerwrightError, _ours)
    app.add_exception_handler(RequestValidationError, _parameters)
    app.add_exception_handler(HTTPException, _framework)
    app.add_exception_handler(ClientDisconnect, _gone)
    app.add_exception_handler(DBAPIError, _record)
    app.add_exception_handler(Exception, _unexpected)


def _ours(request: Request, error: Exception) -> Response:
    if not isinstance(error, DrawerwrightError):  # the framework's signature is wider than what it is called with
        return _unexpected(request, error)
    if status_of(type(error)) >= HTTPStatus.INTERNAL_SERVER_ERROR:
        _log.error("%s %s: %s", request.method, path_of(request), error)
    headers = {}
    if isinstance(error, QuotaReached) and error.wait is not None:
        headers["Retry-After"] = str(error.wait)
    if isinstance(error, RequestInFlight):
        headers["Retry-After"] = "1"
    if isinstance(error, BodyTooSlow):
        headers["Connection"] = "close"  # the rest of the body may still come (RFC 9110, 15.5.9)
    return problem_response(request, error, headers=headers)


def _parameters(request: Request, error: Exception) -> Response:
    faults = error.errors() if isinstance(error, RequestValidationError) else ()
    found = [ParameterRefused.of(str(one["loc"][-1]), f"{one['msg']}.", one.get("input")) for one in faults]
    first = found[0].message if len(found) == 1 else f"{len(found)} parameters cannot be used."
    return problem_response(request, ParameterRefused(first, errors=found))


def _framework(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else HTTPStatus.INTERNAL_SERVER_ERROR
    headers = dict(error.headers or {}) if isinstance(error, HTTPException) else {}
    if status == HTTPStatus.NOT_FOUND:
        return problem_response(request, AddressUnknown())
    if status == HTTPStatus.METHOD_NOT_ALLOWED:
        allowed = ", ".join(_allowed(request))
        return problem_response(request, MethodRefused(value=request.method, limit=allowed), headers={"Allow": allowed})
    if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        return problem_response(request, InternalError(), status=status, headers=headers)
    return problem_response(request, RequestRefused(), status=status, headers=headers)


def _allowed(request: Request) -> list[str]:
    """Return every method that some route takes at this address; the framework knows only the first route's."""

    def taken(method: str) -> bool:
        scope = {**request.scope, "method": method}
        return any(route.matches(dict(scope))[0] is Match.FULL for route in request.app.routes)

    return [method for method in _METHODS if taken(method)]


def _gone(request: Request, _error: Exception) -> Response:
    return problem_response(request, RequestRefused("The connection ended before the body."))


def _record(request: Request, error: Exception) -> Response:
    fault = fault_of(error) if isinstance(error, DBAPIError) else None
    if fault is None:
        raise error
    _log.error("%s %s: %s", request.method, path_of(request), getattr(error, "orig", error))
    return problem_response(request, fault, headers={"Retry-After": str(WAITS[type(fault)])})


def _unexpected(request: Request, _error: Exception) -> Response:
    return problem_response(request, InternalError())  # the server logs it; the client learns nothing of the inside
