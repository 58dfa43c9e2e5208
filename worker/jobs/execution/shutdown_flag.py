"""The end of a worker: its parent process notes it, and the attempts in its children see the note."""

import mmap


class ShutdownFlag:
    """A note in memory that is shared with all processes forked after it was made."""

    def __init__(self) -> None:
        """The worker goes on."""
        self._note = mmap.mmap(-1, 1)

    def begin(self) -> None:
        """Note that the worker ends; safe in a signal handler."""
        self._note[0] = 1

    def begun(self) -> bool:
        """Say whether the worker ends."""
        return self._note[0] != 0
