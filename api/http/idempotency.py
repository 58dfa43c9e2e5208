"""The Idempotency-Key of a request (draft-ietf-httpapi-idempotency-key-header).

The job table stores it in the transaction that makes what the request asks for. Of two requests with one key at a
time the second waits for the first's transaction, and is answered with what that one made.
"""

import re
from typing import Annotated, Any, Final, TypeAlias

from fastapi import Depends, Request

from api.http.errors import HeaderRefused

__all__ = ["IDEMPOTENCY_PARAMETER", "IdempotencyKeyDep", "idempotency_key"]

#: A quoted string (RFC 9651, 3.3.3), as the draft says, or the bare value that many clients send.
_KEY: Final = re.compile(r'"([\x20\x21\x23-\x5b\x5d-\x7e]{1,255})"|([!#$%&\'*+./:^_`|~0-9A-Za-z-]{1,255})', re.ASCII)

#: For a route's `openapi_extra`.
IDEMPOTENCY_PARAMETER: Final[dict[str, Any]] = {
    "name": "Idempotency-Key",
    "in": "header",
    "schema": {"type": "string", "pattern": f"^(?:{_KEY.pattern})$"},
    "description": "A name of the client's for this request, such as a UUID in quotes: sent again under it, it "
    "makes nothing new. Known for seven days (draft-ietf-httpapi-idempotency-key-header).",
}


async def idempotency_key(request: Request) -> str | None:
    """Return the key without its quotes, or None when there is none.

    Raises:
        HeaderRefused: when it cannot be read, or there are several.
    """
    fields = request.headers.getlist("idempotency-key")
    if not fields:
        return None
    match = _KEY.fullmatch(fields[0].strip()) if len(fields) == 1 else None
    if match is None:
        limit = "one text of 1 to 255 printable ASCII characters, in quotes"
        raise HeaderRefused("The Idempotency-Key cannot be used.", value=fields[0], limit=limit)
    return match[1] or match[2]


#: The key, as a route's parameter.
IdempotencyKeyDep: TypeAlias = Annotated[str | None, Depends(idempotency_key)]
