"""Writes files under keys that contain their checksum, and reads them back verified."""

from collections.abc import Mapping
from hashlib import sha256

from worker.jobs.common.errors import BlobMissing
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.verified_read import read_verified
from worker.jobs.records.models import StoredFile

__all__ = ["load_file", "store_file"]


def store_file(blobs: ObjectStore, folder: str, name: str, media_type: str, data: bytes) -> StoredFile:
    """Store a file in this folder and return its entry; the same name and bytes give the same key."""
    checksum = sha256(data).hexdigest()
    key = f"{folder}/{checksum[:16]}-{name}"
    blobs.put(key, data)
    return StoredFile(name, media_type, len(data), checksum, key)


def load_file(blobs: ObjectStore, there: Mapping[str, StoredFile], name: str) -> bytes:
    """Return the bytes of one of these files.

    Raises:
        BlobMissing: if it is none of them, or is missing or damaged.
    """
    file = there.get(name)
    if file is None:
        raise BlobMissing(value=name)
    return read_verified(blobs, file)
