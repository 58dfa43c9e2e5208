"""Waiting for changes of jobs: one task polls the job table for all waiting requests, which hold no thread."""

import asyncio
import logging
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Final

from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool

from worker.jobs.common.errors import JobNotFound
from worker.jobs.job_service import JobService
from worker.jobs.records.models import Job

__all__ = ["JobWatch"]

_log = logging.getLogger(__name__)

#: Seconds between two polls, and after one that failed.
_POLL_SECONDS: Final = 0.1
_RETRY_SECONDS: Final = 1.0

_SIGNALS: Final = (signal.SIGINT, signal.SIGTERM)


class JobWatch:
    """Lets requests wait for changes of jobs."""

    def __init__(self, job_service: JobService) -> None:
        """Poll this job service while a request waits."""
        self._job_service = job_service
        self._waiters: dict[asyncio.Future[bool], tuple[str, int]] = {}
        self._task: asyncio.Task[None] | None = None
        self._closing = asyncio.Event()

    @property
    def closing(self) -> bool:
        """Whether the service shuts down."""
        return self._closing.is_set()

    async def sleep(self, seconds: float) -> None:
        """Return after this time, or as soon as the service shuts down."""
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._closing.wait()

    async def changed(self, job: Job, seconds: float) -> bool:
        """Return True as soon as the job has changed; False after this time, or when the service shuts down."""
        if self.closing or seconds <= 0.0:
            return False
        waiter: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._waiters[waiter] = job.id, job.revision
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._poll())
        try:
            async with asyncio.timeout(seconds):
                return await waiter
        except TimeoutError:
            return False
        finally:
            self._waiters.pop(waiter, None)

    async def ended(self, job_service: JobService, job: Job, seconds: float) -> Job:
        """Return the job as soon as it has ended, or as it is after this time or when it was removed."""
        deadline = time.monotonic() + seconds
        with suppress(JobNotFound):
            while not job.ended and await self.changed(job, deadline - time.monotonic()):
                job = await run_in_threadpool(job_service.job, job.id)
        return job

    def begin_closing(self) -> None:
        """End all waits."""
        self._closing.set()
        for waiter in list(self._waiters):
            if not waiter.done():
                waiter.set_result(False)

    async def close(self) -> None:
        """End all waits, and the task."""
        self.begin_closing()
        if self._task is not None:
            self._task.cancel()
            with suppress(asyncio.CancelledError):
                await self._task

    @contextmanager
    def closing_on_signals(self) -> Iterator[None]:
        """End all waits as soon as the process gets SIGINT or SIGTERM.

        The server ends the app's lifespan only after all responses, so it would wait for the requests that wait here.
        """
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        loop = asyncio.get_running_loop()
        previous = {number: signal.getsignal(number) for number in _SIGNALS}

        def handle(number: int, frame: FrameType | None) -> None:
            loop.call_soon_threadsafe(self.begin_closing)
            handler = previous[signal.Signals(number)]
            if callable(handler):
                handler(number, frame)

        replaced = [number for number, handler in previous.items() if callable(handler)]
        for number in replaced:
            signal.signal(number, handle)
        try:
            yield
        finally:
            for number in replaced:
                if signal.getsignal(number) is handle:
                    signal.signal(number, previous[number])

    async def _poll(self) -> None:
        while self._waiters:
            await asyncio.sleep(_POLL_SECONDS)
            job_ids = {job_id for job_id, _ in self._waiters.values()}
            try:
                revisions = await run_in_threadpool(self._job_service.revisions, job_ids)
            except (SQLAlchemyError, OSError):
                _log.warning("The job table cannot be read.", exc_info=True)
                await asyncio.sleep(_RETRY_SECONDS)
                continue
            for waiter, (job_id, revision) in list(self._waiters.items()):
                if job_id in job_ids and revisions.get(job_id) != revision and not waiter.done():
                    waiter.set_result(True)
