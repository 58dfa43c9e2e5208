"""Preferences of a request (RFC 7240): whether to wait for the end of a job, and how long."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from fastapi import Request

from api.http.errors import HeaderRefused

__all__ = ["APPLIED", "LONGEST_WAIT", "PREFER_PARAMETER", "Preferences", "preferences", "preferring"]

#: Most seconds for which an answer is held back; whoever prefers more gets as many.
LONGEST_WAIT: Final = 60

#: For a route's `openapi_extra`.
PREFER_PARAMETER: Final[dict[str, Any]] = {
    "name": "Prefer",
    "in": "header",
    "schema": {"type": "string"},
    "description": f"wait=N: answer when the job has ended, at the latest after N seconds (at most {LONGEST_WAIT}). "
    "respond-async: answer at once (RFC 7240).",
}

#: For a route's answers.
APPLIED: Final[dict[str, Any]] = {
    "Preference-Applied": {"schema": {"type": "string"}, "description": "What of Prefer was heeded (RFC 7240)."}
}

#: One preference: a token, maybe a value as token or quoted text, and parameters, which none of ours has.
_ONE: Final = re.compile(
    r"""[ \t]*(?P<name>[!#$%&'*+.^_`|~0-9A-Za-z-]+)
        (?:[ \t]*=[ \t]*(?P<value>[!#$%&'*+.^_`|~0-9A-Za-z-]+|"[^"\\]*"))?
        (?:[ \t]*;[^,"]*)*[ \t]*(?:,|$)""",
    re.ASCII | re.VERBOSE,
)
_SECONDS: Final = re.compile(r"[0-9]{1,9}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Preferences:
    """What is preferred: seconds to wait at most (0: none), and to be answered at once."""

    wait: int = 0
    respond_async: bool = False

    def applied(self) -> dict[str, str]:
        """Return the field that says what was heeded."""
        heeded = [f"wait={self.wait}"] * (self.wait > 0) + ["respond-async"] * self.respond_async
        return {"Preference-Applied": ", ".join(heeded), "Vary": "Prefer"} if heeded else {}


def preferences(request: Request) -> Preferences:
    """Return what the request prefers. What is not known is passed over, as the RFC says; of two the first counts.

    Raises:
        HeaderRefused: when the seconds to wait are no number.
    """
    found: dict[str, str] = {}
    for name, value in _read(", ".join(request.headers.getlist("prefer"))):
        found.setdefault(name, value)
    if (seconds := found.get("wait")) is not None and not _SECONDS.fullmatch(seconds):
        raise HeaderRefused("Prefer says no seconds to wait.", value=seconds, limit="wait=N, in whole seconds")
    return Preferences(min(int(seconds or 0), LONGEST_WAIT), "respond-async" in found)


async def preferring(request: Request) -> Preferences:
    """Return the same to a route; as a dependency that is not asynchronous it would cost a change of threads.

    Raises:
        HeaderRefused: when the seconds to wait are no number.
    """
    return preferences(request)


def _read(field: str) -> Iterator[tuple[str, str]]:
    place = 0
    while place < len(field) and (match := _ONE.match(field, place)) is not None and match.end() > place:
        yield match["name"].lower(), (match["value"] or "").strip('"')
        place = match.end()
