"""Verified reads: files are checked against their SHA-256, because a disk may return damaged data."""

from collections.abc import Iterator
from hashlib import sha256
from typing import Final

from worker.jobs.common.errors import BlobMissing
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.records.models import StoredFile

__all__ = ["damaged", "read_verified", "stream_verified"]

#: Maximum size in bytes of files that are verified in memory before the first byte is returned.
_AT_ONCE: Final = 8 * 2**20

_PIECE: Final = 256 * 1024


def stream_verified(blobs: ObjectStore, file: StoredFile, start: int, end: int) -> Iterator[bytes]:
    """Return the file's bytes from ``start`` up to ``end`` in chunks. The store is queried immediately.

    A large file is verified while it is streamed, and its last chunk is held back until then.

    Raises:
        BlobMissing: if the file is missing or damaged.
    """
    size = blobs.size(file.key)
    if size != file.bytes:
        raise damaged(file)
    if file.bytes <= _AT_ONCE:
        data = read_verified(blobs, file)
        return (data[at : min(at + _PIECE, end)] for at in range(start, end, _PIECE))
    pieces = _checked(blobs.read(file.key, 0, file.bytes), file)
    if (start, end) == (0, file.bytes):
        return pieces
    for _ in pieces:  # a range can only be verified by reading the whole file
        pass
    return blobs.read(file.key, start, end)


def read_verified(blobs: ObjectStore, file: StoredFile) -> bytes:
    """Return all of the file's bytes.

    Raises:
        BlobMissing: if the file is missing or damaged.
    """
    data = blobs.get(file.key)
    if sha256(data).hexdigest() != file.sha256:
        raise damaged(file)
    return data


def _checked(pieces: Iterator[bytes], file: StoredFile) -> Iterator[bytes]:
    checksum, last = sha256(), b""
    for piece in pieces:
        if last:
            yield last
        checksum.update(piece)
        last = piece
    if checksum.hexdigest() != file.sha256:
        raise damaged(file)
    yield last


def damaged(file: StoredFile) -> BlobMissing:
    """Return the error of a file that differs from its checksum."""
    remedy = "Submit the same spec again: what is damaged is built again."
    return BlobMissing("A stored file is damaged.", value=file.name, remedy=remedy)
