"""The Celery app, which carries the ids of jobs from the job service to the workers. It imports no pipeline."""

from typing import Any, Final, Literal

from celery import Celery

from worker.jobs.common.settings import Settings

#: Names of the tasks and of their queue; the job service publishes by name and never imports a task.
BUILD_JOB: Final = "drawerwright.build_job"
WAKE_UP: Final = "drawerwright.wake_up"
REPACK_RUNS: Final = "drawerwright.repack_runs"
GATHER_BATCH: Final = "drawerwright.gather_batch"
QUEUE: Final = "drawerwright"

#: Priorities of messages; of 0 to 9 the Redis transport delivers the lowest number first.
RESUMED_PRIORITY: Final = 0
NEW_PRIORITY: Final = 3

#: Seconds that publishing waits for a broker that does not answer.
SEND_TIMEOUT: Final = 0.3

#: Seconds after an attempt's own limit at which the queue asks it to end, and at which its process is killed.
ASK_SECONDS: Final = 10
GRACE_SECONDS: Final = 30


def make_app(settings: Settings, side: Literal["send", "work"]) -> Celery:
    """Return an app for one side of the queue.

    The sending side gives up soon, because the job table keeps the job anyway; the worker waits.
    """
    app = Celery("drawerwright", broker=settings.broker, set_as_current=side == "work")
    hard = settings.job_seconds + GRACE_SECONDS
    options: dict[str, Any] = {
        # a message that is not acknowledged comes again only after no attempt can still run
        "visibility_timeout": 2 * hard,
        # the sweep for messages of workers that were killed: every second, not every hundred
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
        # what one job leaves behind in memory is bounded (KiB)
        worker_max_memory_per_child=1_500_000,
        broker_connection_timeout=SEND_TIMEOUT if side == "send" else 4.0,
        broker_connection_retry_on_startup=side == "work",
        broker_transport_options=options,
        enable_utc=True,
        timezone="UTC",
    )
    return app
