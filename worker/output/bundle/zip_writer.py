"""ZIP archives with the same bytes for the same entries: no clock, no host, no order but the given one."""

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from isal import isal_zlib

#: Largest file or archive without ZIP64, which nothing of ours needs (APPNOTE 4.3.9.2).
_LIMIT: Final = 0xFFFFFFFF

_STORED: Final = 0
_DEFLATED: Final = 8
_LEVEL: Final = 1
_RAW_WINDOW: Final = -15

#: 1980-01-01 00:00, the first moment that the format knows.
_DATE: Final = (0 << 9) | (1 << 5) | 1
_TIME: Final = 0

#: Version 2.0 suffices to read; made on Unix, so that the permissions below count.
_NEEDED: Final = 20
_MADE_BY: Final = (3 << 8) | _NEEDED
_PERMISSIONS: Final = 0o100644 << 16

_LOCAL: Final = struct.Struct("<4sHHHHHIIIHH")
_CENTRAL: Final = struct.Struct("<4sHHHHHHIIIHHHHHII")
_END: Final = struct.Struct("<4sHHHHIIH")


@dataclass(frozen=True, slots=True)
class Entry:
    """One file of an archive. ``packed`` bytes (as of a 3MF) are stored, others deflated."""

    name: str
    data: bytes
    packed: bool = False


def write_zip(entries: Iterable[Entry]) -> bytes:
    """Return a ZIP archive of the entries, in their order.

    Raises:
        ValueError: when a name is not plain ASCII, is given twice or leads out of the folder it is unpacked into, or
            when the archive would need ZIP64.
    """
    pieces: list[bytes] = []
    directory: list[bytes] = []
    seen: set[str] = set()
    offset = 0
    for entry in entries:
        name = _checked(entry.name, seen)
        method, body = _body(entry)
        if max(len(entry.data), len(body), offset) > _LIMIT:
            raise ValueError(f"{entry.name} does not fit an archive without ZIP64.")
        common = (method, _TIME, _DATE, isal_zlib.crc32(entry.data), len(body), len(entry.data), len(name), 0)
        pieces += [_LOCAL.pack(b"PK\x03\x04", _NEEDED, 0, *common), name, body]
        directory += [_CENTRAL.pack(b"PK\x01\x02", _MADE_BY, _NEEDED, 0, *common, 0, 0, 0, _PERMISSIONS, offset), name]
        offset += _LOCAL.size + len(name) + len(body)
    listing = b"".join(directory)
    if offset + len(listing) > _LIMIT:
        raise ValueError("The archive would need ZIP64.")
    end = _END.pack(b"PK\x05\x06", 0, 0, len(seen), len(seen), len(listing), offset, 0)
    return b"".join([*pieces, listing, end])


def _body(entry: Entry) -> tuple[int, bytes]:
    if entry.packed or not entry.data:
        return _STORED, entry.data
    packer = isal_zlib.compressobj(_LEVEL, isal_zlib.DEFLATED, _RAW_WINDOW)
    body = packer.compress(entry.data) + packer.flush()
    return (_DEFLATED, body) if len(body) < len(entry.data) else (_STORED, entry.data)


def _checked(name: str, seen: set[str]) -> bytes:
    steps = name.split("/")
    if not name.isascii() or not name.isprintable() or "\\" in name or any(step in {"", ".", ".."} for step in steps):
        raise ValueError(f"{name!r} is no name for a file in an archive.")
    if name in seen:
        raise ValueError(f"{name} is in the archive twice.")
    seen.add(name)
    return name.encode("ascii")
