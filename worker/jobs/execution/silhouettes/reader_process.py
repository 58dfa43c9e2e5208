"""Readings in a process of their own, which is started for each and ended after its answer or its time limit."""

import os
import subprocess
import sys
from base64 import b64encode
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Timer
from typing import Any, Final

import orjson

from worker.jobs.common.errors import InternalError
from worker.jobs.execution.frames import Frame, read_frame, write_frame
from worker.silhouettes.errors import DrawingRefused, ModelRefused, PhotoRefused, SilhouetteError
from worker.silhouettes.file_format import FileFormat

__all__ = ["READING_SECONDS", "RawReading", "read_in_process"]

#: Time limit of a reading, start of the process included, s: a photo of 12 MP takes 5, the largest mesh 15.
READING_SECONDS: Final = 60.0

#: Memory limit of a reading in bytes.
_MEMORY: Final = 1_500_000_000

_KINDS: Final = {kind.slug: kind for kind in (SilhouetteError, PhotoRefused, DrawingRefused, ModelRefused)}
_PROGRAM: Final = "worker.jobs.execution.silhouettes.reader"
_REMEDY: Final = "Simplify the file, or send a smaller one."


@dataclass(frozen=True, slots=True)
class RawReading:
    """What a reader process answers: the silhouette as JSON, and pictures by name if the files were photos."""

    document: dict[str, Any]
    pictures: dict[str, bytes]


def read_in_process(
    files: Sequence[tuple[FileFormat, bytes]], request: dict[str, Any], *, seconds: float = READING_SECONDS,
    memory: int = _MEMORY,
) -> RawReading:  # fmt: skip
    """Return what files show.

    Args:
        files: format and content of each.
        request: a `SilhouetteRequest` as JSON.
        seconds: time limit.
        memory: memory limit in bytes, 0 for none.

    Raises:
        SilhouetteError: if they show no silhouette, or reading them takes too long or too much memory.
        InternalError: if the process ended otherwise.
    """
    contents = [{"format": kind, "content": b64encode(content).decode()} for kind, content in files]
    kind, content = _exchange(orjson.dumps({"files": contents, "request": request}), seconds, memory)
    if kind == b"E":
        raise _error(orjson.loads(content))
    if kind == b"M":
        limit = f"{memory} bytes of memory"
        raise SilhouetteError("The file takes too much memory.", reason="too-costly", limit=limit, remedy=_REMEDY)
    if kind != b"S":
        raise InternalError
    end = 4 + int.from_bytes(content[:4], "big")
    header = orjson.loads(content[4:end])
    pictures: dict[str, bytes] = {}
    for name, size in header["pictures"].items():
        pictures[name], end = content[end : end + size], end + size
    return RawReading(header["document"], pictures)


def _exchange(content: bytes, seconds: float, memory: int) -> Frame:
    root = str(Path(__file__).resolve().parents[4])
    paths = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    process = subprocess.Popen(  # noqa: S603 - our own interpreter
        [sys.executable, "-P", "-m", _PROGRAM, str(memory)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": paths},
    )
    late = Timer(seconds, process.kill)
    late.start()
    try:
        if process.stdin is None or process.stdout is None:
            raise InternalError
        read_frame(process.stdout)  # it is ready
        write_frame(process.stdin, b"R", content)
        return read_frame(process.stdout)
    except (EOFError, OSError):
        if not late.is_alive():
            limit = f"{seconds:g} s"
            raise SilhouetteError(
                "The file takes too long to read.", reason="too-costly", limit=limit, remedy=_REMEDY
            ) from None
        # a library that runs out of memory may end the process instead of raising an error
        raise SilhouetteError(
            "The file ended the program that reads it.", reason="unreadable", remedy=_REMEDY
        ) from None
    finally:
        late.cancel()
        process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()


def _error(fields: dict[str, Any]) -> SilhouetteError:
    kind = _KINDS.get(str(fields.get("slug")), SilhouetteError)
    names = ("reason", "pointer", "value", "limit", "remedy")
    return kind(fields.get("detail"), **{name: fields.get(name) for name in names})
