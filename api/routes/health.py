"""Liveness and readiness probes."""

import logging

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.exc import SQLAlchemyError

from api.app_state import AppStateDep, JobServiceDep
from api.http.problems.errors import ServiceNotReady
from api.http.problems.problem_documents import refusals
from api.http.readiness import Readiness
from worker.jobs.database.connection import RESTORE, is_damage

__all__ = ["router"]

_log = logging.getLogger(__name__)

router = APIRouter(tags=["health"])


class Health(BaseModel):
    """The result of the liveness probe."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"status": "ok"}]})

    status: str = Field(default="ok", description="Always ok.")


@router.head("/livez", include_in_schema=False)
@router.get("/livez", operation_id="isAlive", summary="Check liveness", response_description="The process is alive.")
async def is_alive() -> Health:
    """Report that the process is alive. Nothing else is checked."""
    return Health()


@router.head("/readyz", include_in_schema=False)
@router.get(
    "/readyz",
    operation_id="isReady",
    summary="Check readiness",
    response_description="The service accepts jobs; `away` lists the components that are unavailable.",
    responses=refusals(ServiceNotReady),
)
async def is_ready(state: AppStateDep, job_service: JobServiceDep) -> Readiness:
    """Check the database, which is required, and the broker, object store and workers, which may be down."""
    try:
        return await state.probe.check(job_service)
    except (SQLAlchemyError, OSError) as error:
        _log.exception("The readiness probe cannot read the database.")
        damaged = is_damage(error)
        raise ServiceNotReady(remedy=RESTORE if damaged else None) from error
