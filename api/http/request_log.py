"""Observing: each request has a name, a line in the log, and a place in the figures."""

import logging
import re
import secrets
import time
from typing import Final

from prometheus_client import CollectorRegistry, Histogram
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.auth.access import known_caller
from worker.jobs.observability.logging_setup import LOG_FIELDS, log_context
from worker.jobs.observability.tracing import request_span

__all__ = ["Observer", "RequestFigures"]

_log = logging.getLogger(__name__)

#: Names of requests that are taken over from whoever asks; others could forge lines of a log.
_NAME: Final = re.compile(r"[A-Za-z0-9._-]{1,64}", re.ASCII)

_METHODS: Final = frozenset({"DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT"})

_SECONDS: Final = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)

#: Asked for by machines again and again: not worth a line.
_QUIET: Final = frozenset({"/livez", "/readyz", "/metrics"})

_FAULT: Final = 500


class _WithoutQuery(logging.Filter):
    """Takes the query out of the server's own lines, where it writes any: a token may be in it."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Keep the line, without the query: its arguments are client, method, path with query, version and status."""
        if isinstance(record.args, tuple):
            record.args = tuple(one.partition("?")[0] if isinstance(one, str) else one for one in record.args)
        return True


_SERVERS_OWN: Final = _WithoutQuery()


class RequestFigures:
    """What this process answered. Each process of a service tells its own."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.registry = CollectorRegistry()
        self._seconds = Histogram(
            "drawerwright_request_seconds",
            "Time from a request to the end of its answer.",
            ("method", "route", "status"),
            buckets=_SECONDS,
            registry=self.registry,
        )

    def note(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count an answer. A route is a template, so that there are only so many."""
        self._seconds.labels(method if method in _METHODS else "OTHER", route, str(status)).observe(seconds)


class Observer:
    """Stands before everything else."""

    def __init__(self, app: ASGIApp, figures: RequestFigures) -> None:
        """Watch this app."""
        self.app = app
        self._figures = figures
        logging.getLogger("uvicorn.access").addFilter(_SERVERS_OWN)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and note how it went."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        given = Headers(scope=scope).get("x-request-id", "")
        name = given if _NAME.fullmatch(given) else secrets.token_hex(8)
        scope["drawerwright.request"] = name
        status, begun = _FAULT, time.perf_counter()

        async def add(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)["X-Request-ID"] = name
            await send(message)

        with log_context(request=name), request_span(scope) as span:
            try:
                await self.app(scope, receive, add)
            finally:
                seconds = time.perf_counter() - begun
                route = _route(scope)
                span.named(f"{scope['method']} {route}", {"http.route": route, "http.response.status_code": status})
                self._figures.note(scope["method"], route, status, seconds)
                if scope["path"] not in _QUIET:
                    _note(scope, route, status, seconds)


def _note(scope: Scope, route: str, status: int, seconds: float) -> None:
    caller, job = known_caller(scope), scope.get("path_params", {}).get("job_id")
    fact = {"method": scope["method"], "route": route, "status": status, "ms": round(seconds * 1000.0, 1)}
    if caller.owner:
        fact["key"] = caller.owner
    if isinstance(job, str) and job.isalnum():
        fact["job"] = job[:64]
    _log.info("%s %s %d", scope["method"], route, status, extra={LOG_FIELDS: fact})


def _route(scope: Scope) -> str:
    """Return the template of the route that answered; what met none is one kind."""
    return str(getattr(scope.get("route"), "path", None) or "other")
