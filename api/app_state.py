"""The service's inside as the routes see it."""

import asyncio
import logging
from typing import Annotated, Final, TypeAlias, cast

from fastapi import Depends, Request
from starlette.concurrency import run_in_threadpool

from api.auth.access import caller_of
from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.job_service import Engine

__all__ = ["JobEngine", "engine_of", "reconcile"]

_log = logging.getLogger(__name__)

#: Seconds between two looks for jobs that no worker knows of.
_PAUSE: Final = 5.0


def engine_of(request: Request) -> Engine:
    """Return the engine of the app, as the one who asks may use it: jobs of others are not there."""
    return cast("Engine", request.app.state.engine).on_behalf_of(caller_of(request))


async def _engine(request: Request) -> Engine:
    """Return the same; as a dependency that is not asynchronous it would cost each request a change of threads."""
    return engine_of(request)


#: The engine, as a route's parameter.
JobEngine: TypeAlias = Annotated[Engine, Depends(_engine)]


async def reconcile(engine: Engine, pause: float = _PAUSE) -> None:
    """Do the upkeep (jobs that wait without a message, files that nobody names) again and again until cancelled."""
    told = False
    while True:
        try:
            await run_in_threadpool(engine.keep_up)
        except Exception as error:  # noqa: BLE001 - it must outlive whatever goes wrong for a while
            if not told:  # once for each time that it begins
                _log.warning("Jobs wait: %s", error, exc_info=not isinstance(error, BrokerUnavailable))
            told = True
        else:
            told = False
        await asyncio.sleep(pause)
