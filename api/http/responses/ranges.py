"""Byte ranges and entity tags (RFC 9110, sections 8.8.3, 13 and 14).

Starlette's `FileResponse` parses ranges too, but serves files of the local disk only; these come from an object store.
"""

import re
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from api.http.problems.errors import RangeRefused

__all__ = ["ByteRange", "content_tag", "entity_tag", "requested_range", "tag_matches"]

_RANGE: Final = re.compile(r"bytes=[ \t]*([0-9]*)-([0-9]*)[ \t]*", re.ASCII | re.IGNORECASE)

#: More digits than any file's size has; Python refuses to parse thousands of digits.
_MOST_DIGITS: Final = 18

#: One entity tag of a list (RFC 9110, 8.8.3): quotes delimit it, and it contains no escapes.
_TAG: Final = re.compile(r'(W/)?("[\x21\x23-\x7e\x80-\xff]*")')


@dataclass(frozen=True, slots=True)
class ByteRange:
    """The bytes from ``start`` up to but not including ``end``."""

    start: int
    end: int

    def content_range(self, size: int) -> str:
        """Return the value of Content-Range for a file of ``size`` bytes."""
        return f"bytes {self.start}-{self.end - 1}/{size}"


def requested_range(header: str | None, size: int) -> ByteRange | None:
    """Return the single range that a Range header requests; None for the whole file.

    A header that is malformed, uses another unit or lists several ranges is ignored, as the RFC allows. The time taken
    is linear in the header's length.

    Args:
        header: the value of Range, if there is one.
        size: the size of the file in bytes.

    Raises:
        RangeRefused: when the range begins at or after the end of the file.
    """
    match = _RANGE.fullmatch(header) if header is not None else None
    if match is None:
        return None
    first, last = match.groups()
    if first:
        start, end = _number(first), _number(last) + 1 if last else size
        if end <= start and last:
            return None  # invalid for a file of any size
    elif last:
        start, end = max(0, size - _number(last)), size
    else:
        return None
    if start >= size:
        raise RangeRefused(value=header, limit=f"{size} bytes")
    return ByteRange(start, min(end, size))


def content_tag(content: bytes) -> str:
    """Return the entity tag of a response body."""
    return entity_tag(sha256(content).hexdigest())


def entity_tag(sha256: str) -> str:
    """Return the strong entity tag of the bytes with this SHA-256 (hexadecimal)."""
    return f'"{sha256}"'


def tag_matches(header: str, tag: str, *, weak: bool) -> bool:
    """Return whether the value of If-Match or If-None-Match matches a strong entity tag.

    Args:
        header: entity tags in a list, or ``*``.
        tag: the entity tag of the current representation.
        weak: compare weakly, as If-None-Match does.
    """
    if header.strip() == "*":
        return True
    return any(match[2] == tag and (weak or match[1] is None) for match in _TAG.finditer(header))


def _number(digits: str) -> int:
    digits = digits.lstrip("0")
    return int(digits or "0") if len(digits) <= _MOST_DIGITS else 10**_MOST_DIGITS
