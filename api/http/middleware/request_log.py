"""The request log: every request gets an identifier, a log line and a place in the metrics."""

import logging
import re
import secrets
import time
from typing import Final

from prometheus_client import CollectorRegistry, Histogram
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.auth.access import known_caller
from worker.jobs.observability.logging_setup import LOG_FIELDS, log_context
from worker.jobs.observability.tracing import request_span

__all__ = ["RequestLog", "RequestMetrics"]

_log = logging.getLogger(__name__)

#: Request identifiers that are accepted from clients; anything else could forge log lines.
_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._-]{1,64}", re.ASCII)

_METHODS: Final = frozenset({"DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT"})

#: Upper bounds of the histogram's buckets, in seconds.
_BUCKETS: Final = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)

#: Paths that monitoring polls: they are counted but not logged.
_UNLOGGED: Final = frozenset({"/livez", "/readyz", "/metrics"})

_SERVER_ERROR: Final = 500


class _QueryFilter(logging.Filter):
    """Removes the query from the server's own access log: it may contain a token."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Strip the query from the record's arguments (client, method, path with query, version, status); keep all."""
        if isinstance(record.args, tuple):
            record.args = tuple(arg.partition("?")[0] if isinstance(arg, str) else arg for arg in record.args)
        return True


_QUERY_FILTER: Final = _QueryFilter()


class RequestMetrics:
    """The request metrics of this process; each process of a service has its own."""

    def __init__(self) -> None:
        """Create an empty histogram in a registry of its own."""
        self.registry = CollectorRegistry()
        self._seconds = Histogram(
            "drawerwright_request_seconds",
            "Time from receiving a request to the end of its response, in seconds.",
            ("method", "route", "status"),
            buckets=_BUCKETS,
            registry=self.registry,
        )

    def observe(self, method: str, route: str, status: int, seconds: float) -> None:
        """Record one response. ``route`` is the template of a path, so that the number of series stays bounded."""
        self._seconds.labels(method if method in _METHODS else "OTHER", route, str(status)).observe(seconds)


class RequestLog:
    """The outermost ASGI middleware: identifies, logs, traces and measures requests."""

    def __init__(self, app: ASGIApp, metrics: RequestMetrics) -> None:
        """Wrap ``app`` and record its responses in ``metrics``."""
        self.app = app
        self._metrics = metrics
        logging.getLogger("uvicorn.access").addFilter(_QUERY_FILTER)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on; log and measure it when its response has ended."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        header = Headers(scope=scope).get("x-request-id", "")
        request_id = header if _REQUEST_ID.fullmatch(header) else secrets.token_hex(8)
        scope["drawerwright.request"] = request_id
        start = time.perf_counter()
        exchange = _Exchange(scope, receive, send, request_id)
        with log_context(request=request_id), request_span(scope) as span:
            try:
                await self.app(scope, exchange.receive, exchange.send)
            except (ClientDisconnect, OSError):
                if not exchange.abandoned:
                    raise
            finally:
                seconds = time.perf_counter() - start
                route, status = _route(scope), exchange.status
                span.named(f"{scope['method']} {route}", {"http.route": route, "http.response.status_code": status})
                self._metrics.observe(scope["method"], route, status, seconds)
                if scope["path"] not in _UNLOGGED:
                    _write_line(scope, route, exchange, seconds)


class _Exchange:
    """Observes a request and its response."""

    def __init__(self, scope: Scope, receive: Receive, send: Send, request_id: str) -> None:
        self.status = _SERVER_ERROR
        #: Whether the client disconnected in the middle of the response.
        self.abandoned = False
        self._scope, self._receive, self._send, self._request_id = scope, receive, send, request_id
        self._open = False

    async def receive(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.disconnect" and self._open:
            self.abandoned = True
        return message

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.status, self._open = message["status"], True
            MutableHeaders(scope=message)["X-Request-ID"] = self._request_id
        try:
            await self._send(message)
        except OSError:
            self.abandoned = self._open
            raise
        if message["type"] == "http.response.body" and not message.get("more_body", False):
            self._open = False


def _write_line(scope: Scope, route: str, exchange: _Exchange, seconds: float) -> None:
    caller, job = known_caller(scope), scope.get("path_params", {}).get("job_id")
    fields = {"method": scope["method"], "route": route, "status": exchange.status, "ms": round(seconds * 1000.0, 1)}
    if caller.owner:
        fields["key"] = caller.owner
    if isinstance(job, str) and job.isalnum():
        fields["job"] = job[:64]
    end = ", and the client left" if exchange.abandoned else ""
    _log.info("%s %s %d%s", scope["method"], route, exchange.status, end, extra={LOG_FIELDS: fields})


def _route(scope: Scope) -> str:
    """Return the path template of the route that responded, or ``other`` where none matched."""
    return str(getattr(scope.get("route"), "path", None) or "other")
