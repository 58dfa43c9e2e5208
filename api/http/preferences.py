"""Preferences of a request (RFC 7240): whether to wait for the end of a job, and how long."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

from fastapi import Depends, Request

from api.http.errors import HeaderRefused

__all__ = ["APPLIED", "MAX_WAIT", "PREFER_PARAMETER", "Preferences", "PreferencesDep", "preferences"]

#: Most seconds for which an answer is held back; a client that prefers more gets as many.
MAX_WAIT: Final = 60

#: For a route's `openapi_extra`.
PREFER_PARAMETER: Final[dict[str, Any]] = {
    "name": "Prefer",
    "in": "header",
    "schema": {"type": "string"},
    "description": f"wait=N: answer when the job has ended, at the latest after N seconds (at most {MAX_WAIT}). "
    "respond-async: answer at once (RFC 7240).",
}

#: For a route's answers.
APPLIED: Final[dict[str, Any]] = {
    "Preference-Applied": {"schema": {"type": "string"}, "description": "What of Prefer was heeded (RFC 7240)."}
}

#: One preference: a token, maybe a value as token or quoted text, and parameters, which none of ours has.
_PREFERENCE: Final = re.compile(
    r"""[ \t]*(?P<name>[!#$%&'*+.^_`|~0-9A-Za-z-]+)
        (?:[ \t]*=[ \t]*(?P<value>[!#$%&'*+.^_`|~0-9A-Za-z-]+|"[^"\\]*"))?
        (?:[ \t]*;[^,"]*)*[ \t]*(?:,|$)""",
    re.ASCII | re.VERBOSE,
)
_SECONDS: Final = re.compile(r"[0-9]{1,9}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Preferences:
    """Seconds to wait at most (0: none), and whether to be answered at once."""

    wait: int = 0
    respond_async: bool = False

    def applied(self) -> dict[str, str]:
        """Return the header fields that say what was heeded."""
        heeded = [f"wait={self.wait}"] * (self.wait > 0) + ["respond-async"] * self.respond_async
        return {"Preference-Applied": ", ".join(heeded), "Vary": "Prefer"} if heeded else {}


async def preferences(request: Request) -> Preferences:
    """Return what the request prefers. Unknown preferences are ignored; of two of a name the first counts (RFC 7240).

    Raises:
        HeaderRefused: when the seconds to wait are no number.
    """
    values: dict[str, str] = {}
    for name, value in _read(", ".join(request.headers.getlist("prefer"))):
        values.setdefault(name, value)
    if (seconds := values.get("wait")) is not None and not _SECONDS.fullmatch(seconds):
        raise HeaderRefused("Prefer says no seconds to wait.", value=seconds, limit="wait=N, in whole seconds")
    return Preferences(min(int(seconds or 0), MAX_WAIT), "respond-async" in values)


#: The preferences, as a route's parameter.
PreferencesDep: TypeAlias = Annotated[Preferences, Depends(preferences)]


def _read(field: str) -> Iterator[tuple[str, str]]:
    """Yield name and value of each preference up to the first that cannot be read."""
    start = 0
    while start < len(field) and (match := _PREFERENCE.match(field, start)) is not None and match.end() > start:
        yield match["name"].lower(), (match["value"] or "").strip('"')
        start = match.end()
