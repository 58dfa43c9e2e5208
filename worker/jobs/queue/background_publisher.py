"""The waker: wakes workers for jobs that were just kept, so that whoever submits one need not wait for the broker.

The record is the truth: what the waker cannot send is found and sent by the upkeep. What it has sent it writes down a
little later, for many jobs at once. Should it be killed before, messages come twice, and the second claims nothing.
"""

import logging
import time
from collections.abc import Callable
from contextvars import Context, copy_context
from threading import Condition, Lock, Thread
from typing import Final

from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.observability.tracing import trace_headers
from worker.jobs.queue.celery_app import BUILD_JOB
from worker.jobs.queue.sender import Sender

__all__ = ["Waker"]

_log = logging.getLogger(__name__)

#: Seconds between a job and its message, so that the answer goes first; and between two steps of sending, so that jobs
#: that come one after the other go together.
_PAUSE: Final = 0.002
_GATHERED: Final = 0.02

#: Seconds for which a message that was sent need not be written down.
_UNWRITTEN: Final = 1.0

#: Messages sent in one step.
_PIECE: Final = 200

#: Jobs after which what the record has of them is put in order. SQLite's log has about eight pages of each and would do
#: so by itself after 8,000 (`database.py`). Requests that come meanwhile take longer, so it is not done often.
_ORDERLY: Final = 300

#: Jobs that wait for the broker in this process; those beyond are left to the upkeep.
_MOST: Final = 10_000

#: Seconds that the end waits for what is still to be sent: several times what an attempt may take.
_PATIENCE: Final = 3.0


class Waker:
    """Sends at once, in the thread that asks; between `start` and `close` in one of its own."""

    def __init__(self, sender: Sender, note: Callable[[list[str]], None], put_in_order: Callable[[], None]) -> None:
        """Send with this sender.

        Args:
            sender: sends.
            note: writes down that jobs have a message.
            put_in_order: does for the record after many jobs what none of them shall wait for.
        """
        self._sender = sender
        self._note = note
        self._put_in_order = put_in_order
        self._since = 0
        self._changed = Condition()
        self._waiting: list[tuple[str, Context]] = []
        self._thread: Thread | None = None
        self._ends = False
        self._writing = Lock()
        self._sent: list[str] = []
        self._due = 0.0

    def start(self) -> None:
        """Begin to send in a thread."""
        with self._changed:
            self._ends = False
            self._thread = Thread(target=self._run, name="waker", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Send what waits, if the broker answers, and end the thread."""
        with self._changed:
            thread, self._thread = self._thread, None
            self._ends = True
            self._changed.notify()
        if thread is not None:
            thread.join(_PATIENCE)

    def wake(self, job_id: str) -> None:
        """Wake a worker for this job, if the broker answers; else the upkeep finds the job."""
        one = job_id, copy_context()  # so that spans and lines of the log are of the request that asked
        with self._changed:
            if self._thread is not None:
                if len(self._waiting) < _MOST:
                    self._waiting.append(one)
                if len(self._waiting) == 1:  # else it knows that there are some
                    self._changed.notify()
                return
        self._send([one])
        self.write_down()

    def write_down(self) -> None:
        """Write down what was sent and is not written down yet."""
        with self._writing:
            sent, self._sent = self._sent, []
        if not sent:
            return
        try:
            self._note(sent)
            self._since += len(sent)
            if self._since >= _ORDERLY:
                self._since = 0
                self._put_in_order()
        except SQLAlchemyError:
            _log.warning("%d jobs get their message twice.", len(sent), exc_info=True)

    def _run(self) -> None:
        free = 0.0
        while True:
            with self._changed:
                left = max(0.0, self._due - time.monotonic()) if self._sent else None
                self._changed.wait_for(lambda: self._waiting or self._ends, left)
                if self._waiting and not self._ends:
                    self._changed.wait_for(lambda: self._ends, max(_PAUSE, free - time.monotonic()))
                some, self._waiting = self._waiting[:_PIECE], self._waiting[_PIECE:]
                over = self._ends and not self._waiting
            if some:
                try:
                    self._send(some)
                except Exception:  # noqa: BLE001 - it must outlive whatever goes wrong for a while
                    _log.exception("%d jobs wait.", len(some))
                free = time.monotonic() + _GATHERED
            if over or (self._sent and time.monotonic() >= self._due):
                self.write_down()
            if over:
                return

    def _send(self, some: list[tuple[str, Context]]) -> None:
        try:
            self._sender.send(BUILD_JOB, [(job_id, context.run(trace_headers)) for job_id, context in some])
        except BrokerUnavailable as error:
            for job_id, context in some:
                context.run(_log.warning, "Job %s waits: %s", job_id, error)
            return
        with self._writing:
            if not self._sent:
                self._due = time.monotonic() + _UNWRITTEN
            self._sent += [job_id for job_id, _ in some]
