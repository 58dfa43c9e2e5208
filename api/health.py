"""Health: whether the process lives, and whether it can do its work."""

import logging

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.exc import SQLAlchemyError

from api.errors import ServiceNotReady
from api.problems import refusals
from api.service import JobEngine

__all__ = ["router"]

_log = logging.getLogger(__name__)

router = APIRouter(tags=["health"])


class Health(BaseModel):
    """All is well."""

    model_config = ConfigDict(frozen=True)

    status: str = Field(default="ok", description="ok")


@router.head("/livez", include_in_schema=False)
@router.get("/livez", operation_id="isAlive", summary="Whether the process answers")
async def is_alive() -> Health:
    """Answer."""
    return Health()


@router.head("/readyz", include_in_schema=False)
@router.get(
    "/readyz",
    operation_id="isReady",
    summary="Whether jobs can be taken",
    responses=refusals(ServiceNotReady),
)
def is_ready(engine: JobEngine) -> Health:
    """Look into the record. The broker is not needed: jobs wait for it."""
    try:
        engine.jobs(limit=1)
    except (SQLAlchemyError, OSError) as error:
        _log.exception("The record cannot be read.")
        raise ServiceNotReady from error
    return Health()
