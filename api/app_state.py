"""The state that all routes of an app share, and the dependencies by which a route gets it."""

import asyncio
import logging
from dataclasses import dataclass, field
from typing import Annotated, Final, TypeAlias, cast

from fastapi import Depends, FastAPI, Request
from starlette.concurrency import run_in_threadpool

from api.auth.access import Guard, caller_of
from api.http.middleware.request_log import RequestMetrics
from api.http.readiness import ReadinessProbe
from api.http.responses.job_watch import JobWatch
from api.http.responses.stream_quota import StreamQuota
from api.planning.planner_pool import PlannerPool
from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService

__all__ = ["AppState", "AppStateDep", "JobServiceDep", "app_state", "maintain", "state_of"]

_log = logging.getLogger(__name__)

#: Seconds between two runs of the maintenance.
_PAUSE: Final = 5.0


@dataclass
class AppState:
    """The state shared by all requests of one app, as long as its lifespan."""

    job_service: JobService
    guard: Guard
    watch: JobWatch
    request_metrics: RequestMetrics
    planners: PlannerPool
    #: Origins whose pages may use the service.
    origins: frozenset[str] = frozenset()
    probe: ReadinessProbe = field(default_factory=ReadinessProbe)
    streams: StreamQuota = field(default_factory=StreamQuota)
    #: Held while a household is imported: one takes ten times the memory of its document.
    importing: asyncio.Lock = field(default_factory=asyncio.Lock)

    @property
    def settings(self) -> Settings:
        """The settings of the service."""
        return self.job_service.settings


def state_of(app: FastAPI) -> AppState:
    """Return the state of this app, whose lifespan has begun."""
    return cast("AppState", app.state.shared)


async def app_state(request: Request) -> AppState:
    """Return the state of the app that answers this request."""
    return state_of(request.app)


#: The app's state, as a route's parameter.
AppStateDep: TypeAlias = Annotated[AppState, Depends(app_state)]


async def _job_service(request: Request, state: AppStateDep) -> JobService:
    """Return the job service on behalf of the caller, who sees no jobs of others."""
    return state.job_service.on_behalf_of(caller_of(request))


#: The job service, as a route's parameter.
JobServiceDep: TypeAlias = Annotated[JobService, Depends(_job_service)]


async def maintain(job_service: JobService, pause: float = _PAUSE) -> None:
    """Run the maintenance (jobs without a message, files without an owner) every ``pause`` seconds until cancelled."""
    failing = False
    while True:
        try:
            await run_in_threadpool(job_service.run_maintenance)
        except Exception as error:  # noqa: BLE001 - it must outlive whatever fails for a while
            if not failing:  # log only the first of consecutive failures
                _log.warning("Jobs wait: %s", error, exc_info=not isinstance(error, BrokerUnavailable))
            failing = True
        else:
            failing = False
        await asyncio.sleep(pause)
