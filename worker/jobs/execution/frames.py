"""Frames: what a process of our own and its parent exchange over standard input and output.

A frame is a byte for its kind, four for the length of its content (big-endian), and the content.
"""

import os
import queue
import struct
import sys
from collections.abc import Callable
from threading import Thread
from typing import IO, Final, NoReturn, TypeAlias

from worker.jobs.execution.memory_limit import limit_memory

__all__ = ["HEADER", "Frame", "answer_frames", "packed", "read_frame", "write_frame"]

#: The kind and the length of a frame.
HEADER: Final = struct.Struct(">cI")

#: Kind and content.
Frame: TypeAlias = tuple[bytes, bytes]


def packed(kind: bytes, content: bytes) -> bytes:
    """Return a frame as it is sent."""
    return HEADER.pack(kind, len(content)) + content


def write_frame(stream: IO[bytes], kind: bytes, content: bytes) -> None:
    """Write a frame at once.

    Raises:
        OSError: when the stream's reader has ended.
    """
    stream.write(packed(kind, content))
    stream.flush()


def read_frame(stream: IO[bytes]) -> Frame:
    """Read a frame.

    Raises:
        EOFError: when the stream ends before the frame does.
    """
    header = stream.read(HEADER.size)
    if len(header) < HEADER.size:
        raise EOFError
    kind, length = HEADER.unpack(header)
    content = stream.read(length)
    if len(content) < length:
        raise EOFError
    return kind, content


def answer_frames(memory: int, answer: Callable[[bytes, bytes], Frame]) -> NoReturn:
    """Write a frame of kind ``R``, then answer each frame of standard input on standard output.

    The process ends when standard input closes, also in the middle of an answer: that its parent has ended must not
    leave it computing.

    Args:
        memory: limit of this process in bytes, 0 for none.
        answer: returns the answer to a frame.
    """
    limit_memory(memory)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints must not come between two frames
    write_frame(answers, b"R", b"")
    frames: queue.SimpleQueue[Frame] = queue.SimpleQueue()
    Thread(target=_read_frames, args=(sys.stdin.buffer, frames), daemon=True).start()
    while True:
        write_frame(answers, *answer(*frames.get()))


def _read_frames(stream: IO[bytes], frames: "queue.SimpleQueue[Frame]") -> None:
    status = 1  # out of memory, too, the process ends: nobody would answer
    try:
        while True:
            frames.put(read_frame(stream))
    except EOFError:
        status = 0
    finally:
        os._exit(status)
