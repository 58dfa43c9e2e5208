"""Changes of what a drawer is to hold, planned against what is printed."""

from http import HTTPStatus
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool

from api.app_state import AppStateDep, JobServiceDep
from api.auth.access import caller_of
from api.documents.drawer_changes import ChangesDocument, changes_document
from api.documents.jobs import job_document
from api.http.problems.errors import ParameterRefused, PlansBusy, PlanTooCostly
from api.http.problems.problem_documents import refusals
from api.http.requests.body import read_noun
from api.routes.household.pages import BODY_ERRORS, LARGEST_BODY, example_body
from worker.jobs.common.errors import DrawerNotFound, DrawerNotLaidOut, HouseholdRefused, QuotaReached, ThingNotFound
from worker.jobs.household.drawer_changes import drawer_changes
from worker.jobs.job_service import JobService
from worker.jobs.records.models import Job
from worker.spec import Spec
from worker.spec.errors import LayoutError, PanelError, SpecTooLarge, TrayError
from worker.spec.limits import check_size
from worker.spec.manifest import Changes, PlanDocument
from worker.spec.requests.household import ChangesRequest

__all__ = ["router"]

router = APIRouter(prefix="/v1/drawers", tags=["household"])

_EXAMPLE: Final[dict[str, Any]] = {
    "add": ["01k9x5n3p5r7t9w1y3a5c7e9g1"],
    "counts": {"01k9x5n3p5r7t9w1y3a5c7e9g1": 2},
}


class ChangesQuery(BaseModel):
    """The query parameters of changes."""

    model_config = ConfigDict(extra="forbid")

    apply: bool = Field(
        default=False, description="Record the changes of the things, and submit the job that prints what is missing."
    )


async def read_changes(request: Request) -> ChangesRequest:
    """Return the changes in the body.

    Raises:
        HouseholdRefused: with every fault of the body.
    """
    return await read_noun(request, ChangesRequest, LARGEST_BODY, HouseholdRefused, "change")


@router.post(
    "/{drawer_id}/changes",
    operation_id="changeDrawer",
    summary="Plan changes of a drawer",
    responses={
        200: {"description": "What becomes of the drawer's pieces."},
        202: {"model": ChangesDocument, "description": "The same, with the job that was submitted (apply)."},
        **refusals(
            *(
                DrawerNotFound,
                ThingNotFound,
                DrawerNotLaidOut,
                LayoutError,
                TrayError,
                PanelError,
                SpecTooLarge,
                QuotaReached,
            ),
            *(PlansBusy, PlanTooCostly, ParameterRefused, *BODY_ERRORS),
        ),
    },
    openapi_extra=example_body("ChangesRequest", one_more=_EXAMPLE),
)
async def change_drawer(
    request: Request,
    response: Response,
    *,
    state: AppStateDep,
    job_service: JobServiceDep,
    drawer_id: str,
    changes: Annotated[ChangesRequest, Depends(read_changes)],
    query: Annotated[ChangesQuery, Query()],
) -> ChangesDocument:
    """Plan a drawer with things added or removed, or other counts, against what is printed for it.

    Spare and retired pieces of the whole household are used before anything is printed; pieces with the same shape are
    equal. Nothing is stored or printed unless `apply` is true.
    """
    caller = caller_of(request)
    change = await run_in_threadpool(job_service.household.change, drawer_id, caller.sees, changes)
    check_size(change.spec, state.settings.most_cells)
    answer = await state.planners.plan(change.spec.to_json().encode(), caller)
    plan = PlanDocument.model_validate_json(answer)
    compared = drawer_changes(plan.changes or Changes(new=(), kept=(), moved=(), retired=()), change.spares)
    job = None
    if query.apply:
        spec = change.with_used(compared)
        submitted = await run_in_threadpool(_apply, job_service, drawer_id, caller.sees, changes, spec)
        job = job_document(request, submitted)
        response.status_code = HTTPStatus.ACCEPTED
        response.headers["Location"] = job.links.self
    return changes_document(request, drawer_id, compared, plan, job)


def _apply(job_service: JobService, drawer_id: str, owner: str | None, changes: ChangesRequest, spec: Spec) -> Job:
    """Submit the job first: if a quota refuses it, nothing has changed."""
    job = job_service.submit(spec)
    job_service.household.apply(drawer_id, owner, changes)
    return job
