"""Plans: layout and parts at once, without meshes."""

from typing import Annotated

from anyio import CapacityLimiter, to_thread
from fastapi import APIRouter, Depends, Request

from api.body import read_spec
from api.errors import BodyTooLarge, BodyTooSlow, BodyTypeRefused
from api.problems import refusals
from api.specs import SPEC_BODY
from worker.beds.work import runs_of
from worker.layout import lay_out
from worker.layout.document import plan_document
from worker.spec import Spec
from worker.spec.errors import LayoutError, SpecError, SpecTooLarge, TrayError
from worker.spec.manifest import PlanDocument

__all__ = ["make_plan", "router"]

router = APIRouter(prefix="/v1/plans", tags=["plans"])


def make_plan(spec: Spec) -> PlanDocument:
    """Lay the spec out, pack its runs and return the plan's document; without meshes, runs have no times.

    Raises:
        LayoutError: when it cannot be laid out.
    """
    plan = lay_out(spec)
    runs, work = runs_of(spec, plan, None)
    return plan_document(plan).model_copy(update={"runs": runs, "work": work})


@router.post(
    "",
    operation_id="plan",
    summary="Lay a spec out",
    responses=refusals(SpecError, SpecTooLarge, LayoutError, TrayError, BodyTooLarge, BodyTooSlow, BodyTypeRefused),
    openapi_extra=SPEC_BODY,
)
async def plan(request: Request, spec: Annotated[Spec, Depends(read_spec)]) -> PlanDocument:
    """Answer what a job of this spec would make. Nothing is kept."""
    limiter: CapacityLimiter = request.app.state.planners  # layout is arithmetic: more threads than cores only wait
    return await to_thread.run_sync(make_plan, spec, limiter=limiter)
