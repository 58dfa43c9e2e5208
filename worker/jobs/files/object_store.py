"""The object store: files by key, in a local folder or in an S3-compatible store.

Keys contain the digest of their content, so writing a key twice writes the same bytes.
"""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

import obstore
from obstore.exceptions import BaseError, NotFoundError
from obstore.store import LocalStore, S3Store
from obstore.store import ObjectStore as Backend

from worker.jobs.common.errors import BlobMissing, SettingsError
from worker.jobs.common.settings import Settings

if TYPE_CHECKING:
    from obstore.store import S3Config  # there in its stub only

#: Size of a chunk in bytes.
_CHUNK = 256 * 1024


@dataclass(frozen=True, slots=True)
class StoredObject:
    """A file in the store: its key and the time of its last write."""

    key: str
    modified: datetime


class ObjectStore:
    """A store of files by key."""

    def __init__(self, store: Backend) -> None:
        """Use this store."""
        self._store = store

    @classmethod
    def open(cls, settings: Settings) -> "ObjectStore":
        """Open the object store of the settings.

        Raises:
            SettingsError: if the URL is invalid, or the folder cannot be created.
        """
        url = urlsplit(settings.blobs)
        try:
            if url.scheme == "file":
                folder = Path(unquote(url.path))
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
                return cls(LocalStore(folder))
            if url.scheme == "s3" and url.netloc:
                return cls(_s3(settings, url.netloc, url.path.strip("/")))
        except (OSError, BaseError) as error:
            raise SettingsError("The object store cannot be opened.", value=settings.blobs) from error
        raise SettingsError(
            "The URL of the object store is invalid.", value=settings.blobs, limit="file:///... or s3://..."
        )

    def put(self, key: str, data: bytes) -> None:
        """Store the bytes under the key atomically; an existing file is overwritten, which repairs a damaged one."""
        obstore.put(self._store, key, data, mode="overwrite", use_multipart=False)

    def get(self, key: str) -> bytes:
        """Return the bytes.

        Raises:
            BlobMissing: if there is no such file.
        """
        try:
            return bytes(obstore.get(self._store, key).bytes())
        except (NotFoundError, FileNotFoundError) as error:
            raise BlobMissing(value=key) from error

    def size(self, key: str) -> int:
        """Return the size of the file in bytes.

        Raises:
            BlobMissing: if there is no such file.
        """
        try:
            return int(obstore.head(self._store, key)["size"])
        except (NotFoundError, FileNotFoundError) as error:
            raise BlobMissing(value=key) from error

    def read(self, key: str, start: int, end: int) -> Iterator[bytes]:
        """Return the bytes from ``start`` up to ``end`` in chunks. The store is queried immediately.

        Raises:
            BlobMissing: if there is no such file.
        """
        if start >= end:
            self.size(key)
            return iter(())
        try:
            result = obstore.get(self._store, key, options={"range": (start, end)})
        except (NotFoundError, FileNotFoundError) as error:
            raise BlobMissing(value=key) from error
        return (bytes(piece) for piece in result.stream(min_chunk_size=_CHUNK))

    def under(self, prefix: str) -> Iterator[StoredObject]:
        """Return all files under ``prefix/`` in no particular order."""
        for page in obstore.list(self._store, prefix=prefix):
            for entry in page:
                yield StoredObject(entry["path"], entry["last_modified"])

    def folders(self, prefix: str) -> list[str]:
        """Return the names of the folders directly under ``prefix/`` in no particular order."""
        prefixes = obstore.list_with_delimiter(self._store, prefix=prefix)["common_prefixes"]
        return [path.rstrip("/").rsplit("/", 1)[-1] for path in prefixes]

    def check(self) -> None:
        """Check that the store responds.

        Raises:
            obstore BaseError, OSError: if it is unavailable.
        """
        if isinstance(self._store, LocalStore) and self._store.prefix is not None:
            Path(self._store.prefix).stat()
        next(iter(obstore.list(self._store, prefix="check", chunk_size=1)), None)

    def sweep_unfinished(self, before: datetime) -> int:
        """Delete unfinished files of killed writers from before this time; return how many.

        Only a local folder has such files: it writes to ``name#1`` and renames that.
        """
        if not isinstance(self._store, LocalStore) or self._store.prefix is None:
            return 0
        removed = 0
        for path in Path(self._store.prefix).rglob("*#*"):
            with suppress(FileNotFoundError):
                if path.is_file() and datetime.fromtimestamp(path.stat().st_mtime, UTC) < before:
                    path.unlink()
                    removed += 1
        return removed

    def delete(self, key: str) -> None:
        """Delete the file; a missing one is no error."""
        try:
            obstore.delete(self._store, key)
        except (NotFoundError, FileNotFoundError):
            return


def _s3(settings: Settings, bucket: str, prefix: str) -> S3Store:
    config: S3Config = {"region": settings.s3_region}
    if settings.s3_endpoint:
        config["endpoint"] = settings.s3_endpoint
    if settings.s3_access_key:
        config["access_key_id"] = settings.s3_access_key
        config["secret_access_key"] = settings.s3_secret_key.get_secret_value()
    return S3Store(
        bucket,
        prefix=prefix or None,
        config=config,
        client_options={
            "allow_http": settings.s3_endpoint.startswith("http://"),
            "connect_timeout": timedelta(seconds=5),
            "timeout": timedelta(seconds=60),
        },
        # the library's default is three minutes; jobs have their own retries, and callers do not wait that long
        retry_config={"max_retries": 3, "retry_timeout": timedelta(seconds=15)},
    )
