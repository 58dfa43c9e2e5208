"""Cross-origin requests: the origins whose pages may use the service (WHATWG Fetch, CORS protocol); none by default."""

import re
from typing import Final

from starlette.middleware.cors import CORSMiddleware
from starlette.types import ASGIApp, Receive, Scope, Send

from worker.jobs.common.errors import SettingsError

__all__ = ["Cors", "read_origins"]

#: An origin (RFC 6454, 6.2), as a browser sends it.
_ORIGIN: Final = re.compile(r"https?://(?:[a-z0-9.-]+|\[[0-9a-f:.]+\])(?::[0-9]{1,5})?", re.ASCII)

_METHODS: Final = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
_REQUEST_HEADERS: Final = (
    *("Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "If-Range"),
    *("Last-Event-ID", "Prefer", "Range", "X-Request-ID"),
)
_RESPONSE_HEADERS: Final = (
    *("Content-Disposition", "Content-Range", "Deprecation", "ETag", "Link", "Location", "Preference-Applied"),
    *("RateLimit", "RateLimit-Policy", "Repr-Digest", "Retry-After", "Sunset", "WWW-Authenticate", "X-Request-ID"),
)


def read_origins(text: str) -> frozenset[str]:
    """Parse the comma-separated origins of a setting.

    Raises:
        SettingsError: if one of them is no origin.
    """
    origins = [entry.strip() for entry in text.split(",") if entry.strip()]
    for origin in origins:
        if not _ORIGIN.fullmatch(origin):
            raise SettingsError(
                "An origin is invalid.", value=origin, limit="scheme, host and port, such as https://home.example:8443"
            )
    return frozenset(origins)


class Cors:
    """ASGI middleware that answers preflight requests and permits pages of the configured origins to read responses."""

    def __init__(self, app: ASGIApp) -> None:
        """Wrap ``app``; the origins are known once its lifespan has begun."""
        self.app = app
        self._inner: ASGIApp | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, with the headers of the protocol where its origin is permitted."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        if self._inner is None:
            origins = scope["app"].state.shared.origins  # `AppState`; its module imports this package
            self._inner = self.app if not origins else _middleware(self.app, sorted(origins))
        await self._inner(scope, receive, send)


def _middleware(app: ASGIApp, origins: list[str]) -> ASGIApp:
    return CORSMiddleware(
        app,
        allow_origins=origins,
        allow_methods=_METHODS,
        allow_headers=_REQUEST_HEADERS,
        expose_headers=_RESPONSE_HEADERS,
    )
