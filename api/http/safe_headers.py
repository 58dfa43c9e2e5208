"""Headers that every response carries."""

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["SafeHeaders"]

#: Nothing that this service sends is to be guessed at, framed or run by a browser.
_ALWAYS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class SafeHeaders:
    """Adds headers that the response does not have itself."""

    def __init__(self, app: ASGIApp) -> None:
        """Wrap this app."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and add to the start of its response."""

        async def add(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _ALWAYS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, add if scope["type"] == "http" else send)
