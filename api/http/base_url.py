"""Absolute addresses of this service, as the client sees it."""

import re
from functools import lru_cache
from ipaddress import IPv6Address, ip_address
from typing import Final
from urllib.parse import quote

from starlette.requests import HTTPConnection

__all__ = ["base_of", "is_here", "path_of"]

#: A host and port as RFC 3986 writes them (sections 3.2.2 and 3.2.3); anything else in a Host header is not repeated.
_AUTHORITY: Final = re.compile(r"(?:[A-Za-z0-9._~-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::[0-9]{1,5})?", re.ASCII)


def base_of(connection: HTTPConnection) -> str:
    """Return the address of the service's root without its last slash, as ``http://host:port/prefix``."""
    host = connection.headers.get("host", "")
    if not _AUTHORITY.fullmatch(host):
        name, port = connection.scope.get("server") or ("localhost", None)
        name = f"[{name}]" if ":" in name else name
        host = name if port is None else f"{name}:{port}"
    prefix = quote(connection.scope.get("root_path", "").rstrip("/"))
    return f"{connection.scope.get('scheme', 'http')}://{host}{prefix}"


def path_of(connection: HTTPConnection) -> str:
    """Return the path that was asked for, as a reference that can stand in a document."""
    path = quote(str(connection.scope["path"]), safe="/~:@!$&'()*+,;=", errors="replace")
    return f"/.{path}" if path.startswith("//") else path  # two slashes would begin a host (RFC 3986, 4.2)


@lru_cache(maxsize=256)  # each request asks it of the same one or two
def is_here(host: str) -> bool:
    """Return whether this host, a name or an address, can only be this machine itself."""
    try:
        address = ip_address(host.strip("[]").partition("%")[0])
    except ValueError:
        return host.lower() == "localhost"
    if isinstance(address, IPv6Address) and address.ipv4_mapped is not None:
        return address.ipv4_mapped.is_loopback
    return address.is_loopback
