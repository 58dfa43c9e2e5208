"""Liveness and readiness probes."""

import logging
import time
from functools import partial
from typing import Final, Literal

from anyio import CapacityLimiter, move_on_after
from anyio.to_thread import run_sync
from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.exc import SQLAlchemyError

from api.app_state import JobServiceDep
from api.http.errors import ServiceNotReady
from api.http.problems import refusals
from worker.jobs.job_service import JobService

__all__ = ["Probe", "router"]

_log = logging.getLogger(__name__)

router = APIRouter(tags=["health"])

#: Seconds for which an answer holds: whoever asks more often costs nothing.
_FRESH: Final = 2.0

#: Seconds that a look takes at most; what has not answered by then is away.
_PATIENCE: Final = 2.0

_PARTS: Final = ("broker", "store", "worker")


class Health(BaseModel):
    """The result of the liveness probe."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"status": "ok"}]})

    status: str = Field(default="ok", description="Always ok.")


class Readiness(BaseModel):
    """The result of the readiness probe."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [{"status": "degraded", "away": ["worker"]}]})

    status: Literal["ok", "degraded"] = Field(
        description="ok: all components are available. degraded: jobs are accepted, but a component is unavailable."
    )
    away: tuple[Literal["broker", "store", "worker"], ...] = Field(
        description="Unavailable components. broker: jobs wait until it returns. store: files cannot be read or "
        "written. worker: no worker has sent a heartbeat recently."
    )


class Probe:
    """Looks, and remembers for a moment what it saw."""

    def __init__(self) -> None:
        """Nothing is known yet."""
        self._limiter = CapacityLimiter(4)
        self._known: Readiness | None = None
        self._until = 0.0

    async def look(self, job_service: JobService) -> Readiness:
        """Return what is away.

        Raises:
            SQLAlchemyError, OSError: when the record cannot be read.
        """
        if self._known is not None and time.monotonic() < self._until:
            return self._known
        await run_sync(partial(job_service.jobs, limit=1), limiter=self._limiter)
        found: list[str] | None = None
        with move_on_after(_PATIENCE):
            found = await run_sync(job_service.away, abandon_on_cancel=True, limiter=self._limiter)
        away = [one for one in _PARTS if found is None or one in found]
        told = Readiness.model_validate({"status": "degraded" if away else "ok", "away": away})
        self._known, self._until = told, time.monotonic() + _FRESH
        return told


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
async def is_ready(request: Request, job_service: JobServiceDep) -> Readiness:
    """Check the database, which is required, and the broker, object store and workers, which may be down."""
    probe: Probe = request.app.state.probe
    try:
        return await probe.look(job_service)
    except (SQLAlchemyError, OSError) as error:
        _log.exception("The readiness probe cannot read the database.")
        raise ServiceNotReady from error
