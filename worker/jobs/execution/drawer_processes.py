"""Drawer processes: they fill a job's drawers in parallel to the attempt's own process.

The attempt takes tasks from the same list and depends on no process: a drawer whose process is lost is filled by the
attempt itself. A process reads tasks from standard input and writes trays to standard output, pickled, each as a frame.
"""

import os
import pickle
import subprocess
import sys
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread
from typing import IO, Final

from worker.jobs.execution.frames import Frame, answer_frames, read_frame, write_frame
from worker.layout.items.filling.drawer_task import DrawerTask, PlacedColumns, one_by_one

__all__ = ["DrawerProcesses"]

#: Fewest regions that the search clears in all, for which a process is started: about two seconds of work, as much as
#: two starts.
_LEAST_MOVES: Final = 60

#: Seconds between two looks at what other threads have done; a signal wakes the wait at once.
_TICK: Final = 0.5


class DrawerProcesses:
    """Runs the tasks of drawers in this process and in others, which are started for each call."""

    def __init__(self, most: int, memory: int) -> None:
        """Use at most so many processes, this one among them, each with so many bytes of memory (0: no limit)."""
        self._most = most
        self._memory = memory

    def __call__(self, tasks: Sequence[DrawerTask]) -> list[PlacedColumns]:
        """Return the trays of each task, in order."""
        searched = [number for number, task in enumerate(tasks) if task.moves]
        others = min(self._most, len(searched)) - 1
        if others < 1 or sum(task.moves for task in tasks) < _LEAST_MOVES:
            return one_by_one(tasks)
        # what takes longest first, so that all end at about the same time
        waiting = deque(sorted(range(len(tasks)), key=lambda number: -tasks[number].moves))
        work = _Work(tasks, waiting)
        processes = [_DrawerProcess(self._memory) for _ in range(others)]
        try:
            threads = [Thread(target=work.feed, args=(process,), daemon=True) for process in processes]
            for thread in threads:
                thread.start()
            work.do()
            for thread, process in zip(threads, processes, strict=True):
                while thread.is_alive() and process in work.lent:
                    thread.join(_TICK)
        finally:
            for process in processes:
                process.kill()
        placed = work.placed
        return [placed[number] if number in placed else task.run() for number, task in enumerate(tasks)]


@dataclass
class _Work:
    """Tasks, the numbers of those that wait, the trays of those that are done, and which process has which."""

    tasks: Sequence[DrawerTask]
    waiting: "deque[int]"
    placed: dict[int, PlacedColumns] = field(default_factory=dict)
    lent: "dict[_DrawerProcess, int]" = field(default_factory=dict)

    def do(self) -> None:
        """Run tasks in this process until none waits."""
        while self.waiting:
            with suppress(IndexError):  # another thread took the last
                number = self.waiting.popleft()
                self.placed[number] = self.tasks[number].run()

    def feed(self, process: "_DrawerProcess") -> None:
        """Have a process run tasks until none waits, or the process ends."""
        with suppress(OSError, ValueError, EOFError, IndexError, pickle.PickleError):
            process.wait_until_ready()
            while self.waiting:
                self.lent[process] = number = self.waiting.popleft()
                self.placed[number] = process.run(self.tasks[number])
        self.lent.pop(process, None)


class _DrawerProcess:
    """A process that runs one task at a time."""

    def __init__(self, memory: int) -> None:
        root = str(Path(__file__).resolve().parents[3])
        paths = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
        self._process = subprocess.Popen(  # noqa: S603 - our own interpreter
            [sys.executable, "-P", "-m", __name__, str(memory)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": paths},
        )

    def wait_until_ready(self) -> None:
        """Wait until the process has loaded its libraries: until then this one takes tasks faster.

        Raises:
            EOFError: when the process has ended.
        """
        read_frame(self._stream(self._process.stdout))

    def run(self, task: DrawerTask) -> PlacedColumns:
        """Return the trays of a task.

        Raises:
            EOFError: when the process has ended. OSError: when it cannot be written to.
        """
        write_frame(self._stream(self._process.stdin), b"D", pickle.dumps(task))
        _, content = read_frame(self._stream(self._process.stdout))
        trays: PlacedColumns = pickle.loads(content)  # noqa: S301 - our own process
        return trays

    def kill(self) -> None:
        """End the process at once."""
        self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()

    @staticmethod
    def _stream(stream: IO[bytes] | None) -> IO[bytes]:
        if stream is None:
            raise EOFError
        return stream


def main(memory: int) -> None:
    """Run tasks from standard input until it closes; ``memory`` is the limit of this process in bytes, 0 for none."""
    answer_frames(memory, _answer)


def _answer(_: bytes, content: bytes) -> Frame:
    task: DrawerTask = pickle.loads(content)  # noqa: S301 - from the process that started this
    return b"D", pickle.dumps(task.run())


if __name__ == "__main__":
    main(int(sys.argv[1]))
