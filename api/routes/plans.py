"""Plans: the layout, parts and runs of a spec, without meshes."""

from typing import Annotated, Final

from anyio import to_thread
from fastapi import APIRouter, Depends, Request, Response

from api.app_state import AppStateDep
from api.http.body import read_spec
from api.http.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused, PlansBusy
from api.http.problems import problem_response, refusals
from api.openapi.spec_body import SPEC_BODY
from worker.spec import Spec
from worker.spec.errors import LayoutError, SpecError, SpecTooLarge, TrayError
from worker.spec.manifest import PlanDocument

__all__ = ["make_plan", "router"]

router = APIRouter(prefix="/v1/plans", tags=["plans"])

#: Plans that wait for each one that is made at a time; who comes then would wait too long.
_MOST_WAITING: Final = 8

#: Seconds after which another try may find room: most plans take less than one.
_SOON: Final = 2


def make_plan(spec: Spec) -> PlanDocument:
    """Return the plan of a spec: its layout and its packed runs, which have no times because no mesh is made.

    Raises:
        LayoutError: when it cannot be laid out.
    """
    from worker.layout import lay_out  # noqa: PLC0415 - a service at rest needs no geometry
    from worker.layout.model.plan_document import plan_document  # noqa: PLC0415 - as above
    from worker.printing.scheduling.work_plan import runs_of  # noqa: PLC0415 - as above

    plan = lay_out(spec)
    runs, work = runs_of(spec, plan, None)
    return plan_document(plan).model_copy(update={"runs": runs, "work": work})


@router.post(
    "",
    operation_id="plan",
    summary="Plan a spec without making parts",
    response_description="The plan.",
    response_model=PlanDocument,
    responses=refusals(
        SpecError, SpecTooLarge, LayoutError, TrayError, BodyTooLarge, BodyTooSlow, BodyTypeRefused, PlansBusy
    ),
    openapi_extra=SPEC_BODY,
)
async def plan(
    request: Request, state: AppStateDep, spec: Annotated[Spec, Depends(read_spec)]
) -> PlanDocument | Response:
    """Compute what a job of this spec would make. Nothing is stored."""
    tokens = int(state.planners.total_tokens)
    most = tokens * _MOST_WAITING
    if state.planning >= tokens + most:
        busy = PlansBusy(
            value=state.planning - tokens, limit=f"at most {most} waiting", remedy=f"Ask again in {_SOON} seconds."
        )
        return problem_response(request, busy, headers={"Retry-After": str(_SOON)})
    state.planning += 1
    try:
        return await to_thread.run_sync(make_plan, spec, limiter=state.planners)
    finally:
        state.planning -= 1
