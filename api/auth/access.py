"""Access: who asks, and whether they may. The gate stands before every route, also before those still to be written.

With keys in the record each request needs one, as ``Authorization: Bearer dw_...``. Without keys the service is open,
but to its own machine alone. What a route needs is said in one table here; what it does not name needs `admin`.
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

from api.auth.rate_limit import Rate, Rates, peer_name
from api.http.base_url import is_here
from api.http.errors import CrossSiteRefused, HostRefused, KeyRequired, RateExceeded, ScopeMissing, ServiceNotReady
from api.http.problems import problem_response
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

_AnswerT = TypeVar("_AnswerT")

#: Says nothing about any job, and is there for who has no key yet.
_PUBLIC: Final = re.compile(r"/|/kiosk/.*|/favicon\.ico|/livez|/readyz|/openapi\.json|/problems(?:/[^/]*)?", re.DOTALL)

#: Asked for by machines that watch, as often as they like.
_UNCOUNTED: Final = frozenset({"/livez", "/readyz"})

_READING: Final = frozenset({"GET", "HEAD"})

#: The scope of each method and path, the first that fits.
_RULES: Final[tuple[tuple[frozenset[str], re.Pattern[str], KeyScope], ...]] = (
    (_READING, re.compile(r"/metrics"), "admin"),
    (frozenset({"GET", "HEAD", "POST", "DELETE"}), re.compile(r"/v1/webhooks(?:/[^/]+(?:/secret)?)?"), "submit"),
    (_READING, re.compile(r".*", re.DOTALL), "read"),
    (frozenset({"POST"}), re.compile(r"/v1/(?:plans|jobs|batches)"), "submit"),
    (frozenset({"DELETE"}), re.compile(r"/v1/(?:jobs|batches)/[^/]+(?:/files)?"), "submit"),
    (frozenset({"POST", "DELETE"}), re.compile(r"/v1/jobs/[^/]+/schedule-link"), "read"),
    (frozenset({"POST", "PUT", "DELETE"}), re.compile(r"/v1/jobs/[^/]+/prints(?:/[^/]+)?"), "record"),
)

#: What the token of a schedule link opens: the calendar of one job.
_CALENDAR: Final = re.compile(rf"/v1/jobs/({ID_PATTERN}|\{{job_id\}})/schedule\.ics")

#: Seconds for which a key that was found is taken to be good: a revoked one is refused after these.
_FRESH: Final = 1.0

#: Most keys remembered.
_MOST: Final = 10_000

_REALM: Final = 'Bearer realm="drawerwright"'

#: What a proxy adds, in the lower case of ASGI: the request then comes from somewhere else than its last hop.
_FORWARDED: Final = frozenset({b"forwarded", b"via", b"x-forwarded-for", b"x-forwarded-host", b"x-real-ip"})

_NOBODY: Final = Principal("", frozenset())

_MAKE_ONE: Final = "Make a key: drawerwright keys create NAME --scope submit --scope read"


@lru_cache(maxsize=256)  # most requests are for one of a few; a path may be long
def scope_of(method: str, path: str) -> KeyScope | None:
    """Return the scope that a request needs; None: no key either. Works on a route's template as on a real path."""
    if _PUBLIC.fullmatch(path):
        return None
    return next((scope for methods, form, scope in _RULES if method in methods and form.fullmatch(path)), "admin")


def calendar_of(method: str, path: str) -> str | None:
    """Return the job whose calendar this is, which a schedule link opens too. Works on a route's template as well."""
    found = _CALENDAR.fullmatch(path) if method in _READING else None
    return None if found is None else found[1]


def caller_of(request: Request) -> Principal:
    """Return who asks; on a public page nobody, who has no job."""
    return known_caller(request.scope)


def known_caller(scope: MutableMapping[str, Any]) -> Principal:
    """Return who asks, as far as the gate has found out."""
    known = scope.get("drawerwright.caller", _NOBODY)
    return known if isinstance(known, Principal) else _NOBODY


def check_bind(settings: Settings, keys: ApiKeys | None = None) -> None:
    """Refuse to listen beyond this machine while everybody there could do everything.

    Raises:
        SettingsError: when there are no keys.
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
        "Without keys the service listens on this machine only.",
        value=settings.host,
        limit="127.0.0.1, ::1 or localhost",
        remedy=_MAKE_ONE.replace("--scope submit --scope read", "--scope admin"),
    )


class Guard:
    """Finds out who asks, and counts."""

    def __init__(self, keys: ApiKeys, settings: Settings, links: CalendarLinks, rates: Rates | None = None) -> None:
        """Use these keys and schedule links."""
        self._keys = keys
        self._links = links
        self._settings = settings
        self._rates = Rates() if rates is None else rates
        self._hosts = frozenset(one.strip().lower() for one in settings.allowed_hosts.split(",") if one.strip())
        self._watchers = read_networks(settings.metrics_networks)
        self._known: dict[str, tuple[ApiKey, float]] = {}
        self._used: dict[str, int] = {}
        self._closed = settings.open_loopback == "never"
        self._looked = -_FRESH

    async def admit(self, request: Request) -> tuple[Principal, Rate | None]:
        """Return who asks, and how their rate stands.

        Raises:
            KeyRequired, ScopeMissing, HostRefused, CrossSiteRefused, RateExceeded: when they may not.
            ServiceNotReady: when the keys cannot be read.
        """
        path = _path(request)
        needed = scope_of(request.method, path)
        peer = request.client.host if request.client is not None else ""
        if path == "/metrics" and _within(self._watchers, peer, request):
            return _NOBODY, None
        if needed is None:
            return _NOBODY, None if path in _UNCOUNTED else self._count(peer_name(peer), self._settings)
        caller, who = await self._linked(request, path, peer) or await self._caller(request, peer)
        rate = self._count(who, self._settings, caller)
        if not caller.may(needed):
            raise ScopeMissing(value=sorted(caller.scopes), limit=needed, remedy=f"Use a key with the scope {needed}.")
        return caller, rate

    async def _caller(self, request: Request, peer: str) -> tuple[Principal, str]:
        given = request.headers.get("authorization")
        if given is None:
            if await self._open(request, peer):
                return LOCAL, peer_name(peer)
            self._count(peer_name(peer), self._settings)
            raise KeyRequired(limit="Authorization: Bearer dw_...", remedy=_MAKE_ONE)
        scheme, _, token = given.partition(" ")
        key = await self._key(token.strip(), peer) if scheme.lower() == "bearer" else None
        if key is None:
            self._count(peer_name(peer), self._settings)
            raise KeyRequired("The key is not known.", limit="Authorization: Bearer dw_...", remedy=_MAKE_ONE)
        state = key.state(datetime.now(UTC))
        if state != "active":
            self._count(peer_name(peer), self._settings)
            raise KeyRequired(f"The key {key.id} is {state}.", limit="an active key", remedy=_MAKE_ONE)
        return key.caller, f"key:{key.id}"

    async def _linked(self, request: Request, path: str, peer: str) -> tuple[Principal, str] | None:
        """Return who asks by a schedule link, for this one request: as the job's owner, who may read."""
        job_id = calendar_of(request.method, path)
        if job_id is None or "authorization" in request.headers:
            return None
        token = request.query_params.get("token")
        if token is None:
            return None
        self._count(peer_name(peer), self._settings, cost=0.0)  # as for a key
        owner = await _asked(self._links.owner_of, job_id, token)
        return None if owner is None else (Principal(owner, frozenset({"read"})), f"calendar:{job_id}")

    async def _key(self, token: str, peer: str) -> ApiKey | None:
        now = time.monotonic()
        digest = sha256(token.encode()).hexdigest()  # the key itself is not kept, not even here
        known, until = self._known.get(digest, (None, 0.0))
        if known is not None and now < until:
            return known
        self._count(peer_name(peer), self._settings, cost=0.0)  # who guesses is stopped before the record is asked
        key = await _asked(self._keys.find, token)
        if key is None:
            return None
        if len(self._known) >= _MOST:
            self._known.clear()
        self._known[digest] = key, now + _FRESH
        hour = int(time.time() // 3600)
        if self._used.get(key.id) != hour:
            self._used[key.id] = hour
            try:
                await run_in_threadpool(self._keys.used, key.id)
            except (SQLAlchemyError, OSError):  # what is full can be read all the same
                _log.warning("That a key was used is not noted.", exc_info=True)
        return key

    async def _open(self, request: Request, peer: str) -> bool:
        """Return whether the request needs no key: it is from this machine, and the service is open to it.

        Raises:
            HostRefused: when a browser was led here by another name (DNS rebinding).
            CrossSiteRefused: when a page of another site would change something.
        """
        if not is_here(peer) or _forwarded(request) or await self._closes():
            return False
        host = request.headers.get("host", "")
        name = _name_of(host)
        if host and not (name is not None and (is_here(name) or name in self._hosts)):
            remedy = "Ask 127.0.0.1 or localhost, name the host in DRAWERWRIGHT_ALLOWED_HOSTS, or use keys."
            raise HostRefused(value=host, limit="a name of this machine", remedy=remedy)
        if request.method not in _READING:
            _check_site(request, host)
        return True

    async def _closes(self) -> bool:
        """Return whether this machine needs a key too. Once there are keys it stays so until the service ends."""
        if self._closed or self._settings.open_loopback == "always":
            return self._closed
        now = time.monotonic()
        if now - self._looked >= _FRESH:
            self._closed = await _asked(self._keys.any)
            self._looked = now
        return self._closed

    def _count(self, who: str, settings: Settings, caller: Principal | None = None, cost: float = 1.0) -> Rate | None:
        own = None if caller is None or caller is LOCAL else caller.quotas.requests
        per_minute = settings.requests_per_minute if own is None else own
        if not per_minute:
            return None
        rate = self._rates.take(who, per_minute, cost)
        if rate.wait:
            error = RateExceeded(limit=f"{per_minute} requests a minute", remedy=f"Wait {rate.wait} s.")
            error.headers = rate.headers()
            raise error
        return rate


class Gate:
    """Answers those who may not, and lets the others through to the app."""

    def __init__(self, app: ASGIApp) -> None:
        """Stand before this app."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Ask the guard."""
        if scope["type"] == "websocket":  # there are none, so nobody has said who may open one
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        guard: Guard = scope["app"].state.shared.guard  # `AppState`; its module imports this one
        try:
            caller, rate = await guard.admit(request)
        except DrawerwrightError as refused:
            await problem_response(request, refused, headers=_told(refused, request))(scope, receive, send)
            return
        scope["drawerwright.caller"] = caller
        told = {} if rate is None else rate.headers()

        async def add(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in told.items():
                    headers.setdefault(name, value)
                headers.add_vary_header("Authorization")
            await send(message)

        with log_context(key=caller.owner or None):
            await self.app(scope, receive, add)


def _forwarded(request: Request) -> bool:
    return not _FORWARDED.isdisjoint([name for name, _ in request.scope["headers"]])


def _within(networks: Networks, peer: str, request: Request) -> bool:
    """Return whether the request comes from one of these networks, and not through somebody else."""
    try:
        address = ip_address(peer.partition("%")[0])
    except ValueError:
        return False
    return any(address in one for one in networks) and not _forwarded(request)


def _told(refused: DrawerwrightError, request: Request) -> Mapping[str, str]:
    """Return the headers of a refusal (RFC 6750, 3; RFC 9110, 10.2.3)."""
    if isinstance(refused, KeyRequired):
        wrong = ', error="invalid_token"' if "authorization" in request.headers else ""
        return {"WWW-Authenticate": _REALM + wrong}
    if isinstance(refused, ScopeMissing):
        return {"WWW-Authenticate": f'{_REALM}, error="insufficient_scope", scope="{refused.limit}"'}
    return refused.headers if isinstance(refused, RateExceeded) else {}


def _path(request: Request) -> str:
    """Return the path as the router sees it, without the prefix of a proxy."""
    path, prefix = str(request.scope["path"]), str(request.scope.get("root_path", ""))
    inside = path.removeprefix(prefix) if prefix else path
    return inside if inside.startswith("/") else path


@lru_cache(maxsize=256)  # as above
def _name_of(host: str) -> str | None:
    """Return the host of a Host header without its port, or None when it is none."""
    try:
        return urlsplit(f"//{host}").hostname
    except ValueError:
        return None


def _check_site(request: Request, host: str) -> None:
    site = request.headers.get("sec-fetch-site")
    origin = request.headers.get("origin")
    if site is not None and site not in ("same-origin", "none"):
        raise CrossSiteRefused(value=site, limit="same-origin", remedy="Ask from the service's own page, or use a key.")
    if origin is not None and urlsplit(origin).netloc.lower() != host.lower():
        raise CrossSiteRefused(value=origin, limit=host, remedy="Ask from the service's own page, or use a key.")


async def _asked(question: Callable[..., _AnswerT], *about: object) -> _AnswerT:
    try:
        return await run_in_threadpool(question, *about)
    except (SQLAlchemyError, OSError) as error:
        _log.exception("The keys cannot be read.")
        raise ServiceNotReady from error
