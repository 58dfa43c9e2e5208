"""Flights: requests under an Idempotency-Key, from the moment that their head is read until what they ask for is kept.

The record sees to it that a key makes one thing only. This is for the client that tries again too early: it is told to
wait, before its body is read a second time.
"""

import re
from collections.abc import AsyncIterator
from typing import Any, Final, Self

from fastapi import Request

from api.auth.access import caller_of
from api.http.errors import HeaderRefused, RequestInFlight

__all__ = ["FLIGHT_PARAMETER", "Flight", "Flights", "flight", "flight_of"]

#: A quoted text (RFC 9651, 3.3.3), as the draft says, or the bare value that many clients send.
_KEY: Final = re.compile(r'"([\x20\x21\x23-\x5b\x5d-\x7e]{1,255})"|([!#$%&\'*+./:^_`|~0-9A-Za-z-]{1,255})', re.ASCII)

#: For a route's `openapi_extra`.
FLIGHT_PARAMETER: Final[dict[str, Any]] = {
    "name": "Idempotency-Key",
    "in": "header",
    "schema": {"type": "string", "pattern": f"^(?:{_KEY.pattern})$"},
    "description": "A name of the client's for this request, such as a UUID in quotes: sent again under it, it "
    "makes nothing new. Known for seven days (draft-ietf-httpapi-idempotency-key-header).",
}


class Flights:
    """Those under way in this process, by owner and key."""

    def __init__(self) -> None:
        """None is."""
        self.under_way: set[tuple[str, str]] = set()


class Flight:
    """One of them; without a key it is none."""

    def __init__(self, flights: Flights, owner: str, key: str | None) -> None:
        """Take off.

        Raises:
            RequestInFlight: when another with this key is under way.
        """
        self.key = key
        self._flights = flights
        self._mine = None if key is None else (owner, key)
        if self._mine in flights.under_way:
            raise RequestInFlight(value=key, remedy="Try again in a moment.")
        if self._mine is not None:
            flights.under_way.add(self._mine)

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End."""
        self.land()

    def land(self) -> None:
        """End; what was asked for is kept, or not to be had."""
        if self._mine is not None:
            self._flights.under_way.discard(self._mine)
            self._mine = None


def flight_of(request: Request) -> Flight:
    """Return the request's flight, to be ended.

    Raises:
        HeaderRefused: when there is a key that cannot be read.
        RequestInFlight: when another with this key is under way.
    """
    given = request.headers.getlist("idempotency-key")
    match = _KEY.fullmatch(given[0].strip()) if len(given) == 1 else None
    if given and match is None:
        limit = "one text of 1 to 255 printable ASCII characters, in quotes"
        raise HeaderRefused("The Idempotency-Key cannot be used.", value=given[0], limit=limit)
    return Flight(request.app.state.flights, caller_of(request).owner, match and (match[1] or match[2]))


async def flight(request: Request) -> AsyncIterator[Flight]:
    """Give the request's flight.

    Raises:
        HeaderRefused, RequestInFlight: as `flight_of`.
    """
    with flight_of(request) as flown:
        yield flown
