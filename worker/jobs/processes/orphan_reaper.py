"""The warden: a process that ends the keeper's broker and worker when the keeper was killed and cannot do it itself.

It holds one end of a pipe whose other end only the keeper has. What the keeper starts is written into it; when it
closes before the keeper said that all is over, the warden ends what is left. This works on every Unix, unlike a signal
on a parent's death, which is Linux's own.
"""

import os
import signal
import sys
import time
from contextlib import suppress
from typing import Final

#: What the keeper says at its end.
_OVER: Final = b"over"

#: Seconds between two looks at a worker that ends.
_LOOK: Final = 0.05


class OrphanReaper:
    """The keeper's end of the pipe. Made before the keeper has threads or children: it forks."""

    def __init__(self, patience: float) -> None:
        """Start the process, which gives a worker this many seconds to end.

        The keeper must lead a process group, in which the broker is.
        """
        reading, self._pipe = os.pipe()
        keeper = os.getpid()
        if os.fork() == 0:
            status = 1
            try:
                os.close(self._pipe)
                _watch(reading, keeper, patience)
                status = 0
            finally:
                os._exit(status)
        os.close(reading)

    def watch(self, worker: int) -> None:
        """Watch this worker, which leads a process group, beside the broker."""
        self._say(str(worker).encode())

    def over(self) -> None:
        """Let the warden go: the keeper has ended everything itself."""
        self._say(_OVER)
        os.close(self._pipe)

    def _say(self, line: bytes) -> None:
        with suppress(OSError):  # a warden that was killed is no reason to end
            os.write(self._pipe, line + b"\n")


def _watch(pipe: int, keeper: int, patience: float) -> None:
    """Wait for the keeper's end; end what it has left."""
    os.setsid()  # what ends the keeper's group shall not end this
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    nothing = os.open(os.devnull, os.O_RDWR)
    for stream in (sys.stdin, sys.stdout):  # the keeper's parent waits for these to close
        os.dup2(nothing, stream.fileno())
    said = b""
    while more := os.read(pipe, 1024):
        said += more
    lines = said.split()
    if _OVER in lines:
        return
    workers = [int(line) for line in lines]
    for worker in workers:
        _end(worker, signal.SIGTERM)
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(keeper, signal.SIGKILL)  # the broker: a new one may want its socket at once
    until = time.monotonic() + patience
    while any(_lives(worker) for worker in workers) and time.monotonic() < until:
        time.sleep(_LOOK)
    for worker in workers:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(worker, signal.SIGKILL)


def _end(process: int, number: int) -> None:
    with suppress(ProcessLookupError, PermissionError):
        os.kill(process, number)


def _lives(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except (ProcessLookupError, PermissionError):
        return False
    return True
