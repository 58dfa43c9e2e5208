"""Scanning: one pass over a JSON document's bytes before anything is built from them, in time linear in its length.

It bounds depth, values and the length of texts and numbers. It is no parser: what passes may still be no JSON, and
`json` says so; what it refuses, `json` would have built whole.
"""

import re
from typing import Final

from worker.spec.errors import SpecError

__all__ = ["scan"]

#: Levels of lists and objects below the document itself.
DEEPEST: Final = 32
#: Values and names together. A manifest of 5,000 parts has about 200,000.
MOST_VALUES: Final = 400_000
#: Bytes of a text, its escapes as they are written.
LONGEST_TEXT: Final = 20_000
#: Characters of a number.
LONGEST_NUMBER: Final = 10_000

#: Possessive throughout, so that no byte is looked at twice. What can begin no value, as the quote of a text that does
#: not end, is a token too: the scan stops there, and so does `json`.
_TOKEN: Final = re.compile(
    rb'"([^"\\]*+(?:\\.[^"\\]*+)*+)"|([\[{])|([\]}])|([-+.0-9A-Za-z]++)|[ \t\r\n,:]++|(.)', re.DOTALL
)

_MARK: Final = b"\xef\xbb\xbf"


def scan(text: bytes) -> None:
    """Look once over a document.

    Raises:
        SpecError: when it is over a limit.
    """
    depth = values = 0
    for token in _TOKEN.finditer(text, len(_MARK) if text.startswith(_MARK) else 0):
        kind = token.lastindex
        if kind is None:
            continue
        if kind == 5:  # noqa: PLR2004 - the groups of the pattern, in order
            return
        if kind == 3:  # noqa: PLR2004 - as above
            depth -= 1
            continue
        values += 1
        if values > MOST_VALUES:
            raise _too_large("The document has too many values.", f"at most {MOST_VALUES} values")
        if kind == 1 and token.end() - token.start() > LONGEST_TEXT + 2:
            raise _too_large("A string is too long.", f"at most {LONGEST_TEXT} bytes")
        if kind == 4 and token.end() - token.start() > LONGEST_NUMBER:  # noqa: PLR2004 - as above
            raise _too_large("A number is too long.", f"at most {LONGEST_NUMBER} characters")
        if kind == 2:  # noqa: PLR2004 - as above
            depth += 1
            if depth > DEEPEST + 1:  # the document itself is no level
                raise _too_large("The document is nested too deeply.", f"at most {DEEPEST} levels")


def _too_large(message: str, limit: str) -> SpecError:
    return SpecError(message, pointer="", limit=limit, remedy="Check that the document is the one you meant to send.")
