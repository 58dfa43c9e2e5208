"""Readiness: whether jobs can be taken, and what they need that is away."""

import time
from functools import partial
from typing import Final, Literal

from anyio import CapacityLimiter, move_on_after
from anyio.to_thread import run_sync
from pydantic import BaseModel, ConfigDict, Field

from worker.jobs.job_service import JobService

__all__ = ["Readiness", "ReadinessProbe"]

#: Seconds for which a result holds: requests in between cost nothing.
_CACHE_SECONDS: Final = 2.0

#: Seconds that a check takes at most; what has not answered by then is away.
_TIMEOUT: Final = 2.0

_PARTS: Final = ("broker", "store", "worker")


class Readiness(BaseModel):
    """The result of the readiness probe."""

    model_config = ConfigDict(
        frozen=True, json_schema_extra={"examples": [{"status": "degraded", "away": ["worker"], "silent_workers": 1}]}
    )

    status: Literal["ok", "degraded"] = Field(
        description="ok: all components are available. degraded: jobs are accepted, but a component is unavailable, or "
        "a worker does not respond."
    )
    away: tuple[Literal["broker", "store", "worker"], ...] = Field(
        description="Unavailable components. broker: jobs wait until it returns. store: files cannot be read or "
        "written. worker: no worker has sent a heartbeat recently."
    )
    silent_workers: int = Field(
        ge=0, description="Workers that stopped sending heartbeats in the last ten minutes without having shut down."
    )


class ReadinessProbe:
    """Checks what jobs need, and remembers the result for a moment."""

    def __init__(self) -> None:
        """Nothing has been checked yet."""
        self._limiter = CapacityLimiter(4)
        self._readiness: Readiness | None = None
        self._until = 0.0

    async def check(self, job_service: JobService) -> Readiness:
        """Return what is away.

        Raises:
            SQLAlchemyError, OSError: when the record cannot be read.
        """
        if self._readiness is not None and time.monotonic() < self._until:
            return self._readiness
        await run_sync(partial(job_service.jobs, limit=1), limiter=self._limiter)
        away: list[str] | None = None
        with move_on_after(_TIMEOUT):
            away = await run_sync(job_service.away, abandon_on_cancel=True, limiter=self._limiter)
        parts = [part for part in _PARTS if away is None or part in away]
        silent = await run_sync(job_service.heartbeats.silent_workers, limiter=self._limiter)
        status = "degraded" if parts or silent else "ok"
        readiness = Readiness.model_validate({"status": status, "away": parts, "silent_workers": silent})
        self._readiness, self._until = readiness, time.monotonic() + _CACHE_SECONDS
        return readiness
