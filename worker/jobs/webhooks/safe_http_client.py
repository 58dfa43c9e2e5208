"""An HTTP client for URLs that users supply, protected against server-side request forgery (SSRF).

A host name is resolved once, all its addresses must be allowed, and the connection goes to one of exactly these
addresses, which defeats DNS rebinding. Redirects are not followed and proxies not used.
"""

import re
import socket
import ssl
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from ipaddress import ip_address
from typing import Any, Final, TypeAlias
from urllib.parse import urlsplit

import httpcore

from worker.jobs.common.errors import SettingsError, WebhookRefused
from worker.jobs.webhooks.ip_policy import Networks, is_allowed

__all__ = ["RequestFailed", "Resolver", "SafeHttpClient", "Target", "parse_target", "read_ports"]


#: Returns the IP addresses of a host as text.
Resolver: TypeAlias = Callable[[str, int], Sequence[str]]

CONNECT_SECONDS: Final = 3.0
TOTAL_SECONDS: Final = 10.0

_LONGEST: Final = 2_000
_HOST: Final = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,251}[A-Za-z0-9.])?", re.ASCII)
#: The last label of a host that systems read as an IPv4 address (URL Standard, 3.5: "ends in a number").
_NUMBER: Final = re.compile(r"[0-9]+|0[xX][0-9A-Fa-f]*", re.ASCII)
#: The characters of a path and query (RFC 3986, 3.3 and 3.4); others must be percent-encoded.
_TARGET: Final = re.compile(r"(?:[A-Za-z0-9._~!$&'()*+,;=:@/?-]|%[0-9A-Fa-f]{2})*", re.ASCII)
_PORTS: Final = {"http": 80, "https": 443}
_LIMIT: Final = "https://host/path or http://host/path, without user, password and fragment"


class RequestFailed(Exception):
    """The request was not sent, or got no response; the message contains no secrets."""


@dataclass(frozen=True, slots=True)
class Target:
    """A parsed URL. ``path`` includes the query and must not be logged: it may contain a secret."""

    scheme: str
    host: str
    port: int
    path: str

    @property
    def authority(self) -> str:
        """The host and, unless it is the default, the port."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == _PORTS[self.scheme] else f"{host}:{self.port}"


def parse_target(url: str, networks: Networks = (), ports: frozenset[int] = frozenset()) -> Target:
    """Parse a URL and check it, without resolving its host.

    Raises:
        WebhookRefused: if the URL is invalid or not allowed.
    """
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        raise WebhookRefused(pointer="/url", limit=_LIMIT) from None
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    if len(url) > _LONGEST or parts.scheme not in _PORTS or not url.isascii() or not url.isprintable():
        raise WebhookRefused(pointer="/url", value=parts.scheme, limit=f"{_LIMIT}; at most {_LONGEST} characters")
    if "@" in parts.netloc:
        remedy = "Every message is signed; check the signature instead of a password."
        raise WebhookRefused("The URL contains a user name or password.", pointer="/url", limit=_LIMIT, remedy=remedy)
    if "#" in url or not _TARGET.fullmatch(target) or " " in url:
        raise WebhookRefused(pointer="/url", limit=_LIMIT)
    if ":" in host:
        _check_literal(host, networks)
    elif not _HOST.fullmatch(host):
        remedy = "Write an international name in its ASCII form (xn--...)."
        raise WebhookRefused("The address has no usable host.", pointer="/url", value=host, remedy=remedy)
    else:
        _check_literal(host, networks)
    effective_port = _PORTS[parts.scheme] if port is None else port
    if effective_port == 0 or (ports and effective_port not in ports):
        allowed = ", ".join(map(str, sorted(ports))) or "1 to 65535"
        raise WebhookRefused("Webhooks may not use this port.", pointer="/url", value=effective_port, limit=allowed)
    return Target(parts.scheme, host, effective_port, target)


def read_ports(text: str) -> frozenset[int]:
    """Parse the comma-separated ports of a setting; an empty set allows any.

    Raises:
        SettingsError: if one of them is invalid.
    """
    ports = [entry.strip() for entry in text.split(",") if entry.strip()]
    if not all(entry.isascii() and entry.isdigit() and 0 < int(entry) < 2**16 for entry in ports):
        raise SettingsError("The list of ports is invalid.", value=text, limit="comma-separated ports from 1 to 65535")
    return frozenset(map(int, ports))


def resolve(host: str, port: int) -> Sequence[str]:
    """Return the host's addresses from the system's resolver."""
    addresses = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP)
    return [str(entry[4][0]) for entry in addresses]


class SafeHttpClient:
    """Sends POST requests to allowed addresses only."""

    def __init__(
        self, networks: Networks = (), ports: frozenset[int] = frozenset(), resolver: Resolver = resolve
    ) -> None:
        """Allow global addresses, these networks, and these ports (empty: any)."""
        self._networks = networks
        self._ports = ports
        self._resolver = resolver

    def check(self, url: str) -> None:
        """Check a URL without resolving its host.

        Raises:
            WebhookRefused: if the URL is invalid or not allowed.
        """
        parse_target(url, self._networks, self._ports)

    def post(self, url: str, body: bytes, headers: Iterable[tuple[str, str]]) -> int:
        """Send a POST request and return the response's status; its body is not read.

        Raises:
            RequestFailed: if the address is not allowed, or there is no response in time.
        """
        end = time.monotonic() + TOTAL_SECONDS
        try:
            target = parse_target(url, self._networks, self._ports)
        except WebhookRefused as refused:
            raise RequestFailed(refused.message) from None
        backend = _Pinned(self._addresses(target), end)
        fields = [("Host", target.authority), ("Content-Length", str(len(body))), ("Connection", "close"), *headers]
        seconds = {"connect": CONNECT_SECONDS, "read": TOTAL_SECONDS, "write": TOTAL_SECONDS, "pool": TOTAL_SECONDS}
        place = httpcore.URL(scheme=target.scheme, host=target.host, port=target.port, target=target.path)
        try:
            with (
                httpcore.ConnectionPool(ssl_context=_trust(), network_backend=backend, retries=0) as pool,
                pool.stream("POST", place, headers=fields, content=body, extensions={"timeout": seconds}) as answer,
            ):
                return int(answer.status)
        except (httpcore.TimeoutException, TimeoutError):
            raise RequestFailed("The endpoint did not respond in time.") from None
        except httpcore.NetworkError as error:
            kind = "The TLS handshake failed." if _of_tls(error) else "Connecting to the endpoint failed."
            raise RequestFailed(kind) from None
        except (httpcore.ProtocolError, httpcore.UnsupportedProtocol, OSError, ValueError):
            raise RequestFailed("The response is not valid HTTP.") from None

    def _addresses(self, target: Target) -> list[str]:
        try:
            addresses = list(dict.fromkeys(self._resolver(target.host, target.port)))
        except (OSError, UnicodeError):
            raise RequestFailed("The host has no address.") from None
        if not addresses:
            raise RequestFailed("The host has no address.")
        if not all(is_allowed(address, self._networks) for address in addresses):
            raise RequestFailed("Webhooks may not connect to an address of this host (DRAWERWRIGHT_WEBHOOK_NETWORKS).")
        return addresses


class _Pinned(httpcore.NetworkBackend):
    """A network backend that connects to checked addresses only, with one deadline for everything."""

    def __init__(self, addresses: Sequence[str], end: float) -> None:
        self._addresses = addresses
        self._end = end
        self._inner = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,  # noqa: ARG002 - the addresses were resolved before
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        until = min(self._end, time.monotonic() + (timeout or CONNECT_SECONDS))
        for number, address in enumerate(self._addresses):
            try:
                stream = self._inner.connect_tcp(address, port, _left(until), local_address, socket_options)
            except httpcore.ConnectError:
                if number == len(self._addresses) - 1:
                    raise
            else:
                return _Bounded(stream, self._end)
        raise httpcore.ConnectError

    def connect_unix_socket(
        self, path: str, timeout: float | None = None, socket_options: Iterable[Any] | None = None
    ) -> httpcore.NetworkStream:
        raise httpcore.UnsupportedProtocol(f"{path} {timeout} {socket_options}")

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)


class _Bounded(httpcore.NetworkStream):
    """A stream with one deadline for all reads and writes, so that a slow response cannot hold it open."""

    def __init__(self, inner: httpcore.NetworkStream, end: float) -> None:
        self._inner = inner
        self._end = end

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self._inner.read(max_bytes, _left(self._end, timeout))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self._inner.write(buffer, _left(self._end, timeout))

    def close(self) -> None:
        self._inner.close()

    def start_tls(
        self, ssl_context: ssl.SSLContext, server_hostname: str | None = None, timeout: float | None = None
    ) -> httpcore.NetworkStream:
        return _Bounded(self._inner.start_tls(ssl_context, server_hostname, _left(self._end, timeout)), self._end)

    def get_extra_info(self, info: str) -> Any:
        return self._inner.get_extra_info(info)


def _left(end: float, most: float | None = None) -> float:
    left = end - time.monotonic()
    if left <= 0.0:
        raise httpcore.ReadTimeout
    return left if most is None else min(left, most)


@cache
def _trust() -> ssl.SSLContext:
    """Return the system's TLS settings; SSL_CERT_FILE can name the certificates of a private network."""
    return ssl.create_default_context()


def _of_tls(error: BaseException) -> bool:
    while error.__cause__ is not None or error.__context__ is not None:
        error = error.__cause__ or error.__context__ or error
        if isinstance(error, ssl.SSLError):
            return True
    return False


def _check_literal(host: str, networks: Networks) -> None:
    """Check a literal IP address, and a name that always means this machine; others are checked when resolved."""
    name = host.removesuffix(".").lower()
    if name == "localhost" or name.endswith(".localhost"):  # RFC 6761, 6.3
        allowed = is_allowed("127.0.0.1", networks) or is_allowed("::1", networks)
    else:
        try:
            ip_address(host)
        except ValueError:
            if ":" in host:
                raise WebhookRefused(pointer="/url", value=host, limit=_LIMIT) from None
            if _NUMBER.fullmatch(name.rpartition(".")[2]):
                remedy = "Write an IPv4 address as four decimal numbers, such as 192.0.2.1."
                raise WebhookRefused(
                    "The host is a number but not an IPv4 address.",
                    pointer="/url", value=host, limit=_LIMIT, remedy=remedy,
                ) from None  # fmt: skip
            return
        allowed = is_allowed(host, networks)
    if not allowed:
        raise WebhookRefused(
            "The address is not globally reachable.",
            pointer="/url",
            value=host,
            limit="a global address, or one within DRAWERWRIGHT_WEBHOOK_NETWORKS",
            remedy="The operator can allow a private network: DRAWERWRIGHT_WEBHOOK_NETWORKS=192.168.0.0/16.",
        )
