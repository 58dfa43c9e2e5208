"""Security and caching headers of every response."""

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["SafeHeaders"]

#: Browsers must not sniff, frame, run or cache what the service sends, unless a route says otherwise.
_DEFAULTS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class SafeHeaders:
    """ASGI middleware that adds the default headers that a response lacks."""

    def __init__(self, app: ASGIApp) -> None:
        """Wrap ``app``."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on and complete the headers of its response."""

        async def send_with_defaults(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _DEFAULTS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, send_with_defaults if scope["type"] == "http" else send)
