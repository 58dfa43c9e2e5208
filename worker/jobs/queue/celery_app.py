"""The Celery app: task names, priorities and configuration. It does not import the tasks or the pipeline."""

from typing import Any, Final, Literal

from celery import Celery

from worker.jobs.common.settings import Settings

#: Names of the tasks and their queue. The job service publishes tasks by name and never imports them.
BUILD_JOB: Final = "drawerwright.build_job"
PUBLISH_JOBS: Final = "drawerwright.publish_jobs"
WAKE_UP: Final = "drawerwright.wake_up"
REPACK_RUNS: Final = "drawerwright.repack_runs"
GATHER_BATCH: Final = "drawerwright.gather_batch"
READ_SILHOUETTE: Final = "drawerwright.read_silhouette"
QUEUE: Final = "drawerwright"

#: Message priorities, 0 to 9; the Redis transport delivers the lowest number first.
RESUMED_PRIORITY: Final = 0
NEW_PRIORITY: Final = 3

#: Timeout in seconds for publishing.
SEND_TIMEOUT: Final = 0.3

#: Seconds beyond an attempt's own time limit at which Celery interrupts it, and at which it kills the process.
ASK_SECONDS: Final = 10
GRACE_SECONDS: Final = 30


def make_app(settings: Settings, side: Literal["send", "work"]) -> Celery:
    """Return the app of a publisher ("send") or of a worker ("work").

    A publisher gives up soon, because the dispatcher publishes the job later; a worker waits for the broker.
    """
    app = Celery("drawerwright", broker=settings.broker, set_as_current=side == "work")
    hard = settings.job_seconds + GRACE_SECONDS
    options: dict[str, Any] = {
        # an unacknowledged message is redelivered only when no attempt can still be running
        "visibility_timeout": 2 * hard,
        # messages of killed workers are restored every second instead of every hundred
        "unacked_restore_interval": 1,
        "unacked_restore_throttle": 1,
        "global_keyprefix": "drawerwright:",
    }
    if side == "send":
        options |= {
            "socket_timeout": SEND_TIMEOUT,
            "socket_connect_timeout": SEND_TIMEOUT,
            "retry_on_timeout": False,
            "max_retries": 0,
        }
    app.conf.update(
        task_default_queue=QUEUE,
        task_serializer="json",
        accept_content=["json"],
        task_ignore_result=True,
        task_store_errors_even_if_ignored=False,
        task_acks_late=True,
        task_reject_on_worker_lost=True,
        task_publish_retry=False,
        task_soft_time_limit=settings.job_seconds + ASK_SECONDS,
        task_time_limit=hard,
        worker_prefetch_multiplier=1,
        worker_concurrency=settings.concurrency,
        worker_send_task_events=False,
        worker_hijack_root_logger=True,
        # a process that has grown beyond this size is replaced after its task (KiB)
        worker_max_memory_per_child=1_500_000,
        broker_connection_timeout=SEND_TIMEOUT if side == "send" else 4.0,
        broker_connection_retry_on_startup=side == "work",
        broker_transport_options=options,
        enable_utc=True,
        timezone="UTC",
    )
    return app
