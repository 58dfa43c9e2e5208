"""Absolute URLs of the service as its clients see it, and whether a host is this machine.

Starlette's `request.base_url` repeats any Host header, however malformed; these URLs stand in documents.
"""

import re
from functools import lru_cache
from ipaddress import IPv6Address, ip_address
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

if TYPE_CHECKING:
    from starlette.requests import HTTPConnection  # `serve` calls `is_here` before it imports the server

__all__ = ["base_of", "is_here", "path_of"]

#: A host with an optional port (RFC 3986, 3.2.2 and 3.2.3); a Host header of any other form is not repeated.
_AUTHORITY: Final = re.compile(r"(?:[A-Za-z0-9._~-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::[0-9]{1,5})?", re.ASCII)


def base_of(connection: "HTTPConnection") -> str:
    """Return the service's base URL without a trailing slash, as ``http://host:port/prefix``."""
    host = connection.headers.get("host", "")
    if not _AUTHORITY.fullmatch(host):
        name, port = connection.scope.get("server") or ("localhost", None)
        name = f"[{name}]" if ":" in name else name
        host = name if port is None else f"{name}:{port}"
    prefix = quote(connection.scope.get("root_path", "").rstrip("/"))
    return f"{connection.scope.get('scheme', 'http')}://{host}{prefix}"


def path_of(connection: "HTTPConnection") -> str:
    """Return the path of the request, escaped as a relative reference (RFC 3986)."""
    path = quote(str(connection.scope["path"]), safe="/~:@!$&'()*+,;=", errors="replace")
    return f"/.{path}" if path.startswith("//") else path  # two slashes would begin a host (RFC 3986, 4.2)


@lru_cache(maxsize=256)  # called for every request, with few hosts
def is_here(host: str) -> bool:
    """Return whether a host name or IP address can only be this machine: localhost or a loopback address."""
    try:
        address = ip_address(host.strip("[]").partition("%")[0])
    except ValueError:
        return host.lower() == "localhost"
    if isinstance(address, IPv6Address) and address.ipv4_mapped is not None:
        return address.ipv4_mapped.is_loopback
    return address.is_loopback
