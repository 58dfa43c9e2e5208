"""The kinds of problem: one page for each, at the URL that problem documents have as their `type`."""

from typing import Annotated, Final

from fastapi import APIRouter, Path, Request
from pydantic import BaseModel, ConfigDict, Field, JsonValue

from api.http.problems.errors import AddressUnknown
from api.http.problems.problem_documents import PROBLEM_PATH, refusals
from api.http.problems.status_codes import problem_kinds, status_of
from api.http.requests.base_url import base_of
from worker.jobs.common.errors import JobNotFound
from worker.spec.errors import DrawerwrightError

__all__ = ["ProblemKind", "router"]

router = APIRouter(tags=["problems"])

_LIST: Final = PROBLEM_PATH.rstrip("/")


def _kind_fields(base: str, kind: type[DrawerwrightError]) -> dict[str, JsonValue]:
    return {"type": f"{base}{PROBLEM_PATH}{kind.slug}", "title": kind().title, "status": status_of(kind)}


class ProblemKind(BaseModel):
    """A kind of problem."""

    model_config = ConfigDict(
        frozen=True, json_schema_extra={"examples": [_kind_fields("http://127.0.0.1:8765", JobNotFound)]}
    )

    type: str = Field(description="The URL of this kind of problem.")
    title: str = Field(description="A summary of this kind of problem; the same for every occurrence.")
    status: int = Field(description="The HTTP status code that problems of this kind usually have.")


@router.head(_LIST, include_in_schema=False)
@router.get(
    _LIST,
    operation_id="listProblems",
    summary="List the kinds of problem",
    response_description="All kinds of problem, in alphabetical order.",
    responses=refusals(),
)
def list_problems(request: Request) -> list[ProblemKind]:
    """List every kind of problem that the service can report."""
    return [_problem_kind(request, kind) for kind in problem_kinds().values()]


@router.head(PROBLEM_PATH + "{slug}", include_in_schema=False)
@router.get(
    PROBLEM_PATH + "{slug}",
    operation_id="getProblem",
    summary="Get a kind of problem",
    response_description="The kind of problem.",
    responses=refusals(AddressUnknown),
)
def get_problem(
    request: Request, slug: Annotated[str, Path(description="The last segment of a problem document's `type`.")]
) -> ProblemKind:
    """Describe one kind of problem. The `type` of a problem document is the URL of this page."""
    kind = problem_kinds().get(slug)
    if kind is None:
        raise AddressUnknown
    return _problem_kind(request, kind)


def _problem_kind(request: Request, kind: type[DrawerwrightError]) -> ProblemKind:
    return ProblemKind.model_validate(_kind_fields(base_of(request), kind))
