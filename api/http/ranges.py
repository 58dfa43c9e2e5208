"""Byte ranges and validators as RFC 9110 has them (sections 8.8.3, 13 and 14)."""

import re
from dataclasses import dataclass
from typing import Final

from api.http.errors import RangeRefused

__all__ = ["Span", "entity_tag", "requested_span", "tag_listed"]

_SPAN: Final = re.compile(r"bytes=[ \t]*([0-9]*)-([0-9]*)[ \t]*", re.ASCII | re.IGNORECASE)

#: More digits than any file has bytes; Python reads no number of thousands of digits.
_MOST_DIGITS: Final = 18

#: Entity tags of a list (RFC 9110, 8.8.3): the quotes delimit, and inside there is no escape.
_TAG: Final = re.compile(r'(W/)?("[\x21\x23-\x7e\x80-\xff]*")')


@dataclass(frozen=True, slots=True)
class Span:
    """The bytes from ``start`` up to ``end``, which is not among them."""

    start: int
    end: int

    def content_range(self, size: int) -> str:
        """Return the field's value for a file of this size."""
        return f"bytes {self.start}-{self.end - 1}/{size}"


def requested_span(header: str | None, size: int) -> Span | None:
    """Return the one range that a Range field asks for; None stands for the whole file.

    A field that cannot be read, of another unit or of several ranges, is answered with the whole file, as the RFC
    allows. Time is linear in the field's length.

    Raises:
        RangeRefused: when the file has no bytes there.
    """
    match = _SPAN.fullmatch(header) if header is not None else None
    if match is None:
        return None
    first, last = match.groups()
    if first:
        start, end = _number(first), _number(last) + 1 if last else size
        if end <= start and last:
            return None  # invalid by its own numbers, whatever the size
    elif last:
        start, end = max(0, size - _number(last)), size
    else:
        return None
    if start >= size:
        raise RangeRefused(value=header, limit=f"{size} bytes")
    return Span(start, min(end, size))


def entity_tag(sha256: str) -> str:
    """Return the strong entity tag of the bytes with this digest."""
    return f'"{sha256}"'


def tag_listed(header: str, tag: str, *, weak: bool) -> bool:
    """Return whether a list of entity tags holds this strong one; ``weak`` compares as If-None-Match does."""
    if header.strip() == "*":
        return True
    return any(match[2] == tag and (weak or match[1] is None) for match in _TAG.finditer(header))


def _number(digits: str) -> int:
    digits = digits.lstrip("0")
    return int(digits or "0") if len(digits) <= _MOST_DIGITS else 10**_MOST_DIGITS
