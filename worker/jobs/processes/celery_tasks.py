"""The Celery worker's program: ``celery --app worker.jobs.processes.celery_tasks worker``.

Only worker processes import this module.
"""

import logging
import os
import signal
import socket
from collections.abc import Callable
from functools import cache
from typing import Any, Final

from celery import Task, bootsteps, signals
from sqlalchemy import Engine as Database
from sqlalchemy.exc import DBAPIError

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.execution.batch_finalizer import BatchFinalizer
from worker.jobs.execution.helpers import build_for_job
from worker.jobs.execution.job_runner import JobOutcome, JobRunner
from worker.jobs.execution.memory_limit import limit_memory
from worker.jobs.execution.run_repacker import RunRepacker
from worker.jobs.execution.shutdown_flag import ShutdownFlag
from worker.jobs.execution.transient_errors import TRANSIENT_ERRORS
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.job_service import JobService
from worker.jobs.observability.logging_setup import log_context, set_up_logging
from worker.jobs.observability.tracing import end_tracing, set_up_tracing, span
from worker.jobs.queue.celery_app import BUILD_JOB, BUILD_PARTS, GATHER_BATCH, REPACK_RUNS, WAKE_UP, make_app
from worker.jobs.records.batches import BatchRecords
from worker.jobs.records.heartbeats import Heartbeats
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.print_events import PrintRecords

_log = logging.getLogger(__name__)

#: Seconds between two looks for jobs that no message is under way for.
_LOOK: Final = 5.0

#: Seconds before a job is tried again after the database or the store was away.
_PAUSE: Final = 2.0

settings = Settings.read()
app = make_app(settings, "work")

#: Made before the processes are forked that shall see it.
closing = ShutdownFlag()


def close(**_: object) -> None:
    """Have the jobs under way handed back: the worker ends."""
    closing.begin()


def start_process(**_: object) -> None:
    """Make a process of the pool ready."""
    limit_memory(settings.job_memory)
    set_up_tracing(settings, "worker")


def end_process(**_: object) -> None:
    """End a process of the pool; another may do the upkeep at once."""
    if engine.cache_info().currsize:
        engine().close()
    end_tracing()


def say_ready(**_: object) -> None:
    """Tell that the worker takes jobs."""
    _log.info("The worker is ready.")


def write_logs(**_: object) -> None:
    """Write the log in our own form; the queue's own chatter stays out of it."""
    set_up_logging(settings)


signals.setup_logging.connect(write_logs)
signals.worker_process_shutdown.connect(end_process)
signals.worker_ready.connect(say_ready)
signals.worker_shutting_down.connect(close)
signals.worker_process_init.connect(start_process)


@cache
def database() -> Database:
    """Return this process's own connections: none may cross a fork, so the first task opens them."""
    return open_database(settings.database)


@cache
def workshop() -> JobRunner:
    """Return this process's own workshop."""
    records = JobRecords(database(), settings.public_url)
    return JobRunner(
        settings, records, ObjectStore.open(settings), closing=closing.begun, ask=engine().dispatcher.request_help
    )


@cache
def engine() -> JobService:
    """Return this process's own engine."""
    return JobService.open(settings)


def build_job(task: Task, job_id: str) -> None:
    """Make one attempt at the job; see to it that there is another where one is due."""
    with log_context(job=job_id), span("attempt", {"drawerwright.job": job_id}, within=task.request.headers or {}):
        try:
            outcome = workshop().build(job_id)
        except DBAPIError as error:  # the record was away before the attempt, or at its end
            _log.warning("Job %s is tried again: %s", job_id, type(error).__name__)
            outcome = JobOutcome.RELEASED
    if outcome in (JobOutcome.HANDED_BACK, JobOutcome.TERMINATED):
        engine().publish_resumed(job_id)
    if outcome in (JobOutcome.SUCCEEDED, JobOutcome.FAILED, JobOutcome.LOST):
        engine().publish_batches(job_id)
    if outcome is JobOutcome.TERMINATED:
        os.kill(os.getpid(), signal.SIGTERM)  # as it was told before; now with nothing under way
    if outcome is JobOutcome.RELEASED:
        again(task, job_id, _PAUSE)
    elif outcome is JobOutcome.NOT_OURS and (task.request.delivery_info or {}).get("redelivered"):
        # the one who had this message is gone, but its claim must run out first
        left = workshop().records.lease_left(job_id)
        if left is not None:
            again(task, job_id, max(left, 0.0) + 0.1)


def again(task: Task, job_id: str, seconds: float) -> None:
    """Send the job's message once more, to be taken after this time. Should it get lost, `wake_up` finds the job."""
    task.app.send_task(BUILD_JOB, args=[job_id], countdown=seconds)


def repack_runs(job_id: str) -> None:
    """Write the files of the job's new runs. What cannot be done now is sent again by `wake_up`."""
    shop = workshop()
    prints = PrintRecords(database())
    outcome = RunRepacker(shop.records, prints, shop.blobs).repack(job_id)
    _log.info("New runs of job %s: %s.", job_id, outcome.name.lower())


def gather_batch(batch_id: str) -> None:
    """Make the manifest over all jobs of a batch. What cannot be done now is sent again by `wake_up`."""
    shop = workshop()
    outcome = BatchFinalizer(shop.records, BatchRecords(database()), shop.blobs).gather(batch_id)
    _log.info("Batch %s: %s.", batch_id, outcome.name.lower())


def build_parts(job_id: str, key: str, first: int, last: int) -> None:
    """Help with these parts of a job that another process is at. Lost with its process, it is not done again."""
    records, blobs = workshop().records, workshop().blobs
    try:
        count = build_for_job(records, blobs, job_id, key, (first, last), stop=closing.begun)
    except TRANSIENT_ERRORS as error:  # nothing depends on helpers
        _log.warning("Job %s goes on without this help: %s", job_id, type(error).__name__)
        return
    if count:
        _log.info("Job %s: helped with %d parts.", job_id, count)


def wake_up() -> None:
    """Send messages for jobs that wait without one, and do what else is due, if no other process does."""
    try:
        Heartbeats(database()).beat(f"{socket.gethostname()}:{os.getppid()}")  # of the worker, not of this process
        count = engine().run_maintenance()
    except BrokerUnavailable as error:
        _log.warning("%s", error)
    else:
        if count:
            _log.info("%d jobs sent again.", count)


_register: Callable[..., Any] = app.task
_register(name=BUILD_JOB, bind=True)(build_job)
_register(name=REPACK_RUNS)(repack_runs)
_register(name=GATHER_BATCH)(gather_batch)
_register(name=BUILD_PARTS, acks_late=False)(build_parts)
_register(name=WAKE_UP, acks_late=False)(wake_up)


class Look(bootsteps.StartStopStep):  # type: ignore[misc] # Celery has no types
    """Has the pool look for forgotten jobs from time to time. The parent only sends: it must not open a database."""

    requires = ("celery.worker.consumer.tasks:Tasks",)

    def __init__(self, parent: Any, **options: Any) -> None:
        """Nothing runs yet."""
        super().__init__(parent, **options)
        self._timer: Any = None

    def start(self, parent: Any) -> None:
        """Begin; also after the broker was away."""
        self._timer = parent.timer.call_repeatedly(_LOOK, self._send)
        self._send()

    def stop(self, parent: Any) -> None:  # noqa: ARG002 - Celery's form
        """Stop."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    @staticmethod
    def _send() -> None:
        app.send_task(WAKE_UP, expires=_LOOK)


app.steps["consumer"].add(Look)
