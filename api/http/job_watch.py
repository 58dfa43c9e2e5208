"""Watching: whoever waits for a change of a job waits here, with no thread of their own.

While somebody waits, one task looks into the record for all of them.
"""

import asyncio
import logging
import signal
import threading
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Final, cast

from fastapi import Request
from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool

from worker.jobs.common.errors import JobNotFound
from worker.jobs.job_service import JobService
from worker.jobs.records.models import Job

__all__ = ["Watch", "watch_of"]

_log = logging.getLogger(__name__)

#: Seconds between two looks, and after one that failed.
_LOOK: Final = 0.1
_REST: Final = 1.0

_SIGNALS: Final = (signal.SIGINT, signal.SIGTERM)


class Watch:
    """Sees changes of jobs."""

    def __init__(self, job_service: JobService) -> None:
        """Nobody waits yet."""
        self._job_service = job_service
        self._waiting: dict[asyncio.Future[bool], tuple[str, int]] = {}
        self._task: asyncio.Task[None] | None = None
        self._closing = asyncio.Event()

    @property
    def closing(self) -> bool:
        """Whether the service ends."""
        return self._closing.is_set()

    async def pause(self, seconds: float) -> None:
        """Let some time go by, unless the service ends."""
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._closing.wait()

    async def changed(self, job: Job, seconds: float) -> bool:
        """Say whether the job has changed, as soon as it has or when the time is over, or the service ends."""
        if self.closing or seconds <= 0.0:
            return False
        waiter: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._waiting[waiter] = job.id, job.revision
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._look())
        try:
            async with asyncio.timeout(seconds):
                return await waiter
        except TimeoutError:
            return False
        finally:
            self._waiting.pop(waiter, None)

    async def states(self, job_service: JobService, job: Job, seconds: float) -> AsyncIterator[Job]:
        """Yield the job after each of its changes, until it has ended or the time is over.

        Raises:
            JobNotFound: when it was removed meanwhile.
        """
        until = time.monotonic() + seconds
        while not job.ended and await self.changed(job, until - time.monotonic()):
            job = await run_in_threadpool(job_service.job, job.id)
            yield job

    async def ended(self, job_service: JobService, job: Job, seconds: float) -> Job:
        """Return the job as soon as it has ended, or as it is when the time is over."""
        with suppress(JobNotFound):
            async for now in self.states(job_service, job, seconds):
                job = now
        return job

    def end(self) -> None:
        """Have nobody wait any longer."""
        self._closing.set()
        for waiter in list(self._waiting):
            if not waiter.done():
                waiter.set_result(False)

    async def close(self) -> None:
        """End, and the task with it."""
        self.end()
        if self._task is not None:
            self._task.cancel()
            with suppress(asyncio.CancelledError):
                await self._task

    @contextmanager
    def until_told(self) -> Iterator[None]:
        """Have nobody wait as soon as the process is told to end.

        The server waits for the answers that are under way before it tells the app, so the app has to listen itself.
        """
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        loop = asyncio.get_running_loop()
        before = {one: signal.getsignal(one) for one in _SIGNALS}

        def told(number: int, frame: FrameType | None) -> None:
            loop.call_soon_threadsafe(self.end)
            then = before[signal.Signals(number)]
            if callable(then):
                then(number, frame)

        ours = [one for one, then in before.items() if callable(then)]
        for one in ours:
            signal.signal(one, told)
        try:
            yield
        finally:
            for one in ours:
                if signal.getsignal(one) is told:
                    signal.signal(one, before[one])

    async def _look(self) -> None:
        while self._waiting:
            await asyncio.sleep(_LOOK)
            asked = {job_id for job_id, _ in self._waiting.values()}
            try:
                found = await run_in_threadpool(self._job_service.revisions, asked)
            except (SQLAlchemyError, OSError):
                _log.warning("The record cannot be read.", exc_info=True)
                await asyncio.sleep(_REST)
                continue
            for waiter, (job_id, revision) in list(self._waiting.items()):
                if job_id in asked and found.get(job_id) != revision and not waiter.done():
                    waiter.set_result(True)


def watch_of(request: Request) -> Watch:
    """Return the watch of the app."""
    return cast("Watch", request.app.state.watch)
