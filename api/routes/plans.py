"""Plans: preview the layout, parts and runs of a spec, without files."""

import asyncio
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from api.app_state import AppStateDep
from api.auth.access import caller_of
from api.http.problems.errors import (
    BodyTooLarge,
    BodyTooSlow,
    BodyTypeRefused,
    PlansBusy,
    PlanTooCostly,
    RequestRefused,
)
from api.http.problems.problem_documents import problem_response, refusals
from api.http.requests.body import SpecReader, receive_spec
from api.openapi.spec_body import SPEC_BODY
from worker.jobs.common.errors import DrawerNotFound, ThingNotFound
from worker.spec.errors import LayoutError, PanelError, SpecError, SpecTooLarge, TrayError
from worker.spec.manifest import JSON_TYPE, PlanDocument

__all__ = ["router"]

router = APIRouter(prefix="/v1/plans", tags=["plans"])

#: Seconds after which a retry can succeed: most plans take less than one second.
_RETRY_SECONDS: Final = 2


@router.post(
    "",
    operation_id="plan",
    summary="Plan a spec without making parts",
    response_description="The plan.",
    response_model=PlanDocument,
    responses=refusals(
        SpecError,
        SpecTooLarge,
        LayoutError,
        TrayError,
        PanelError,
        BodyTooLarge,
        BodyTooSlow,
        BodyTypeRefused,
        PlansBusy,
        PlanTooCostly,
        RequestRefused,
        DrawerNotFound,
        ThingNotFound,
    ),
    openapi_extra=SPEC_BODY,
)
async def plan(
    request: Request, state: AppStateDep, read_spec: Annotated[SpecReader, Depends(receive_spec)]
) -> Response:
    """Compute the layout, parts and runs that a job of this spec would make, with print times and filament.

    Nothing is stored.

    A plan that exceeds the time limit (`DRAWERWRIGHT_PLAN_SECONDS`) fails with `plan-too-costly`; submit such a spec as
    a job. A plan stops when its client disconnects. Keys that plan at the same time share the capacity equally.
    """
    spec = await run_in_threadpool(read_spec)
    work = asyncio.create_task(state.planners.plan(spec.to_json().encode(), caller_of(request)))
    leaving = asyncio.create_task(_left(request))
    try:
        await asyncio.wait({work, leaving}, return_when=asyncio.FIRST_COMPLETED)
        if not work.done():
            return problem_response(request, RequestRefused("The client disconnected before its plan was made."))
        return Response(work.result(), media_type=JSON_TYPE)
    except PlansBusy as busy:
        busy.remedy = f"Retry in {_RETRY_SECONDS} seconds."
        return problem_response(request, busy, headers={"Retry-After": str(_RETRY_SECONDS)})
    finally:
        work.cancel()
        leaving.cancel()
        await asyncio.gather(work, leaving, return_exceptions=True)


async def _left(request: Request) -> None:
    """Return when the client has disconnected; its body was read before."""
    while (await request.receive())["type"] != "http.disconnect":
        pass
