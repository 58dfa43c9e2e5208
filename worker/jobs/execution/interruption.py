"""Interruption: stops an attempt in the middle of a long step, but never in the middle of a write.

Another thread requests it; a signal wakes the main thread, which raises `Interrupted` where it computes. While it
writes to the database or the object store it is shielded, and raises when the write is done.
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
    """Why an attempt is to stop."""

    #: The job was cancelled, or another worker took over its lease.
    LEASE_LOST = auto()
    #: The worker shuts down; another one shall run the job.
    SHUTDOWN = auto()
    #: The attempt took longer than its time limit.
    TIMEOUT = auto()


class Interrupted(BaseException):
    """The attempt is to stop. It is no `Exception`, so that no handler on its way takes it for a failure."""

    def __init__(self, reason: StopReason) -> None:
        """Keep the reason."""
        super().__init__(reason)
        self.reason = reason


class Interruption:
    """Stops one attempt on request. An attempt outside the main thread stops only at `check`."""

    def __init__(self) -> None:
        """Create it with nothing requested."""
        self.reason: StopReason | None = None
        #: Whether this process received SIGTERM while the attempt ran.
        self.terminated = False
        self._armed = False
        self._shields = 0

    def request(self, reason: StopReason) -> None:
        """Request that the attempt stops, for the first reason given. Repeat it until it has: a signal may get lost."""
        if self.reason is None:
            self.reason = reason
        ident = main_thread().ident
        if self._armed and ident is not None:
            signal.pthread_kill(ident, _SIGNAL)

    def check(self) -> None:
        """Stop here if that was requested.

        Raises:
            Interrupted: when it was.
        """
        if self.reason is not None:
            raise Interrupted(self.reason)

    @contextmanager
    def armed(self) -> Iterator[None]:
        """Allow the main thread to be interrupted inside, wherever it is not shielded.

        Raises:
            Interrupted: anywhere inside.
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
            self._armed = False  # again: the line above may be where it was interrupted
            for number, handler in handlers:
                signal.signal(number, handler)

    def __enter__(self) -> Self:
        """Shield what follows from interruption."""
        self._shields += 1
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        """End the shield; stop here if that was requested meanwhile."""
        self._shields -= 1
        if kind is None and self._armed and self._shields == 0:
            self.check()

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        if number == signal.SIGTERM:
            self.terminated = True
            self.reason = self.reason or StopReason.SHUTDOWN
        if self._armed and self._shields == 0:
            self.check()
