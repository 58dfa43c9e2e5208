"""Filing: a file goes into the store under a key that carries its digest, and comes out as it went in."""

from collections.abc import Mapping
from hashlib import sha256

from worker.jobs.common.errors import BlobMissing
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.verified_read import read_verified
from worker.jobs.records.models import StoredFile

__all__ = ["load_file", "store_file"]


def store_file(blobs: ObjectStore, folder: str, name: str, media_type: str, data: bytes) -> StoredFile:
    """Store a file below this folder; the same bytes again are the same file."""
    checksum = sha256(data).hexdigest()
    key = f"{folder}/{checksum[:16]}-{name}"
    blobs.put(key, data)
    return StoredFile(name, media_type, len(data), checksum, key)


def load_file(blobs: ObjectStore, there: Mapping[str, StoredFile], name: str) -> bytes:
    """Return the bytes of one of these files.

    Raises:
        BlobMissing: when it is none of them, or the store has it damaged or not at all.
    """
    file = there.get(name)
    if file is None:
        raise BlobMissing(value=name)
    return read_verified(blobs, file)
