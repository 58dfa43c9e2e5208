"""The background publisher: publishes messages of new jobs, so that no request waits for the broker.

The job table is the source of truth. A message that cannot be published is dropped here, and the dispatcher publishes
it later. Published messages are recorded several at a time. If the process is killed before that, the dispatcher
publishes them a second time; the worker then finds no job to claim.
"""

import logging
import queue
from collections.abc import Callable, Sequence
from contextlib import suppress
from contextvars import Context, copy_context
from threading import Lock, Thread
from typing import Final, TypeAlias

from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.common.errors import BrokerUnavailable

__all__ = ["BackgroundPublisher", "Message"]

#: A job's id and the context of the request that submitted it, for trace headers and log lines.
Message: TypeAlias = tuple[str, Context]

_log = logging.getLogger(__name__)

#: Maximum number of queued messages; the dispatcher publishes any others.
_MAX_QUEUED: Final = 10_000

#: Number of published messages after which they are recorded.
_MAX_UNRECORDED: Final = 200

#: Seconds without a new message after which published ones are recorded. Recording a message alone takes 0.35 ms of the
#: 5.4 ms of processor time per job, and a commit; recording 200 at a time takes as long.
_IDLE_SECONDS: Final = 0.25

#: Seconds that `close` waits for queued messages.
_CLOSE_SECONDS: Final = 3.0


class BackgroundPublisher:
    """Publishes messages of new jobs, between `start` and `close` in its own thread, otherwise in the caller's."""

    def __init__(self, publish: Callable[[Sequence[Message]], None], record: Callable[[list[str]], None]) -> None:
        """Create a publisher without a thread.

        Args:
            publish: publishes messages; raises `BrokerUnavailable` if the broker does not respond.
            record: records that messages for these jobs were published.
        """
        self._publish = publish
        self._record = record
        self._queue = queue.SimpleQueue[Message | None]()
        self._thread: Thread | None = None
        self._lock = Lock()
        self._unrecorded: list[str] = []

    def start(self) -> None:
        """Start the thread."""
        self._thread = Thread(target=self._run, name="publisher", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Publish the queued messages if the broker responds in time, and end the thread."""
        thread, self._thread = self._thread, None
        if thread is not None:
            self._queue.put(None)
            thread.join(_CLOSE_SECONDS)

    def publish(self, job_id: str) -> None:
        """Publish a message for this job; never waits for the broker while the thread runs."""
        message = job_id, copy_context()
        if self._thread is None:
            self._publish_batch([message])
            self.flush()
        elif self._queue.qsize() < _MAX_QUEUED:
            self._queue.put(message)

    def flush(self) -> None:
        """Record the messages that were published."""
        with self._lock:
            published, self._unrecorded = self._unrecorded, []
        if published:
            try:
                self._record(published)
            except SQLAlchemyError:
                _log.warning("The messages of %d jobs will be published twice.", len(published), exc_info=True)

    def _run(self) -> None:
        running = True
        while running:
            batch = self._next_batch()
            running = None not in batch
            try:
                self._publish_batch([message for message in batch if message is not None])
            except Exception:  # noqa: BLE001 - the thread must outlive whatever fails for a while
                _log.exception("%d jobs wait for the dispatcher.", len(batch))
            if not (batch and running) or len(self._unrecorded) >= _MAX_UNRECORDED:
                self.flush()

    def _next_batch(self) -> list[Message | None]:
        """Return the queued messages: at least one, unless published ones are due to be recorded."""
        batch: list[Message | None] = []
        with suppress(queue.Empty):
            batch.append(self._queue.get(timeout=_IDLE_SECONDS if self._unrecorded else None))
            while batch[-1] is not None and len(batch) < _MAX_UNRECORDED:
                batch.append(self._queue.get_nowait())
        return batch

    def _publish_batch(self, batch: Sequence[Message]) -> None:
        if not batch:
            return
        try:
            self._publish(batch)
        except BrokerUnavailable as error:
            for job_id, context in batch:
                context.run(_log.warning, "Job %s waits for the dispatcher: %s", job_id, error)
            return
        with self._lock:
            self._unrecorded += [job_id for job_id, _ in batch]
