"""Preferences of a request (RFC 7240): whether to wait for the end of a job, and how long."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

from fastapi import Depends, Request

from api.http.problems.errors import HeaderRefused

__all__ = ["APPLIED", "MAX_WAIT", "PREFER_PARAMETER", "Preferences", "PreferencesDep", "preferences"]

#: Maximum number of seconds to wait; a client that prefers more waits this long.
MAX_WAIT: Final = 60

#: For a route's `openapi_extra`.
PREFER_PARAMETER: Final[dict[str, Any]] = {
    "name": "Prefer",
    "in": "header",
    "schema": {"type": "string"},
    "description": f"wait=N: respond when the job has ended, or after N seconds (at most {MAX_WAIT}). "
    "respond-async: respond at once (RFC 7240).",
}

#: For a route's responses.
APPLIED: Final[dict[str, Any]] = {
    "Preference-Applied": {"schema": {"type": "string"}, "description": "The preferences that were applied (RFC 7240)."}
}

#: One preference: a token, optionally with a value (token or quoted string) and parameters, which are ignored.
_PREFERENCE: Final = re.compile(
    r"""[ \t]*(?P<name>[!#$%&'*+.^_`|~0-9A-Za-z-]+)
        (?:[ \t]*=[ \t]*(?P<value>[!#$%&'*+.^_`|~0-9A-Za-z-]+|"[^"\\]*"))?
        (?:[ \t]*;[^,"]*)*[ \t]*(?:,|$)""",
    re.ASCII | re.VERBOSE,
)
_SECONDS: Final = re.compile(r"[0-9]{1,9}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Preferences:
    """The maximum number of seconds to wait (0: none), and whether to respond at once."""

    wait: int = 0
    respond_async: bool = False

    def applied(self) -> dict[str, str]:
        """Return the header fields that name the applied preferences."""
        applied = [f"wait={self.wait}"] * (self.wait > 0) + ["respond-async"] * self.respond_async
        return {"Preference-Applied": ", ".join(applied), "Vary": "Prefer"} if applied else {}


async def preferences(request: Request) -> Preferences:
    """Return the request's preferences. Unknown ones are ignored; of two with one name the first counts (RFC 7240).

    Raises:
        HeaderRefused: when the seconds to wait are not a number.
    """
    values: dict[str, str] = {}
    for name, value in _read(", ".join(request.headers.getlist("prefer"))):
        values.setdefault(name, value)
    if (seconds := values.get("wait")) is not None and not _SECONDS.fullmatch(seconds):
        raise HeaderRefused(
            "The value of wait in Prefer is not a number of seconds.",
            value=seconds,
            limit="wait=N with N in whole seconds",
        )
    return Preferences(min(int(seconds or 0), MAX_WAIT), "respond-async" in values)


#: The preferences as a dependency of a route.
PreferencesDep: TypeAlias = Annotated[Preferences, Depends(preferences)]


def _read(field: str) -> Iterator[tuple[str, str]]:
    """Yield name and value of each preference up to the first malformed one."""
    start = 0
    while start < len(field) and (match := _PREFERENCE.match(field, start)) is not None and match.end() > start:
        yield match["name"].lower(), (match["value"] or "").strip('"')
        start = match.end()
