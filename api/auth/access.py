"""Authentication and authorisation: a middleware before every route.

Once the database holds API keys, every request requires one (``Authorization: Bearer dw_...``). Without any, the
service is open to its own machine only. One table maps methods and paths to scopes; all else needs `admin`.
"""

import logging
import re
import time
from collections.abc import Callable, Mapping, MutableMapping
from datetime import UTC, datetime
from functools import lru_cache
from hashlib import sha256
from ipaddress import ip_address
from typing import Any, Final, TypeVar
from urllib.parse import urlsplit

from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.auth.client_address import client_address, client_scheme
from api.auth.rate_limit import Rate, Rates, peer_name
from api.http.middleware.cors import read_origins
from api.http.problems.errors import (
    CrossSiteRefused,
    HostRefused,
    KeyRequired,
    RateExceeded,
    ScopeMissing,
    ServiceNotReady,
)
from api.http.problems.problem_documents import problem_response
from api.http.requests.base_url import is_here
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.common.principal import LOCAL, Principal
from worker.jobs.common.principal import Scope as KeyScope
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.observability.logging_setup import log_context
from worker.jobs.records.api_keys import ApiKey, ApiKeys
from worker.jobs.records.calendar_links import CalendarLinks
from worker.jobs.webhooks.ip_policy import Networks, read_networks
from worker.spec.errors import DrawerwrightError

__all__ = ["Gate", "Guard", "calendar_of", "caller_of", "check_bind", "known_caller", "scope_of"]

_log = logging.getLogger(__name__)

_ResultT = TypeVar("_ResultT")

#: Paths that reveal nothing about any job and need no API key.
_PUBLIC: Final = re.compile(r"/|/kiosk/.*|/favicon\.ico|/livez|/readyz|/openapi\.json|/problems(?:/[^/]*)?", re.DOTALL)

#: Paths without a rate limit: monitoring polls them.
_UNCOUNTED: Final = frozenset({"/livez", "/readyz"})

_READING: Final = frozenset({"GET", "HEAD"})

#: The required scope by method and path; the first match counts.
_RULES: Final[tuple[tuple[frozenset[str], re.Pattern[str], KeyScope], ...]] = (
    (_READING, re.compile(r"/metrics|/v1/keys(?:/[^/]+)?"), "admin"),
    (
        frozenset({"GET", "HEAD", "POST", "DELETE"}),
        re.compile(r"/v1/webhooks(?:/[^/]+(?:/secret|/test|/deliveries(?:/[^/]+/redeliver)?)?)?"),
        "submit",
    ),
    (_READING, re.compile(r".*", re.DOTALL), "read"),
    (frozenset({"POST"}), re.compile(r"/v1/(?:plans|jobs|batches|jobs/[^/]+/retry)"), "submit"),
    (frozenset({"DELETE"}), re.compile(r"/v1/(?:jobs|batches)/[^/]+(?:/files)?"), "submit"),
    (frozenset({"PATCH"}), re.compile(r"/v1/jobs/[^/]+"), "submit"),
    (frozenset({"POST", "DELETE"}), re.compile(r"/v1/jobs/[^/]+/schedule-link"), "read"),
    (frozenset({"POST", "PUT", "DELETE"}), re.compile(r"/v1/jobs/[^/]+/prints(?:/[^/]+)?"), "record"),
    (frozenset({"PUT"}), re.compile(r"/v1/drawers/[^/]+/layout"), "record"),
    (
        frozenset({"POST", "PUT", "DELETE"}),
        re.compile(r"/v1/(?:drawers|things)(?:/[^/]+)?|/v1/drawers/[^/]+/changes"),
        "submit",
    ),
    (
        frozenset({"POST", "PUT", "DELETE"}),
        re.compile(r"/v1/silhouettes(?:/[^/]+(?:/outline)?)?"),
        "submit",
    ),
    (frozenset({"POST"}), re.compile(r"/v1/household"), "submit"),
    (frozenset({"POST", "PUT", "DELETE"}), re.compile(r"/v1/pieces(?:/[^/]+)?"), "record"),
)

#: The path that a schedule link's token opens: the calendar feed of one job.
_CALENDAR: Final = re.compile(rf"/v1/jobs/({ID_PATTERN}|\{{job_id\}})/schedule\.ics")

#: Seconds for which a key is cached, and after which a revoked key is rejected at the latest.
_FRESH: Final = 1.0

#: Largest number of cached keys.
_MOST: Final = 10_000

_REALM: Final = 'Bearer realm="drawerwright"'

#: Headers that proxies add, in lower case as in ASGI: the peer is then not the client.
_FORWARDED: Final = frozenset({b"forwarded", b"via", b"x-forwarded-for", b"x-forwarded-host", b"x-real-ip"})

_NOBODY: Final = Principal("", frozenset())

_CREATE_KEY: Final = "Create an API key: drawerwright keys create NAME --scope submit --scope read"


@lru_cache(maxsize=256)  # called for every request, with few paths
def scope_of(method: str, path: str) -> KeyScope | None:
    """Return the scope that a path, or the template of a route, needs; None if it needs no API key."""
    if _PUBLIC.fullmatch(path):
        return None
    return next((scope for methods, form, scope in _RULES if method in methods and form.fullmatch(path)), "admin")


def calendar_of(method: str, path: str) -> str | None:
    """Return the id of the job whose calendar feed a path, or the template of a route, names; None for other paths."""
    match = _CALENDAR.fullmatch(path) if method in _READING else None
    return None if match is None else match[1]


def caller_of(request: Request) -> Principal:
    """Return the caller; on a public path, a principal that sees no job."""
    return known_caller(request.scope)


def known_caller(scope: MutableMapping[str, Any]) -> Principal:
    """Return the caller that the gate has authenticated, or a principal that sees no job."""
    caller = scope.get("drawerwright.caller", _NOBODY)
    return caller if isinstance(caller, Principal) else _NOBODY


def check_bind(settings: Settings, keys: ApiKeys | None = None) -> None:
    """Refuse to listen on the network without API keys: anyone could then change everything.

    Raises:
        SettingsError: when there are no keys and the host is not a loopback address.
    """
    if is_here(settings.host):
        return
    database = None
    if keys is None:
        database = open_database(settings.database)
        keys = ApiKeys(database)
    try:
        if keys.any():
            return
    finally:
        if database is not None:
            database.dispose()
    raise SettingsError(
        "Without API keys the service listens on this machine only.",
        value=settings.host,
        limit="127.0.0.1, ::1 or localhost",
        remedy=_CREATE_KEY.replace("--scope submit --scope read", "--scope admin"),
    )


class Guard:
    """Authenticates requests and applies rate limits."""

    def __init__(self, keys: ApiKeys, settings: Settings, links: CalendarLinks, rates: Rates | None = None) -> None:
        """Use these keys and schedule links."""
        self._keys = keys
        self._links = links
        self._settings = settings
        self._rates = Rates() if rates is None else rates
        self._hosts = frozenset(host.strip().lower() for host in settings.allowed_hosts.split(",") if host.strip())
        self._watchers = read_networks(settings.metrics_networks)
        self._origins = read_origins(settings.cors_origins)
        self._proxies = read_networks(settings.trusted_proxies)
        self._cached: dict[str, tuple[ApiKey | None, float]] = {}
        self._used: dict[str, int] = {}
        self._closed = settings.open_loopback == "never"
        self._looked = -_FRESH

    async def admit(self, request: Request) -> tuple[Principal, Rate | None]:
        """Return the caller of a request, and the state of its rate limit if there is one.

        Raises:
            KeyRequired, ScopeMissing, HostRefused, CrossSiteRefused, RateExceeded: when the request is rejected.
            ServiceNotReady: when the keys cannot be read.
        """
        path = _path(request)
        needed = scope_of(request.method, path)
        peer = request.client.host if request.client is not None else ""
        if path == "/metrics" and _within(self._watchers, peer, request):
            return _NOBODY, None
        if needed is None:
            if path in _UNCOUNTED:
                return _NOBODY, None
            return _NOBODY, self._count(peer_name(client_address(request, self._proxies)), self._settings)
        client = peer_name(client_address(request, self._proxies))
        caller, who = await self._linked(request, path) or await self._caller(request, peer, client)
        rate = self._count(who, self._settings, caller)
        if not caller.may(needed):
            raise ScopeMissing(
                value=sorted(caller.scopes), limit=needed, remedy=f"Use an API key with the scope {needed}."
            )
        return caller, rate

    async def _caller(self, request: Request, peer: str, client: str) -> tuple[Principal, str]:
        given = request.headers.get("authorization")
        if given is None:
            if await self._open(request, peer):
                return LOCAL, client
            self._count_failure(client)
            raise KeyRequired(limit="Authorization: Bearer dw_...", remedy=_CREATE_KEY)
        scheme, _, token = given.partition(" ")
        key = await self._key(token.strip()) if scheme.lower() == "bearer" else None
        if key is None:
            self._count_failure(client)
            raise KeyRequired("The API key is invalid.", limit="Authorization: Bearer dw_...", remedy=_CREATE_KEY)
        state = key.state(datetime.now(UTC))
        if state != "active":
            self._count_failure(client)
            raise KeyRequired(f"The API key {key.id} is {state}.", limit="an active key", remedy=_CREATE_KEY)
        return key.caller, f"key:{key.id}"

    async def _linked(self, request: Request, path: str) -> tuple[Principal, str] | None:
        """Return the principal of a request with a schedule link: the job's owner, with the scope read only."""
        job_id = calendar_of(request.method, path)
        if job_id is None or "authorization" in request.headers:
            return None
        token = request.query_params.get("token")
        if token is None:
            return None
        owner = await _query(self._links.owner_of, job_id, token)
        return None if owner is None else (Principal(owner, frozenset({"read"})), f"calendar:{job_id}")

    async def _key(self, token: str) -> ApiKey | None:
        """Return the key of this token, however many invalid ones the same address has sent."""
        now = time.monotonic()
        digest = sha256(token.encode()).hexdigest()  # the key itself is never stored, not even in memory
        cached, until = self._cached.get(digest, (None, 0.0))
        if now < until:
            return cached
        key = await _query(self._keys.find, token)
        if len(self._cached) >= _MOST:
            self._cached.clear()
        self._cached[digest] = key, now + _FRESH  # also None: a client may repeat an invalid key
        if key is None:
            return None
        hour = int(time.time() // 3600)
        if self._used.get(key.id) != hour:
            self._used[key.id] = hour
            try:
                await run_in_threadpool(self._keys.used, key.id)
            except (SQLAlchemyError, OSError):  # a database that is full can still be read
                _log.warning("Recording the use of an API key failed.", exc_info=True)
        return key

    async def _open(self, request: Request, peer: str) -> bool:
        """Return whether the request needs no API key because it comes from this machine.

        Raises:
            HostRefused: when the Host header names another host (DNS rebinding).
            CrossSiteRefused: when a page of another site requests a change.
        """
        if not is_here(peer) or _forwarded(request) or await self._closes():
            return False
        host = request.headers.get("host", "")
        name = _name_of(host)
        if host and not (name is not None and (is_here(name) or name in self._hosts)):
            remedy = "Use 127.0.0.1 or localhost, add the host to DRAWERWRIGHT_ALLOWED_HOSTS, or create an API key."
            raise HostRefused(value=host, limit="a name of this machine", remedy=remedy)
        if request.method not in _READING:
            _check_site(request, host, self._origins)
        return True

    async def _closes(self) -> bool:
        """Return whether local requests need a key too. Once true, it stays true until the service ends."""
        if self._closed or self._settings.open_loopback == "always":
            return self._closed
        now = time.monotonic()
        if now - self._looked >= _FRESH:
            self._closed = await _query(self._keys.any)
            self._looked = now
        return self._closed

    def _count_failure(self, client: str) -> None:
        """Count a request without a valid key, in a separate bucket: valid keys from the same address still work.

        Raises:
            RateExceeded: when its address has sent too many.
        """
        per_minute = self._settings.failures_per_minute
        if per_minute:
            self._take(f"failed {client}", per_minute, "requests without a valid key")

    def _count(self, who: str, settings: Settings, caller: Principal | None = None) -> Rate | None:
        own = None if caller is None or caller is LOCAL else caller.quotas.requests
        per_minute = settings.requests_per_minute if own is None else own
        if not per_minute:
            return None
        return self._take(who, per_minute, "requests")

    def _take(self, bucket: str, per_minute: int, what: str) -> Rate:
        rate = self._rates.take(bucket, per_minute)
        if rate.wait:
            error = RateExceeded(limit=f"{per_minute} {what} a minute", remedy=f"Wait {rate.wait} s.")
            error.headers = rate.headers()
            raise error
        return rate

    def scheme(self, request: Request) -> str | None:
        """Return the scheme that a trusted proxy reports for the request, or None."""
        return client_scheme(request, self._proxies)


class Gate:
    """ASGI middleware that rejects unauthorised requests and passes on the others."""

    def __init__(self, app: ASGIApp) -> None:
        """Wrap ``app``."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Admit or reject the request; add the rate limit's headers to its response."""
        if scope["type"] == "websocket":  # no route has any
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        guard: Guard = scope["app"].state.shared.guard  # `AppState`; its module imports this one
        scope["scheme"] = guard.scheme(request) or scope.get("scheme", "http")
        try:
            caller, rate = await guard.admit(request)
        except DrawerwrightError as error:
            await problem_response(request, error, headers=_error_headers(error, request))(scope, receive, send)
            return
        scope["drawerwright.caller"] = caller
        rate_headers = {} if rate is None else rate.headers()

        async def add(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in rate_headers.items():
                    headers.setdefault(name, value)
                headers.add_vary_header("Authorization")
            await send(message)

        with log_context(key=caller.owner or None):
            await self.app(scope, receive, add)


def _forwarded(request: Request) -> bool:
    return not _FORWARDED.isdisjoint([name for name, _ in request.scope["headers"]])


def _within(networks: Networks, peer: str, request: Request) -> bool:
    """Return whether the request comes directly, not through a proxy, from one of these networks."""
    try:
        address = ip_address(peer.partition("%")[0])
    except ValueError:
        return False
    return any(address in network for network in networks) and not _forwarded(request)


def _error_headers(error: DrawerwrightError, request: Request) -> Mapping[str, str]:
    """Return the headers of an error response (RFC 6750, 3; RFC 9110, 10.2.3)."""
    if isinstance(error, KeyRequired):
        wrong = ', error="invalid_token"' if "authorization" in request.headers else ""
        return {"WWW-Authenticate": _REALM + wrong}
    if isinstance(error, ScopeMissing):
        return {"WWW-Authenticate": f'{_REALM}, error="insufficient_scope", scope="{error.limit}"'}
    return error.headers if isinstance(error, RateExceeded) else {}


def _path(request: Request) -> str:
    """Return the path as the router sees it, without a proxy's prefix."""
    path, prefix = str(request.scope["path"]), str(request.scope.get("root_path", ""))
    inside = path.removeprefix(prefix) if prefix else path
    return inside if inside.startswith("/") else path


def _name_of(host: str) -> str | None:
    """Return the host of a Host header without its port, or None if it is malformed."""
    try:
        return urlsplit(f"//{host}").hostname
    except ValueError:
        return None


def _check_site(request: Request, host: str, origins: frozenset[str]) -> None:
    """Raise CrossSiteRefused for a request that a browser sends from another site's page (Fetch Metadata, Origin)."""
    site = request.headers.get("sec-fetch-site")
    origin = request.headers.get("origin")
    if origin in origins:
        return
    if site is not None and site not in ("same-origin", "none"):
        raise CrossSiteRefused(value=site, limit="same-origin", remedy="Use the service's own page, or an API key.")
    if origin is not None and urlsplit(origin).netloc.lower() != host.lower():
        raise CrossSiteRefused(value=origin, limit=host, remedy="Use the service's own page, or an API key.")


async def _query(read: Callable[..., _ResultT], *args: object) -> _ResultT:
    """Run a database query in a thread; return its result.

    Raises:
        ServiceNotReady: when the database cannot be read.
    """
    try:
        return await run_in_threadpool(read, *args)
    except (SQLAlchemyError, OSError) as error:
        _log.exception("The API keys cannot be read from the database.")
        raise ServiceNotReady from error
