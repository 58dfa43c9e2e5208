"""Limits of a JSON document, checked in one pass over its bytes before it is parsed, in time linear in its length.

The pass limits the depth, the number of values, and the length of strings and numbers, any of which `json` would build
in full. It does not validate the syntax; `json` does that afterwards.
"""

import re
from dataclasses import dataclass
from typing import Final

from worker.spec.errors import SpecError

__all__ = ["HOUSEHOLD_LIMITS", "SPEC_LIMITS", "JsonLimits", "scan"]


@dataclass(frozen=True, slots=True)
class JsonLimits:
    """Limits of one kind of document: its size in bytes, its values and names together, and the items of a list."""

    size: int
    values: int
    items: int


#: Limits of a spec. A manifest of 5,000 parts has about 200,000 values.
SPEC_LIMITS: Final = JsonLimits(2_000_000, 400_000, 500)
#: Limits of a household: about 350 drawers of 40 trays with their pieces, each of 87 kB and 8,000 values.
HOUSEHOLD_LIMITS: Final = JsonLimits(32_000_000, 4_000_000, 200_000)

#: Maximum depth of arrays and objects below the document itself.
DEEPEST: Final = 32
#: Maximum length of a string in bytes; an escape counts as written.
LONGEST_TEXT: Final = 20_000
#: Maximum length of a number in characters.
LONGEST_NUMBER: Final = 10_000

#: One token and the separators before it. All quantifiers are possessive, so that no byte is read twice. The last group
#: is a byte that starts no value, such as the quote of an unterminated string: the scan stops there, and `json` reports
#: the error.
_TOKEN: Final = re.compile(
    rb'[ \t\r\n,:]*+(?:"([^"\\]*+(?:\\.[^"\\]*+)*+)"|([\[{])|([\]}])|([-+.0-9A-Za-z]++)|(.))', re.DOTALL
)

_MARK: Final = b"\xef\xbb\xbf"


def scan(text: bytes, most_values: int = SPEC_LIMITS.values) -> None:
    """Check a document against the limits.

    Args:
        text: the document.
        most_values: most values and names together.

    Raises:
        SpecError: when it exceeds one of them.
    """
    depth = values = 0
    for token in _TOKEN.finditer(text, len(_MARK) if text.startswith(_MARK) else 0):
        kind = token.lastindex
        if kind == 5:  # noqa: PLR2004 - the groups of the pattern, in order
            return
        if kind == 3:  # noqa: PLR2004 - as above
            depth -= 1
            continue
        values += 1
        if values > most_values:
            raise _too_large("The document has too many values.", f"at most {most_values} values")
        if kind == 1 and token.end(1) - token.start(1) > LONGEST_TEXT:
            raise _too_large("A string is too long.", f"at most {LONGEST_TEXT} bytes")
        if kind == 4 and token.end(4) - token.start(4) > LONGEST_NUMBER:  # noqa: PLR2004 - as above
            raise _too_large("A number is too long.", f"at most {LONGEST_NUMBER} characters")
        if kind == 2:  # noqa: PLR2004 - as above
            depth += 1
            if depth > DEEPEST + 1:  # the document itself does not count as a level
                raise _too_large("The document is nested too deeply.", f"at most {DEEPEST} levels")


def _too_large(message: str, limit: str) -> SpecError:
    return SpecError(message, pointer="", limit=limit, remedy="Check that the document is the one you meant to send.")
