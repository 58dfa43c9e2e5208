"""The If-Match precondition of changes of a job."""

from typing import Annotated, Any, Final, TypeAlias

from fastapi import Depends, Request

from api.app_state import JobServiceDep
from api.documents.jobs import job_document
from api.http.requests.preconditions import IF_MATCH_PARAMETER, check_match
from api.http.responses.ranges import content_tag

__all__ = ["MATCHED", "MatchedRevision"]


def _matched_revision(request: Request, job_service: JobServiceDep, job_id: str) -> int | None:
    """Return the revision of the job that If-Match names; None without If-Match.

    Raises:
        JobNotFound: when there is no such job.
        PreconditionFailed: when the job has changed.
    """
    if "if-match" not in request.headers:
        return None
    job = job_service.job(job_id)
    check_match(request, lambda: content_tag(job_document(request, job).model_dump_json().encode()))
    return job.revision


#: The revision that a change of a job requires, as a route's parameter.
MatchedRevision: TypeAlias = Annotated[int | None, Depends(_matched_revision)]

#: OpenAPI fields of such a route.
MATCHED: Final[dict[str, Any]] = {"parameters": [IF_MATCH_PARAMETER]}
