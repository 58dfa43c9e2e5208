"""The Idempotency-Key of a request (draft-ietf-httpapi-idempotency-key-header).

The key is stored in the transaction that adds the job. Of two simultaneous requests with the same key, the second waits
for the first one's transaction and returns its job.
"""

import re
from typing import Annotated, Any, Final, TypeAlias

from fastapi import Depends, Request

from api.http.problems.errors import HeaderRefused

__all__ = ["IDEMPOTENCY_PARAMETER", "IdempotencyKeyDep", "idempotency_key"]

#: A quoted string (RFC 9651, 3.3.3), as the draft requires, or the bare value that many clients send.
_KEY: Final = re.compile(r'"([\x20\x21\x23-\x5b\x5d-\x7e]{1,255})"|([!#$%&\'*+./:^_`|~0-9A-Za-z-]{1,255})', re.ASCII)

#: For a route's `openapi_extra`.
IDEMPOTENCY_PARAMETER: Final[dict[str, Any]] = {
    "name": "Idempotency-Key",
    "in": "header",
    "schema": {"type": "string", "pattern": f"^(?:{_KEY.pattern})$"},
    "description": "An identifier that the client chooses for this request, such as a UUID in quotes. Repeating the "
    "request with the same key creates nothing new. Keys are kept for seven days "
    "(draft-ietf-httpapi-idempotency-key-header).",
}


async def idempotency_key(request: Request) -> str | None:
    """Return the key without quotes, or None if the request has none.

    Raises:
        HeaderRefused: when the key is malformed, or there are several.
    """
    fields = request.headers.getlist("idempotency-key")
    if not fields:
        return None
    match = _KEY.fullmatch(fields[0].strip()) if len(fields) == 1 else None
    if match is None:
        limit = "one quoted string of 1 to 255 printable ASCII characters"
        raise HeaderRefused("The Idempotency-Key is malformed, or occurs more than once.", value=fields[0], limit=limit)
    return match[1] or match[2]


#: The key as a dependency of a route.
IdempotencyKeyDep: TypeAlias = Annotated[str | None, Depends(idempotency_key)]
