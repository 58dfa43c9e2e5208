"""Interruption: how an attempt is stopped in the middle of a long step, but never in the middle of a write.

Another thread asks; the main thread is woken by a signal and raises where it computes. While it writes to the record or
the store it is shielded, and raises when the write is done.
"""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum, auto
from threading import current_thread, main_thread
from types import FrameType
from typing import Final, Self

#: Wakes the main thread; the queue itself uses SIGUSR1.
_SIGNAL: Final = signal.SIGUSR2


class StopReason(Enum):
    """Why an attempt is to stop."""

    #: Cancelled, or taken over by another attempt.
    LOST = auto()
    #: The worker ends; another one shall have the job.
    HANDED_BACK = auto()
    #: It took longer than an attempt may.
    TOO_LONG = auto()


class Interrupted(BaseException):
    """The attempt is to stop; no `Exception`, so that nothing on its way takes it for a failure of its own."""

    def __init__(self, reason: StopReason) -> None:
        """Keep why."""
        super().__init__(reason)
        self.reason = reason


class Interruption:
    """One attempt's way to be stopped. In another than the main thread only `check` stops it."""

    def __init__(self) -> None:
        """Nobody has asked yet."""
        self.reason: StopReason | None = None
        #: Whether this process was told to end while the attempt ran.
        self.terminated = False
        self._armed = False
        self._shields = 0

    def ask(self, reason: StopReason) -> None:
        """Ask the attempt to stop, for the first reason given; ask again until it has: a signal may get lost."""
        if self.reason is None:
            self.reason = reason
        ident = main_thread().ident
        if self._armed and ident is not None:
            signal.pthread_kill(ident, _SIGNAL)

    def check(self) -> None:
        """Stop if somebody asked.

        Raises:
            Interrupted: when somebody did.
        """
        if self.reason is not None:
            raise Interrupted(self.reason)

    @contextmanager
    def armed(self) -> Iterator[None]:
        """Let the main thread be interrupted while this lasts, wherever it is not shielded.

        Raises:
            Interrupted: anywhere inside.
        """
        if current_thread() is not main_thread():
            yield
            return
        before = [(one, signal.signal(one, self._woken)) for one in (_SIGNAL, signal.SIGTERM)]
        try:
            self._armed = True
            try:
                self.check()
                yield
            finally:
                self._armed = False
        finally:
            self._armed = False  # once more: the line above may be where it was interrupted
            for one, handler in before:
                signal.signal(one, handler)

    def __enter__(self) -> Self:
        """Shield what follows."""
        self._shields += 1
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        """End the shield; stop if somebody asked meanwhile."""
        self._shields -= 1
        if kind is None and self._armed and self._shields == 0:
            self.check()

    def _woken(self, number: int, _frame: FrameType | None) -> None:
        if number == signal.SIGTERM:
            self.terminated = True
            self.reason = self.reason or StopReason.HANDED_BACK
        if self._armed and self._shields == 0:
            self.check()
