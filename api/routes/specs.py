"""Specs of jobs: what a job was submitted as."""

from fastapi import APIRouter, Request, Response

from api.app_state import JobServiceDep
from api.http.problems.problem_documents import refusals
from api.http.requests.preconditions import not_modified
from api.http.responses.ranges import content_tag
from api.openapi.spec_body import SPEC_BODY
from worker.jobs.common.errors import JobNotFound
from worker.spec.manifest import JSON_TYPE

__all__ = ["router"]

router = APIRouter(prefix="/v1/jobs", tags=["jobs"])

_TAG = {"ETag": {"schema": {"type": "string"}, "description": "The entity tag of the spec."}}


@router.head("/{job_id}/spec", include_in_schema=False)
@router.get(
    "/{job_id}/spec",
    operation_id="getSpec",
    summary="Get the spec of a job",
    responses={
        200: {
            "description": "The spec.",
            "content": SPEC_BODY["requestBody"]["content"],
            "headers": _TAG,
        },
        304: {"description": "The client's copy is current (If-None-Match).", "headers": _TAG},
        **refusals(JobNotFound),
    },
    response_class=Response,
)
def get_spec(request: Request, job_service: JobServiceDep, job_id: str) -> Response:
    """Get the spec that a job was submitted with. Lengths are in mm, and drawers and things named by id are complete.

    It can be submitted again, on this service or another.
    """
    body = job_service.spec(job_id).encode()
    headers = {"ETag": content_tag(body)}
    return not_modified(request, headers) or Response(body, headers=headers, media_type=JSON_TYPE)
