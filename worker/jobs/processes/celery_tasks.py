"""The Celery worker's application: ``celery --app worker.jobs.processes.celery_tasks worker``.

Only worker processes import this module. The geometry pipeline is imported by the first task that needs it, in its own
process: a worker at rest takes 60 MB less (``python -m tests.bench idle``).
"""

import gc
import logging
import os
import signal
import socket
from collections.abc import Callable
from functools import cache, partial
from typing import TYPE_CHECKING, Any, Final

from celery import Task, bootsteps, signals
from sqlalchemy import Engine as Database
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.orm import configure_mappers

from worker.jobs.common.errors import BrokerUnavailable, SettingsError
from worker.jobs.common.private_files import keep_files_private
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.execution.job_outcome import JobOutcome
from worker.jobs.execution.memory_limit import limit_memory
from worker.jobs.execution.shutdown_flag import ShutdownFlag
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.job_service import JobService
from worker.jobs.observability.logging_setup import log_context, set_up_logging
from worker.jobs.observability.tracing import end_tracing, set_up_tracing, span
from worker.jobs.queue.background_publisher import Message
from worker.jobs.queue.celery_app import (
    BUILD_JOB,
    GATHER_BATCH,
    PUBLISH_JOBS,
    READ_SILHOUETTE,
    REPACK_RUNS,
    WAKE_UP,
    make_app,
)
from worker.jobs.records.batches import BatchRecords
from worker.jobs.records.heartbeats import Heartbeats
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.print_events import PrintRecords
from worker.jobs.records.silhouettes import SilhouetteRecords

if TYPE_CHECKING:
    from worker.jobs.execution.job_runner import JobRunner

_log = logging.getLogger(__name__)

#: Seconds between two runs of the periodic maintenance task.
_MAINTENANCE_SECONDS: Final = 5.0

#: Seconds before a job is retried after the database or the object store was unavailable.
_RETRY_SECONDS: Final = 2.0

settings = Settings.read()
keep_files_private()
app = make_app(settings, "work")

#: Created before the pool forks, so that all its processes see it.
shutdown = ShutdownFlag()


def begin_shutdown(**_: object) -> None:
    """Announce the shutdown to running attempts, which return their jobs to the queue."""
    shutdown.set()


def share_memory(**_: object) -> None:
    """Load what every pool process needs and freeze it, before each fork, so that it is shared with the parent.

    If each process loaded the broker's client and the mappers itself, they would take 3.5 MB in each. A garbage
    collection writes to every object that it visits, which copies its memory page. Measured at rest with two processes:
    199 MB PSS without, 162 MB with.
    """
    app.connection_for_write().get_transport_cls()  # imports the broker's client; nothing connects
    configure_mappers()
    gc.collect()
    gc.freeze()


def start_process(**_: object) -> None:
    """Prepare a new pool process."""
    limit_memory(settings.job_memory)
    set_up_tracing(settings, "worker")


def end_process(**_: object) -> None:
    """Close a pool process and release its maintenance lease, so that another process takes over at once."""
    if job_service.cache_info().currsize:
        job_service().close()
    end_tracing()


def end_worker(**_: object) -> None:
    """Delete the worker's heartbeats: it has shut down and is not lost."""
    try:
        database = open_database(settings.database)
        Heartbeats(database).forget(worker_name(os.getpid()))
        database.dispose()
    except (SQLAlchemyError, SettingsError):
        _log.warning("The worker's heartbeats could not be deleted.")


def log_ready(**_: object) -> None:
    """Log that the worker accepts jobs."""
    _log.info("The worker is ready.")


def configure_logging(**_: object) -> None:
    """Replace Celery's logging by the service's own format."""
    set_up_logging(settings)


signals.setup_logging.connect(configure_logging)
signals.worker_before_create_process.connect(share_memory)
signals.worker_process_init.connect(start_process)
signals.worker_process_shutdown.connect(end_process)
signals.worker_shutdown.connect(end_worker)
signals.worker_ready.connect(log_ready)
signals.worker_shutting_down.connect(begin_shutdown)


@cache
def database() -> Database:
    """Return this process's connection pool; no connection may cross a fork, so the first task opens it."""
    return open_database(settings.database)


def worker_name(pid: int) -> str:
    """Return the name of the worker whose parent process has this id."""
    return f"{socket.gethostname()}:{pid}"


def beat() -> None:
    """Record a heartbeat of the worker that this process belongs to."""
    Heartbeats(database()).beat(worker_name(os.getppid()))


@cache
def forget_lost_workers() -> None:
    """Delete the rows of workers of this machine that were killed, once in each process."""
    heartbeats = Heartbeats(database())
    for worker in heartbeats.workers():
        host, _, pid = worker.rpartition(":")
        if host == socket.gethostname() and not _is_alive(int(pid)):
            heartbeats.forget(worker)


def _is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


@cache
def job_runner() -> "JobRunner":
    """Return this process's job runner."""
    from worker.jobs.execution.drawer_processes import DrawerProcesses  # noqa: PLC0415 - see the module's docstring
    from worker.jobs.execution.job_runner import JobRunner  # noqa: PLC0415 - as above
    from worker.jobs.execution.pipeline import run_pipeline  # noqa: PLC0415 - as above

    records = JobRecords(database(), settings.public_url)
    store = ObjectStore.open(settings)
    pipeline = partial(run_pipeline, spread=DrawerProcesses(settings.concurrency, settings.job_memory))
    return JobRunner(settings, records, store, pipeline, closing=shutdown.is_set, beat=beat)


@cache
def job_service() -> JobService:
    """Return this process's job service."""
    return JobService.open(settings)


def build_job(task: Task, job_id: str) -> None:
    """Make one attempt at the job, and publish the messages that follow from its outcome."""
    with log_context(job=job_id), span("attempt", {"drawerwright.job": job_id}, within=task.request.headers or {}):
        try:
            outcome = job_runner().run(job_id)
        except DBAPIError as error:  # the database was unavailable at the start or end of the attempt
            _log.warning("Job %s will be retried: %s", job_id, type(error).__name__)
            outcome = JobOutcome.RETRY
    if outcome in (JobOutcome.SHUTDOWN, JobOutcome.TERMINATED):
        job_service().publish_resumed(job_id)
    if outcome in (JobOutcome.SUCCEEDED, JobOutcome.FAILED, JobOutcome.LEASE_LOST):
        job_service().publish_batches(job_id)
    if outcome is JobOutcome.TERMINATED:
        os.kill(os.getpid(), signal.SIGTERM)  # repeat the signal that the attempt caught
    if outcome is JobOutcome.RETRY:
        publish_retry(task, job_id, _RETRY_SECONDS)
    elif outcome is JobOutcome.NOT_CLAIMED and (task.request.delivery_info or {}).get("redelivered"):
        # the worker of this message was lost, but its lease must expire first
        remaining = job_runner().records.lease_left(job_id)
        if remaining is not None:
            publish_retry(task, job_id, max(remaining, 0.0) + 0.1)


def publish_jobs(messages: list[Message], resumed: bool) -> None:  # noqa: FBT001 - an argument of the message
    """Publish a message for each of these jobs. Those that the broker does not get are published again later."""
    try:
        job_service().dispatcher.publish_each(messages, resumed=resumed)
    except BrokerUnavailable as error:
        _log.warning("Jobs left to the dispatcher: up to %d: %s", len(messages), error)


def publish_retry(task: Task, job_id: str, seconds: float) -> None:
    """Publish another message for the job, with a delay. If it is lost, `wake_up` publishes the next."""
    task.app.send_task(BUILD_JOB, args=[job_id], countdown=seconds)


def repack_runs(job_id: str) -> None:
    """Write the files of the job's repacked print runs. After a transient error, `wake_up` republishes the task."""
    from worker.jobs.execution.run_repacker import RunRepacker  # noqa: PLC0415 - see the module's docstring

    runner = job_runner()
    outcome = RunRepacker(runner.records, PrintRecords(database()), runner.blobs).repack(job_id)
    _log.info("Repacked runs of job %s: %s.", job_id, outcome.name.lower())


def gather_batch(batch_id: str) -> None:
    """Write the manifest and runs of a batch. After a transient error, `wake_up` republishes the task."""
    from worker.jobs.execution.batch_finalizer import BatchFinalizer  # noqa: PLC0415 - see the module's docstring

    runner = job_runner()
    batches = BatchRecords(database(), settings.public_url)
    outcome = BatchFinalizer(runner.records, batches, runner.blobs).finalize(batch_id)
    _log.info("Batch %s: %s.", batch_id, outcome.name.lower())


def read_silhouette(silhouette_id: str) -> None:
    """Read the files of a silhouette. After a transient error, `wake_up` republishes the task."""
    from worker.jobs.execution.silhouettes.silhouette_runner import SilhouetteRunner  # noqa: PLC0415 - see the module's docstring

    outcome = SilhouetteRunner(SilhouetteRecords(database(), settings.public_url), job_runner().blobs).run(
        silhouette_id
    )
    _log.info("Silhouette %s: %s.", silhouette_id, outcome.name.lower())


def wake_up() -> None:
    """Record the worker's heartbeat and run the maintenance that is due, if this process holds the leader lease."""
    try:
        beat()
        forget_lost_workers()
        count = job_service().run_maintenance()
    except BrokerUnavailable as error:
        _log.warning("%s", error)
    else:
        if count:
            _log.info("Republished %d waiting jobs.", count)


_register: Callable[..., Any] = app.task
_register(name=BUILD_JOB, bind=True)(build_job)
_register(name=PUBLISH_JOBS)(publish_jobs)
_register(name=REPACK_RUNS)(repack_runs)
_register(name=GATHER_BATCH)(gather_batch)
_register(name=READ_SILHOUETTE)(read_silhouette)
_register(name=WAKE_UP, acks_late=False)(wake_up)


class MaintenanceTimer(bootsteps.StartStopStep):  # type: ignore[misc] # Celery has no types
    """Publishes the maintenance task at intervals. The parent only publishes: it must not open a database."""

    requires = ("celery.worker.consumer.tasks:Tasks",)

    def __init__(self, parent: Any, **options: Any) -> None:
        """Add the step to the consumer; the timer is not started yet."""
        super().__init__(parent, **options)
        self._timer: Any = None

    def start(self, parent: Any) -> None:
        """Start the timer; also called after the broker was unavailable."""
        self._timer = parent.timer.call_repeatedly(_MAINTENANCE_SECONDS, self._publish)
        self._publish()

    def stop(self, parent: Any) -> None:  # noqa: ARG002 - Celery's signature
        """Stop the timer."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    @staticmethod
    def _publish() -> None:
        app.send_task(WAKE_UP, expires=_MAINTENANCE_SECONDS)


app.steps["consumer"].add(MaintenanceTimer)
