"""The background publisher: publishes messages of new jobs, so that no request waits for the broker.

The job table is the source of truth. A message that cannot be published is dropped here, and the dispatcher publishes
it later.
"""

import logging
import queue
from collections.abc import Callable, Sequence
from contextlib import suppress
from threading import Event, Thread
from typing import Final, TypeAlias

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.observability.tracing import trace_headers

__all__ = ["BackgroundPublisher", "Message"]

#: A job's id and the trace context of the request that submitted it, as headers.
Message: TypeAlias = tuple[str, dict[str, str]]

_log = logging.getLogger(__name__)

#: Maximum number of queued messages; the dispatcher publishes any others.
_MAX_QUEUED: Final = 10_000

#: Number of jobs published at a time.
_MAX_BATCH: Final = 200

#: Seconds between two batches: jobs that arrive meanwhile share one message (see `Dispatcher.publish_jobs`).
_PAUSE: Final = 0.1

#: The same after the broker did not respond.
_OUTAGE_PAUSE: Final = 1.0

#: Seconds that `close` waits for queued messages.
_CLOSE_SECONDS: Final = 3.0


class BackgroundPublisher:
    """Publishes messages of new jobs, between `start` and `close` in its own thread, otherwise in the caller's."""

    def __init__(self, publish: Callable[[Sequence[Message]], None]) -> None:
        """Create a publisher without a thread.

        Args:
            publish: publishes and records messages; raises `BrokerUnavailable` if the broker does not respond.
        """
        self._publish = publish
        self._queue = queue.SimpleQueue[Message | None]()
        self._thread: Thread | None = None
        self._closing = Event()

    def start(self) -> None:
        """Start the thread."""
        self._closing.clear()
        self._thread = Thread(target=self._run, name="publisher", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Publish the queued messages if the broker responds in time, and end the thread."""
        thread, self._thread = self._thread, None
        if thread is not None:
            self._closing.set()
            self._queue.put(None)
            thread.join(_CLOSE_SECONDS)

    def publish(self, job_id: str) -> None:
        """Publish a message for this job; never waits for the broker while the thread runs."""
        message = job_id, trace_headers()
        if self._thread is None:
            self._publish_batch([message])
        elif self._queue.qsize() < _MAX_QUEUED:
            self._queue.put(message)

    def _run(self) -> None:
        running = True
        while running:
            batch = self._next_batch()
            running = None not in batch
            published = self._publish_batch([message for message in batch if message is not None])
            self._closing.wait(_PAUSE if published else _OUTAGE_PAUSE)

    def _next_batch(self) -> list[Message | None]:
        """Wait for a message; return it and those queued behind it."""
        batch = [self._queue.get()]
        with suppress(queue.Empty):
            while batch[-1] is not None and len(batch) < _MAX_BATCH:
                batch.append(self._queue.get_nowait())
        return batch

    def _publish_batch(self, batch: Sequence[Message]) -> bool:
        """Publish these messages; return False if they are left to the dispatcher."""
        try:
            self._publish(batch)
        except BrokerUnavailable as error:
            _log.warning("Jobs left to the dispatcher: %d, from %s on: %s", len(batch), batch[0][0], error)
            return False
        except Exception:  # noqa: BLE001 - the thread must outlive whatever fails for a while
            _log.exception("Jobs left to the dispatcher: %d.", len(batch))
            return False
        return True
