"""The shutdown flag of a worker: its parent process sets it, and the jobs in its child processes read it."""

import mmap


class ShutdownFlag:
    """A flag in memory that is shared with all processes forked after it was created."""

    def __init__(self) -> None:
        """Create the flag, not set."""
        self._shared = mmap.mmap(-1, 1)

    def set(self) -> None:
        """Announce the shutdown; safe in a signal handler."""
        self._shared[0] = 1

    def is_set(self) -> bool:
        """Return whether the worker shuts down."""
        return self._shared[0] != 0
