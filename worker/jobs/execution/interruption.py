"""Interruption: stops an attempt in the middle of a long step, but never in the middle of a write.

Another thread requests the interruption, and a signal makes the main thread raise `Interrupted` while it computes.
Writes to the database or the object store are shielded: the exception is raised after the write.
"""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum, auto
from threading import current_thread, main_thread
from types import FrameType
from typing import Final, Self

#: Wakes the main thread; Celery uses SIGUSR1 itself.
_SIGNAL: Final = signal.SIGUSR2


class StopReason(Enum):
    """Why an attempt must stop."""

    #: The job was cancelled, or another worker took over its lease.
    LEASE_LOST = auto()
    #: The worker shuts down, and another one is to run the job.
    SHUTDOWN = auto()
    #: The attempt took longer than its time limit.
    TIMEOUT = auto()


class Interrupted(BaseException):
    """The attempt must stop. This is not an `Exception`, so that no handler treats it as a failure."""

    def __init__(self, reason: StopReason) -> None:
        """Keep the reason."""
        super().__init__(reason)
        self.reason = reason


class Interruption:
    """Stops one attempt on request. An attempt outside the main thread stops only at `check`."""

    def __init__(self) -> None:
        """Start without a request to stop."""
        self.reason: StopReason | None = None
        #: Whether this process received SIGTERM while the attempt ran.
        self.terminated = False
        self._armed = False
        self._shields = 0

    def request(self, reason: StopReason) -> None:
        """Request that the attempt stops; the first reason counts. Repeat it: a signal can be lost."""
        if self.reason is None:
            self.reason = reason
        ident = main_thread().ident
        if self._armed and ident is not None:
            signal.pthread_kill(ident, _SIGNAL)

    def check(self) -> None:
        """Raise if a stop was requested.

        Raises:
            Interrupted: if it was.
        """
        if self.reason is not None:
            raise Interrupted(self.reason)

    @contextmanager
    def armed(self) -> Iterator[None]:
        """Allow the main thread to be interrupted in the context, except where it is shielded.

        Raises:
            Interrupted: anywhere in the context.
        """
        if current_thread() is not main_thread():
            yield
            return
        handlers = [(number, signal.signal(number, self._on_signal)) for number in (_SIGNAL, signal.SIGTERM)]
        try:
            self._armed = True
            try:
                self.check()
                yield
            finally:
                self._armed = False
        finally:
            self._armed = False  # again: the interruption may have come at the line above
            for number, handler in handlers:
                signal.signal(number, handler)

    def __enter__(self) -> Self:
        """Begin a shielded block, which is not interrupted."""
        self._shields += 1
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        """End the shielded block; raise if a stop was requested in it."""
        self._shields -= 1
        if kind is None and self._armed and self._shields == 0:
            self.check()

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        if number == signal.SIGTERM:
            self.terminated = True
            self.reason = self.reason or StopReason.SHUTDOWN
        if self._armed and self._shields == 0:
            self.check()
