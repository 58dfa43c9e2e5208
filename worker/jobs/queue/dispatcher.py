"""Dispatcher: the way of jobs, repacks and batches to a worker.

The record is the truth, and the broker only wakes workers: what it cannot be told now, or has lost, is sent again.
"""

import logging
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from typing import Any, Final

from celery import Celery

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.common.settings import Settings
from worker.jobs.observability.tracing import trace_headers
from worker.jobs.queue.background_publisher import Waker
from worker.jobs.queue.celery_app import BUILD_JOB, BUILD_PARTS, GATHER_BATCH, REPACK_RUNS
from worker.jobs.queue.sender import BROKER_FAULTS, Sender
from worker.jobs.records.batches import BATCH_LEASE, BatchRecords
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.print_events import PrintRecords

__all__ = ["Dispatcher"]

_log = logging.getLogger(__name__)

#: Most that is sent in one go.
_MOST: Final = 200

#: Seconds after which a job that still waits is sent once more: the broker may have lost the message.
_QUIET_SECONDS: Final = 60.0

#: The same while others wait at the broker: each job that waits in a long line would be sent again every minute.
_QUIET_SECONDS_IN_LINE: Final = 900.0

#: What is left at the broker, to be missed when it has lost its queue.
_MARK: Final = "queue-kept"


class Dispatcher:
    """Tells workers what there is to do. Safe to use from several threads."""

    def __init__(
        self,
        settings: Settings,
        app: Celery,
        *,
        records: JobRecords,
        prints: PrintRecords,
        batches: BatchRecords,
        put_in_order: Callable[[], None],
    ) -> None:
        """Send by this app what these have; the broker is not needed yet.

        Args:
            settings: of the service.
            app: sends.
            records: jobs.
            prints: jobs whose new runs need files.
            batches: batches.
            put_in_order: does for the record after many jobs what none of them shall wait for.
        """
        self._settings = settings
        self._app = app
        self._records, self._prints, self._batches = records, prints, batches
        self._sender = Sender(app)
        self._marked = False
        #: Wakes workers for jobs that are submitted; started, it does so in a thread of its own.
        self.waker = Waker(self._sender, partial(records.enqueued, new=True), put_in_order)

    def close(self) -> None:
        """Send what waits for the waker, and give back the connection."""
        self.waker.close()
        self._sender.close()

    # -- telling of what is new

    def send(self, job_ids: list[str], *, first: bool = False) -> None:
        """Wake workers for these jobs; those that are to be ``first`` before all that wait.

        Raises:
            BrokerUnavailable: when the broker does not answer.
        """
        self._send(BUILD_JOB, job_ids, self._records.enqueued, first=first)

    def send_repacks(self, job_ids: list[str]) -> None:
        """Have workers write the files of the new runs of these jobs.

        Raises:
            BrokerUnavailable: when the broker does not answer.
        """
        self._send(REPACK_RUNS, job_ids, self._prints.enqueued)

    def send_batches(self, batch_ids: list[str]) -> None:
        """Have workers gather these batches.

        Raises:
            BrokerUnavailable: when the broker does not answer.
        """
        self._send(GATHER_BATCH, batch_ids, self._batches.enqueued)

    def ask(self, job_id: str, key: str, pieces: Sequence[tuple[int, int]]) -> None:
        """Ask other workers for help with pieces of a job, in the form of `worker.jobs.execution.helpers`."""
        try:
            for piece in pieces:
                options: dict[str, Any] = {"retry": False, "expires": self._settings.job_seconds}
                self._app.send_task(BUILD_PARTS, args=[job_id, key, *piece], **options)
        except BROKER_FAULTS as error:
            _log.warning("Job %s goes on without help: %s", job_id, type(error).__name__)

    def _send(
        self, task: str, job_ids: list[str], enqueued: Callable[[list[str]], None], *, first: bool = False
    ) -> None:
        for start in range(0, len(job_ids), _MOST):
            some = job_ids[start : start + _MOST]
            self._sender.send(task, [(job_id, trace_headers()) for job_id in some], first=first)
            enqueued(some)

    # -- telling again

    def requeue(self) -> int:
        """Wake workers for jobs that wait without a message, or that a worker has lost; return how many.

        What was taken up before goes first: it has waited its time already.

        Raises:
            BrokerUnavailable: when the broker does not answer; the jobs go on waiting.
        """
        self.waker.write_down()
        if not self._waits():
            self._marked = self._marked or self._mark()  # what comes now is not taken for lost
            return 0
        count, begun, lost = 0, time.monotonic(), self._lost()
        while True:
            # of a queue that was lost, all is sent again that was not sent since this began
            quiet = time.monotonic() - begun if lost else self._quiet()
            lease = self._settings.lease_seconds
            waiting = self._records.waiting(quiet_seconds=quiet, limit=_MOST, lease_seconds=lease)
            taken = self._records.begun(waiting)
            self.send([one for one in waiting if one in taken], first=True)
            self.send([one for one in waiting if one not in taken])
            repacks = self._prints.waiting(quiet_seconds=quiet, limit=_MOST)
            self.send_repacks(repacks)
            batches = self._batches.waiting(quiet_seconds=quiet, limit=_MOST, lease_seconds=BATCH_LEASE)
            self.send_batches(batches)
            count += len(waiting)
            if not lost:
                return count
            if max(len(waiting), len(repacks), len(batches)) < _MOST:
                self._mark()
                return count

    def answers(self) -> bool:
        """Return whether the broker answers."""
        try:
            with self._app.connection_for_write() as connection:
                connection.default_channel.client.ping()  # `connect` would try again after two seconds
        except BROKER_FAULTS:
            return False
        return True

    def _quiet(self) -> float:
        """Return the seconds after which a message may be lost: while others wait, it most likely waits among them."""
        return _QUIET_SECONDS if self._sender.length() == 0 else _QUIET_SECONDS_IN_LINE

    def _waits(self) -> bool:
        lease = self._settings.lease_seconds
        return bool(
            self._records.waiting(quiet_seconds=0.0, limit=1, lease_seconds=lease)
            or self._prints.waiting(quiet_seconds=0.0, limit=1)
            or self._batches.waiting(quiet_seconds=0.0, limit=1, lease_seconds=BATCH_LEASE)
        )

    def _lost(self) -> bool:
        """Say whether the broker has forgotten its queue: then it has forgotten the mark that was left there, too.

        Raises:
            BrokerUnavailable: when it does not answer.
        """
        try:
            with self._app.connection_for_write() as connection:
                return connection.default_channel.client.hget(_MARK, "kept") is None
        except BROKER_FAULTS as error:
            raise BrokerUnavailable(value=type(error).__name__) from error

    def _mark(self) -> bool:
        """Leave the mark; say whether the broker took it."""
        with suppress(*BROKER_FAULTS), self._app.connection_for_write() as connection:
            connection.default_channel.client.hset(_MARK, "kept", "1")
            return True
        return False
