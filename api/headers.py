"""Headers that every response carries."""

from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["SafeHeaders"]

#: Nothing that this service sends is to be guessed at, framed or run by a browser. As ASGI has them.
_ALWAYS: Final = (
    (b"x-content-type-options", b"nosniff"),
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
)


class SafeHeaders:
    """Adds headers that the response does not have itself."""

    def __init__(self, app: ASGIApp) -> None:
        """Wrap this app."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and add to the start of its response."""

        async def add(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message.get("headers", ()))
                known = {name.lower() for name, _ in headers}
                message["headers"] = headers + [one for one in _ALWAYS if one[0] not in known]
            await send(message)

        await self.app(scope, receive, add if scope["type"] == "http" else send)
