"""The dispatcher: publishes the tasks that run jobs, repack runs, finalize batches and read silhouettes.

The job table is the source of truth; the broker only wakes workers. Messages that could not be published, or that the
broker has lost, are published again.
"""

import logging
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any, Final

from celery import Celery
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.common.settings import Settings
from worker.jobs.observability.tracing import trace_headers
from worker.jobs.queue.background_publisher import BackgroundPublisher, Message
from worker.jobs.queue.celery_app import (
    BUILD_JOB,
    GATHER_BATCH,
    NEW_PRIORITY,
    PUBLISH_JOBS,
    QUEUE,
    READ_SILHOUETTE,
    REPACK_RUNS,
    RESUMED_PRIORITY,
)
from worker.jobs.records.batches import BATCH_LEASE, BatchRecords
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.print_events import PrintRecords
from worker.jobs.records.silhouettes import SilhouetteRecords

__all__ = ["Dispatcher"]

_log = logging.getLogger(__name__)

#: Errors of publishing to a broker that does not respond.
_BROKER_FAULTS: Final[tuple[type[Exception], ...]] = (OperationalError, RedisError, OSError)

#: Number of rows read at a time.
_PAGE: Final = 200

#: Seconds after which a waiting job is published again, because the broker may have lost its message.
_RETRY_SECONDS: Final = 60.0

#: The same while the queue is not empty; otherwise every job in a long queue would be published every minute.
_RETRY_SECONDS_IN_QUEUE: Final = 900.0

#: Key of a mark stored in the broker; the mark is gone once the broker has lost its queue.
_MARK: Final = "queue-kept"


class Dispatcher:
    """Publishes tasks. Thread-safe."""

    def __init__(
        self,
        settings: Settings,
        app: Celery,
        *,
        records: JobRecords,
        prints: PrintRecords,
        batches: BatchRecords,
        silhouettes: SilhouetteRecords,
    ) -> None:
        """Publish through this app; no connection is opened yet.

        Args:
            settings: the settings of the service.
            app: the Celery app of a publisher.
            records: the job table.
            prints: the print states, which name jobs whose new runs need files.
            batches: the batches.
            silhouettes: the silhouettes.
        """
        self._settings = settings
        self._app = app
        self._records, self._prints, self._batches = records, prints, batches
        self._silhouettes = silhouettes
        self._marked = False
        #: Publishes submitted jobs; once started, in its own thread.
        self.publisher = BackgroundPublisher(self._publish_new)

    def close(self) -> None:
        """Publish the messages that are still queued in this process."""
        self.publisher.close()

    # -- new messages

    def publish_jobs(self, job_ids: Sequence[str], *, resumed: bool = False) -> None:
        """Publish these jobs; ``resumed`` ones, which a worker has run before, take priority over waiting jobs.

        Raises:
            BrokerUnavailable: if the broker does not respond.
        """
        if job_ids:
            headers = trace_headers()
            self._publish_shared([(job_id, headers) for job_id in job_ids], resumed=resumed)
            self._records.mark_enqueued(job_ids)

    def publish_each(self, messages: Iterable[Message], *, resumed: bool = False) -> None:
        """Publish a message for each of these jobs, which are recorded as published.

        Raises:
            BrokerUnavailable: if the broker does not respond; some messages may have been published.
        """
        self._publish(BUILD_JOB, messages, RESUMED_PRIORITY if resumed else NEW_PRIORITY)

    def publish_repacks(self, job_ids: Sequence[str]) -> None:
        """Publish the writing of the files of new runs of these jobs.

        Raises:
            BrokerUnavailable: if the broker does not respond.
        """
        self._publish_ids(REPACK_RUNS, job_ids, self._prints.mark_enqueued)

    def publish_batches(self, batch_ids: Sequence[str]) -> None:
        """Publish the finalizing of these batches.

        Raises:
            BrokerUnavailable: if the broker does not respond.
        """
        self._publish_ids(GATHER_BATCH, batch_ids, self._batches.mark_enqueued)

    def publish_silhouettes(self, silhouette_ids: Sequence[str]) -> None:
        """Publish the reading of these silhouettes.

        Raises:
            BrokerUnavailable: if the broker does not respond.
        """
        self._publish_ids(READ_SILHOUETTE, silhouette_ids, self._silhouettes.mark_enqueued)

    def _publish_new(self, messages: Sequence[Message]) -> None:
        if messages:
            self._publish_shared(messages)
            self._records.mark_enqueued([job_id for job_id, _ in messages], new=True)

    def _publish_shared(self, messages: Sequence[Message], *, resumed: bool = False) -> None:
        """Publish one message for all of these jobs; a worker then publishes a message for each.

        Publishing takes 1.4 ms of processor time a message, a fifth of what accepting a small spec takes.
        """
        if len(messages) == 1:
            self.publish_each(messages, resumed=resumed)
            return
        with _broker_faults(), self._app.producer_or_acquire() as producer:
            self._app.send_task(
                PUBLISH_JOBS, args=[messages, resumed], priority=RESUMED_PRIORITY, producer=producer, retry=False
            )

    def _publish_ids(
        self, task: str, ids: Sequence[str], record: Callable[[Sequence[str]], None], priority: int = NEW_PRIORITY
    ) -> None:
        """Publish a message for each of these ids, then record that."""
        if ids:
            headers = trace_headers()
            self._publish(task, [(identity, headers) for identity in ids], priority)
            record(ids)

    def _publish(self, task: str, messages: Iterable[Message], priority: int) -> None:
        """Publish the task for each of these ids, by its name, so that publishers need not import it.

        Raises:
            BrokerUnavailable: if the broker does not respond; some messages may have been published.
        """
        with _broker_faults(), self._app.producer_or_acquire() as producer:
            for identity, headers in messages:
                self._app.send_task(
                    task, args=[identity], headers=headers, priority=priority, producer=producer, retry=False
                )

    # -- missing messages

    def republish(self) -> int:
        """Publish waiting jobs without a message and jobs of lost workers; return their number.

        Jobs that a worker has run before take priority.

        Raises:
            BrokerUnavailable: if the broker does not respond; the jobs keep waiting.
        """
        if not self._any_waits():
            self._marked = self._marked or self._mark()  # a queue that is lost from now on is detected
            return 0
        count, start, lost = 0, time.monotonic(), self._queue_lost()
        while True:
            # after the loss of the queue, publish every message that was not published since this call began
            quiet = time.monotonic() - start if lost else self._retry_seconds()
            lease = self._settings.lease_seconds
            waiting = self._records.waiting(quiet_seconds=quiet, limit=_PAGE, lease_seconds=lease)
            begun = self._records.begun(waiting)
            self.publish_jobs([job_id for job_id in waiting if job_id in begun], resumed=True)
            self.publish_jobs([job_id for job_id in waiting if job_id not in begun])
            repacks = self._prints.waiting(quiet_seconds=quiet, limit=_PAGE)
            self.publish_repacks(repacks)
            batches = self._batches.waiting(quiet_seconds=quiet, limit=_PAGE, lease_seconds=BATCH_LEASE)
            self.publish_batches(batches)
            silhouettes = self._silhouettes.waiting(quiet_seconds=quiet, limit=_PAGE)
            self.publish_silhouettes(silhouettes)
            count += len(waiting)
            if not lost:
                return count
            if max(map(len, (waiting, repacks, batches, silhouettes))) < _PAGE:
                self._mark()
                return count

    def answers(self) -> bool:
        """Return whether the broker responds."""
        with suppress(BrokerUnavailable), self._channel() as channel:
            channel.client.ping()  # unlike `connect`, this does not retry
            return True
        return False

    def queue_length(self) -> int:
        """Return the number of messages in the broker's queue.

        Raises:
            BrokerUnavailable: if the broker does not respond.
        """
        with self._channel() as channel:
            return int(channel.queue_declare(queue=QUEUE).message_count)

    def _retry_seconds(self) -> float:
        """Return the age in seconds at which a message counts as lost; it is longer while the queue is not empty."""
        return _RETRY_SECONDS if self.queue_length() == 0 else _RETRY_SECONDS_IN_QUEUE

    def _any_waits(self) -> bool:
        lease = self._settings.lease_seconds
        return bool(
            self._records.waiting(quiet_seconds=0.0, limit=1, lease_seconds=lease)
            or self._prints.waiting(quiet_seconds=0.0, limit=1)
            or self._batches.waiting(quiet_seconds=0.0, limit=1, lease_seconds=BATCH_LEASE)
            or self._silhouettes.waiting(quiet_seconds=0.0, limit=1)
        )

    def _queue_lost(self) -> bool:
        """Return whether the broker has lost its queue, and with it the mark of `_mark`.

        Raises:
            BrokerUnavailable: if it does not respond.
        """
        with self._channel() as channel:
            return channel.client.hget(_MARK, "kept") is None

    def _mark(self) -> bool:
        """Store the mark in the broker; return whether it responded."""
        with suppress(BrokerUnavailable), self._channel() as channel:
            channel.client.hset(_MARK, "kept", "1")
            return True
        return False

    @contextmanager
    def _channel(self) -> Iterator[Any]:
        """Yield a channel of Celery's connection pool. Kombu has no type annotations."""
        with _broker_faults(), self._app.connection_or_acquire() as connection:
            yield connection.default_channel


@contextmanager
def _broker_faults() -> Iterator[None]:
    """Turn the client's errors about an unresponsive broker into `BrokerUnavailable`."""
    try:
        yield
    except _BROKER_FAULTS as error:
        raise BrokerUnavailable(value=type(error).__name__) from error
