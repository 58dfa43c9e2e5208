"""The reader process: reads the files of one silhouette. It runs as a program; nothing imports it.

Whatever a file of a stranger does to the libraries that read it, it does here: the process has a memory limit, is ended
after a time limit, and its answers are JSON and pictures, never pickles.
"""

import logging
import sys
from base64 import b64decode

import orjson

from worker.jobs.execution.frames import Frame, answer_frames
from worker.silhouettes.errors import SilhouetteError
from worker.silhouettes.reading import SourceFile, read_files
from worker.spec.requests.silhouette import SilhouetteRequest

__all__ = ["main"]

_log = logging.getLogger(__name__)


def main(memory: int) -> None:
    """Answer on standard output; ``memory`` is the limit of this process in bytes, 0 for none."""
    for library in ("ezdxf", "trimesh", "svgelements"):  # they report each fault of a file
        logging.getLogger(library).setLevel(logging.CRITICAL)
    answer_frames(memory, _answer)


def _answer(_: bytes, content: bytes) -> Frame:
    order = orjson.loads(content)
    files = [SourceFile(file["format"], b64decode(file["content"])) for file in order["files"]]
    try:
        reading = read_files(files, SilhouetteRequest.model_validate(order["request"]))
    except SilhouetteError as error:
        return b"E", orjson.dumps({"slug": error.slug, **error.fields()})
    except MemoryError:
        return b"M", b""
    except Exception:  # noqa: BLE001 - see below
        # a fault of a library, or of ours: the log says which, the caller learns that the file is the cause
        _log.exception("A file of the formats %s ended its reading.", ", ".join(file.format for file in files))
        unreadable = SilhouetteError("The file cannot be read.", reason="unreadable", remedy="Export it again.")
        return b"E", orjson.dumps({"slug": unreadable.slug, **unreadable.fields()})
    sizes = {name: len(content) for name, content in reading.pictures.items()}
    header = orjson.dumps({"document": reading.document, "pictures": sizes})
    return b"S", len(header).to_bytes(4, "big") + header + b"".join(reading.pictures.values())


if __name__ == "__main__":
    main(int(sys.argv[1]))
