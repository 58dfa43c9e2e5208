"""Wholeness: stored files are handed on as they were made, or not at all: a disk may return other bytes."""

from collections.abc import Iterator
from hashlib import sha256
from typing import Final

from worker.jobs.common.errors import BlobMissing
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.records.models import StoredFile

__all__ = ["read_verified", "stream_verified"]

#: Up to so many bytes are read and looked through before the first is handed on.
_AT_ONCE: Final = 8 * 2**20

_PIECE: Final = 256 * 1024


def stream_verified(blobs: ObjectStore, file: StoredFile, start: int, end: int) -> Iterator[bytes]:
    """Return the file's bytes from ``start`` up to ``end`` in pieces. The store is asked at once.

    A large file that is asked for as a whole is looked through on its way, and its last piece is held back until then.

    Raises:
        BlobMissing: when the store has no such file, or has it damaged.
    """
    size = blobs.size(file.key)
    if size != file.bytes:
        raise _damaged(file)
    if file.bytes <= _AT_ONCE:
        data = read_verified(blobs, file)
        return (data[at : min(at + _PIECE, end)] for at in range(start, end, _PIECE))
    pieces = _checked(blobs.read(file.key, 0, file.bytes), file)
    if (start, end) == (0, file.bytes):
        return pieces
    for _ in pieces:  # a part of it says nothing of itself
        pass
    return blobs.read(file.key, start, end)


def read_verified(blobs: ObjectStore, file: StoredFile) -> bytes:
    """Return all of the file's bytes.

    Raises:
        BlobMissing: when the store has no such file, or has it damaged.
    """
    data = blobs.get(file.key)
    if sha256(data).hexdigest() != file.sha256:
        raise _damaged(file)
    return data


def _checked(pieces: Iterator[bytes], file: StoredFile) -> Iterator[bytes]:
    checksum, last = sha256(), b""
    for piece in pieces:
        if last:
            yield last
        checksum.update(piece)
        last = piece
    if checksum.hexdigest() != file.sha256:
        raise _damaged(file)
    yield last


def _damaged(file: StoredFile) -> BlobMissing:
    remedy = "Submit the same spec again: what is damaged is built again."
    return BlobMissing("A stored file is damaged.", value=file.name, remedy=remedy)
