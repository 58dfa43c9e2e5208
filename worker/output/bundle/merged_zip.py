"""A ZIP archive made of the entries of other archives and of single files, laid out without reading their data.

What an entry takes in an archive is known from its source's central directory, so the size of the archive and the place
of each of its bytes are known before the first is read. Compressed data are copied as they are. The structures are
those of the ZIP application note, 4.3 (from memory; `zipfile` reads the archives in the tests).
"""

import zipfile
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import RawIOBase
from struct import Struct
from typing import IO, Final

__all__ = ["ArchivePiece", "MergedZip", "Source", "SourceEntry", "archive_entries", "whole_file"]

#: Local header, entry of the central directory, its end, and both ends with 64-bit numbers.
_LOCAL: Final = Struct("<4s5H3L2H")
_CENTRAL: Final = Struct("<4s4B4H3L5H2L")
_END: Final = Struct("<4s4H2LH")
_END_64: Final = Struct("<4sQ2H2L4Q")
_LOCATOR_64: Final = Struct("<4sLQL")
_EXTRA_64: Final = Struct("<2HQ")

#: Versions needed to extract: deflated data or folders, and 64-bit numbers.
_VERSION: Final = 20
_VERSION_64: Final = 45
_UNIX: Final = 3
_PERMISSIONS: Final = 0o100644 << 16

#: 1 January 1980 in the format of MS-DOS: the first moment that the format knows.
_DATE: Final = (1 << 5) | 1

#: Values that refer to 64-bit numbers elsewhere.
_MAX_16: Final = 0xFFFF
_MAX_32: Final = 0xFFFFFFFF
_ID_64: Final = 1


@dataclass(frozen=True, slots=True)
class SourceEntry:
    """The data of an entry in its source: the offset, and the size there and unpacked, in bytes."""

    name: str
    method: int
    crc: int
    offset: int
    packed: int
    size: int


@dataclass(frozen=True, slots=True)
class Source:
    """An archive, or a single file, whose entries go into a folder; an empty name stands for the root."""

    folder: str
    entries: tuple[SourceEntry, ...]


@dataclass(frozen=True, slots=True)
class ArchivePiece:
    """Bytes of a merged archive: literal ones, and after them those of a source from ``start`` up to ``end``.

    The source is None for the central directory.
    """

    source: int | None
    literal: bytes
    start: int = 0
    end: int = 0


def archive_entries(archive: IO[bytes] | RawIOBase) -> tuple[SourceEntry, ...]:
    """Return the entries of an archive that `worker.output.bundle.zip_writer` wrote, in order.

    Only its end is read, where the central directory is.

    Raises:
        zipfile.BadZipFile: if it is no such archive.
    """
    with zipfile.ZipFile(archive) as opened:
        return tuple(
            SourceEntry(
                info.filename,
                info.compress_type,
                info.CRC,
                info.header_offset + _LOCAL.size + len(info.filename),
                info.compress_size,
                info.file_size,
            )
            for info in opened.infolist()
        )


def whole_file(name: str, size: int, crc: int) -> SourceEntry:
    """Return the entry of a file that is stored as it is."""
    return SourceEntry(name, zipfile.ZIP_STORED, crc, 0, size, size)


class MergedZip:
    """The layout of an archive; it holds about 300 bytes for each entry, and none of the data."""

    def __init__(self, sources: Sequence[Source]) -> None:
        """Lay the archive out: all entries of the first source, then those of the next."""
        self._entries: list[tuple[int, bytes, SourceEntry]] = []
        self._offsets: list[int] = []
        offset = 0
        for index, source in enumerate(sources):
            for entry in source.entries:
                name = (f"{source.folder}/{entry.name}" if source.folder else entry.name).encode("ascii")
                self._entries.append((index, name, entry))
                self._offsets.append(offset)
                offset += _LOCAL.size + len(name) + entry.packed
        self._directory = offset
        self._end = self._written_directory()

    @property
    def size(self) -> int:
        """The size of the archive in bytes."""
        return self._directory + len(self._end)

    def pieces(self, start: int, end: int) -> Iterator[ArchivePiece]:
        """Yield the archive from byte ``start`` up to ``end``, in order: pieces of one source follow one another."""
        first = max(bisect_right(self._offsets, start) - 1, 0)
        for offset, (source, name, entry) in zip(self._offsets[first:], self._entries[first:], strict=True):
            if offset >= end:
                return
            header = _local_header(name, entry)
            literal = header[max(start - offset, 0) : end - offset]
            data = offset + len(header)
            low = min(max(start - data, 0), entry.packed)
            high = max(min(end - data, entry.packed), low)
            yield ArchivePiece(source, literal, entry.offset + low, entry.offset + high)
        if start < end and end > self._directory:
            yield ArchivePiece(None, self._end[max(start - self._directory, 0) : end - self._directory])

    def _written_directory(self) -> bytes:
        """Return the central directory and its end."""
        entries = [
            _central_header(name, entry, offset)
            for offset, (_, name, entry) in zip(self._offsets, self._entries, strict=True)
        ]
        directory = b"".join(entries)
        count, size, start = len(entries), len(directory), self._directory
        ends = b""
        if count >= _MAX_16 or max(size, start) >= _MAX_32:
            made_by = _UNIX << 8 | _VERSION_64
            numbers = _END_64.size - 12, made_by, _VERSION_64, 0, 0, count, count, size, start
            ends += _END_64.pack(b"PK\x06\x06", *numbers) + _LOCATOR_64.pack(b"PK\x06\x07", 0, start + size, 1)
        entries_16 = min(count, _MAX_16)
        return (
            directory
            + ends
            + _END.pack(b"PK\x05\x06", 0, 0, entries_16, entries_16, min(size, _MAX_32), min(start, _MAX_32), 0)
        )


def _local_header(name: bytes, entry: SourceEntry) -> bytes:
    numbers = _VERSION, 0, entry.method, 0, _DATE, entry.crc, entry.packed, entry.size, len(name), 0
    return _LOCAL.pack(b"PK\x03\x04", *numbers) + name


def _central_header(name: bytes, entry: SourceEntry, offset: int) -> bytes:
    far = offset >= _MAX_32
    extra = _EXTRA_64.pack(_ID_64, 8, offset) if far else b""
    version = _VERSION_64 if far else _VERSION
    numbers = version, _UNIX, version, 0, 0, entry.method, 0, _DATE, entry.crc, entry.packed, entry.size
    lengths = len(name), len(extra), 0, 0, 0
    return _CENTRAL.pack(b"PK\x01\x02", *numbers, *lengths, _PERMISSIONS, min(offset, _MAX_32)) + name + extra
