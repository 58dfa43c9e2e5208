"""The orphan reaper: a process that stops the embedded broker and worker if their process host is killed.

It reads a pipe whose write end only the host has. The host writes the ids of the processes that it starts; if the pipe
closes before the host has dismissed the reaper, the reaper stops these processes. This works on every Unix; a signal
on the parent's death exists on Linux only.
"""

import os
import signal
import sys
import time
from contextlib import suppress
from typing import Final

#: Message of a host that has stopped everything itself.
_DISMISSED: Final = b"over"

#: Seconds between two checks whether a worker has ended.
_POLL_SECONDS: Final = 0.05


class OrphanReaper:
    """The host's end of the pipe. Create it before the host has threads or children: it forks."""

    def __init__(self, patience: float) -> None:
        """Start the reaper, which gives a worker ``patience`` seconds to shut down before killing it.

        The host must lead a process group, to which the broker belongs.
        """
        read_end, self._pipe = os.pipe()
        host = os.getpid()
        if os.fork() == 0:
            status = 1
            try:
                os.close(self._pipe)
                _wait_and_reap(read_end, host, patience)
                status = 0
            finally:
                os._exit(status)
        os.close(read_end)

    def watch(self, worker: int) -> None:
        """Also reap this worker, which leads its own process group."""
        self._write(str(worker).encode())

    def dismiss(self) -> None:
        """End the reaper after the host has stopped broker and worker itself."""
        self._write(_DISMISSED)
        os.close(self._pipe)

    def _write(self, line: bytes) -> None:
        with suppress(OSError):  # a reaper that was killed must not end the host
            os.write(self._pipe, line + b"\n")


def _wait_and_reap(pipe: int, host: int, patience: float) -> None:
    """Wait until the host ends, and stop the processes that it left behind."""
    os.setsid()  # a signal to the host's group must not end the reaper
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (sys.stdin, sys.stdout):  # the host's parent waits for these to close
        os.dup2(null, stream.fileno())
    received = b""
    while chunk := os.read(pipe, 1024):
        received += chunk
    lines = received.split()
    if _DISMISSED in lines:
        return
    workers = [int(line) for line in lines]
    for worker in workers:
        with suppress(ProcessLookupError, PermissionError):
            os.kill(worker, signal.SIGTERM)
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(host, signal.SIGKILL)  # the broker: a new one may need its socket at once
    deadline = time.monotonic() + patience
    while any(_is_alive(worker) for worker in workers) and time.monotonic() < deadline:
        time.sleep(_POLL_SECONDS)
    for worker in workers:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(worker, signal.SIGKILL)


def _is_alive(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except (ProcessLookupError, PermissionError):
        return False
    return True
