"""The service's inside as the routes see it."""

import asyncio
import logging
from typing import Annotated, Final, TypeAlias, cast

from fastapi import Depends, Request
from starlette.concurrency import run_in_threadpool

from api.auth.access import caller_of
from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.job_service import JobService

__all__ = ["JobServiceDep", "job_service_of", "reconcile"]

_log = logging.getLogger(__name__)

#: Seconds between two looks for jobs that no worker knows of.
_PAUSE: Final = 5.0


def job_service_of(request: Request) -> JobService:
    """Return the job service of the app, as the caller may use it: jobs of others are not there."""
    return cast("JobService", request.app.state.engine).on_behalf_of(caller_of(request))


async def _job_service(request: Request) -> JobService:
    """Return the same; as a dependency that is not asynchronous it would cost each request a change of threads."""
    return job_service_of(request)


#: The job service, as a route's parameter.
JobServiceDep: TypeAlias = Annotated[JobService, Depends(_job_service)]


async def reconcile(job_service: JobService, pause: float = _PAUSE) -> None:
    """Do the upkeep (jobs that wait without a message, files that nobody names) again and again until cancelled."""
    told = False
    while True:
        try:
            await run_in_threadpool(job_service.run_maintenance)
        except Exception as error:  # noqa: BLE001 - it must outlive whatever goes wrong for a while
            if not told:  # once for each time that it begins
                _log.warning("Jobs wait: %s", error, exc_info=not isinstance(error, BrokerUnavailable))
            told = True
        else:
            told = False
        await asyncio.sleep(pause)
