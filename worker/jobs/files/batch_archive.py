"""The archive of a batch: the bundles of its jobs, a folder for each, and the batch's own files.

It is stored nowhere. It is put together while it is read, so it takes no room in the store, and no more memory than its
list of files. What was removed since is not in it.
"""

import io
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import lru_cache
from hashlib import sha256
from itertools import groupby
from typing import TYPE_CHECKING, Final

from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.verified_read import damaged, stream_verified
from worker.jobs.records.models import StoredFile
from worker.output.bundle.merged_zip import ArchivePiece, MergedZip, Source, SourceEntry, archive_entries, whole_file
from worker.spec.manifest import THREEMF_TYPE

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer  # there in its stub only

__all__ = ["BatchArchive", "BatchArchives"]

#: Bytes that are read of the end of a bundle at once: the central directory of some 600 files.
_TAIL: Final = 64 * 1024

#: Bundles and files whose entries are kept: 500 bundles of 60 files take 8 MB.
_KEPT: Final = 500

#: Bundles and files that are read at a time.
_AT_A_TIME: Final = 8

#: Changes when the same files would be put together in another way.
_FORMAT: Final = "1"

_RUNS: Final = "runs"


@dataclass(frozen=True, slots=True)
class BatchArchive:
    """An archive that is put together as it is read: its size in bytes, and a digest that changes with its content."""

    size: int
    digest: str
    _layout: MergedZip = field(repr=False)
    _files: tuple[StoredFile, ...] = field(repr=False)
    _blobs: ObjectStore = field(repr=False)

    def read(self, start: int, end: int) -> Iterator[bytes]:
        """Return the bytes from ``start`` up to ``end`` in chunks. The store is queried immediately.

        Each stored file is verified as it is read, so an archive with a damaged one never arrives whole.

        Raises:
            BlobMissing: if a file is missing or damaged; of a later file, while the archive is read.
        """
        chunks = self._chunks(start, end)
        first = next(chunks, b"")
        return _joined(first, chunks)

    def _chunks(self, start: int, end: int) -> Iterator[bytes]:
        for source, pieces in groupby(self._layout.pieces(start, end), key=lambda piece: piece.source):
            if source is None:
                yield from (piece.literal for piece in pieces)
            else:
                yield from self._of_file(self._files[source], list(pieces))

    def _of_file(self, file: StoredFile, pieces: Sequence[ArchivePiece]) -> Iterator[bytes]:
        """Yield pieces of one stored file, which is read once from front to back."""
        spans = [piece for piece in pieces if piece.start < piece.end]
        stream = _Forward(iter(()), 0)
        if spans:
            # most of the file is read and verified in one go; less of it is verified before
            low, high = spans[0].start, spans[-1].end
            if 2 * (high - low) > file.bytes:
                low, high = 0, file.bytes
            stream = _Forward(stream_verified(self._blobs, file, low, high), low)
        for piece in pieces:
            if piece.literal:
                yield piece.literal
            if piece.start < piece.end:
                yield from stream.take(piece.start, piece.end)
        stream.exhaust()


class BatchArchives:
    """Lays archives of batches out; the entries of bundles are kept for the next request."""

    def __init__(self, blobs: ObjectStore) -> None:
        """Read files of this store."""
        self._blobs = blobs
        self._entries = lru_cache(_KEPT)(self._read_entries)

    def archive(self, own: Sequence[StoredFile], bundles: Sequence[tuple[str, StoredFile]]) -> BatchArchive:
        """Return the archive of a batch.

        Args:
            own: the files of the batch itself: print runs go into the folder ``runs``, others to the root.
            bundles: the bundles of its jobs, each with the folder for its files.

        Raises:
            BlobMissing: if a file is missing or damaged.
        """
        placed = [(_RUNS if file.media_type == THREEMF_TYPE else "", file, False) for file in own]
        placed += [(folder, bundle, True) for folder, bundle in bundles]
        with ThreadPoolExecutor(_AT_A_TIME, "archive") as pool:
            entries = pool.map(lambda place: self._entries(place[1], is_archive=place[2]), placed)
            layout = MergedZip([Source(place[0], made) for place, made in zip(placed, entries, strict=True)])
        digest = sha256(_FORMAT.encode())
        for folder, file, is_archive in placed:
            digest.update(f"\n{folder}/{'' if is_archive else file.name} {file.sha256}".encode())
        files = tuple(file for _, file, _ in placed)
        return BatchArchive(layout.size, digest.hexdigest(), layout, files, self._blobs)

    def _read_entries(self, file: StoredFile, *, is_archive: bool) -> tuple[SourceEntry, ...]:
        if not is_archive:
            checksum = 0
            for chunk in stream_verified(self._blobs, file, 0, file.bytes):
                checksum = zlib.crc32(chunk, checksum)
            return (whole_file(file.name, file.bytes, checksum),)
        if self._blobs.size(file.key) != file.bytes:
            raise damaged(file)
        try:
            return archive_entries(_EndOfFile(self._blobs, file))
        except zipfile.BadZipFile:
            raise damaged(file) from None


class _EndOfFile(io.RawIOBase):
    """A stored file to read the end of, which is loaded at once; what is before it is read from the store."""

    def __init__(self, blobs: ObjectStore, file: StoredFile) -> None:
        self._blobs = blobs
        self._file = file
        self._at = 0
        self._tail_start = max(0, file.bytes - _TAIL)
        self._tail = b"".join(blobs.read(file.key, self._tail_start, file.bytes))

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._file.bytes}[whence]
        if base + offset < 0:
            raise OSError("The position is before the start.")  # as files do; ``zipfile`` expects it
        self._at = base + offset
        return self._at

    def readinto(self, buffer: "WriteableBuffer") -> int:
        view = memoryview(buffer).cast("B")
        end = min(self._at + len(view), self._file.bytes)
        if self._at >= end:
            return 0
        if self._at >= self._tail_start:
            data = self._tail[self._at - self._tail_start : end - self._tail_start]
        else:
            data = b"".join(self._blobs.read(self._file.key, self._at, end))
        view[: len(data)] = data
        self._at += len(data)
        return len(data)


class _Forward:
    """A stream of bytes from an offset on, of which ranges are taken in order."""

    def __init__(self, chunks: Iterator[bytes], offset: int) -> None:
        self._chunks = chunks
        self._chunk = b""
        self._offset = offset

    def take(self, start: int, end: int) -> Iterator[bytes]:
        """Yield the bytes from ``start`` up to ``end``, and drop those before."""
        while self._offset < end:
            if not self._chunk:
                self._chunk = next(self._chunks)
            skipped = min(max(start - self._offset, 0), len(self._chunk))
            taken = self._chunk[skipped : end - self._offset]
            self._offset += skipped + len(taken)
            self._chunk = self._chunk[skipped + len(taken) :]
            if taken:
                yield taken

    def exhaust(self) -> None:
        """Read the rest: a file is verified when its last byte has been read."""
        for _ in self._chunks:
            pass


def _joined(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    if first:
        yield first
    yield from rest
