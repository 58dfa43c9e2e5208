"""The address and scheme of a client: those of the connection, or those that a trusted proxy reports."""

import re
from collections.abc import Iterable
from ipaddress import ip_address
from typing import Final

from starlette.requests import Request

from worker.jobs.webhooks.ip_policy import Networks

__all__ = ["client_address", "client_scheme"]

#: The ``for`` parameter of a forwarded element (RFC 7239, 4): a token or a quoted string.
_FOR: Final = re.compile(r'(?:^|;)\s*for\s*=\s*(?:"([^"]*)"|([^\s;,"]+))', re.IGNORECASE)

#: The ``proto`` parameter of the last forwarded element.
_PROTO: Final = re.compile(r'(?:^|[;,])\s*proto\s*=\s*"?(https?)"?[^,]*$', re.IGNORECASE)

#: A node (RFC 7239, 6): an address with an optional port; IPv6 in brackets.
_NODE: Final = re.compile(r"\[([0-9A-Fa-f:.]+)\](?::\d{1,5})?|([0-9.]+)(?::\d{1,5})?|([0-9A-Fa-f:.]+)")

#: Longest header that is parsed, in characters; no chain of proxies needs as much.
_LONGEST: Final = 2_000


def client_address(request: Request, trusted: Networks) -> str:
    """Return the address of the client, for rate limits.

    ``Forwarded`` (RFC 7239) and ``X-Forwarded-For`` are accepted only from trusted proxies: the last address in the
    chain that is not one of them is the client's. Where both headers are sent and disagree, or one cannot be parsed,
    both are ignored, because a proxy that sets one may pass on the other as the client sent it.

    Args:
        request: the request.
        trusted: networks of the trusted proxies.
    """
    peer = request.client.host if request.client is not None else ""
    if not trusted or not _within(peer, trusted):
        return peer
    forwarded = ",".join(request.headers.getlist("forwarded"))
    listed = ",".join(request.headers.getlist("x-forwarded-for"))
    if max(len(forwarded), len(listed)) > _LONGEST:
        return peer
    clients = set()
    if forwarded:
        matches = [_FOR.search(element) for element in forwarded.split(",")]
        clients.add(_client(("" if match is None else match[1] or match[2] or "" for match in matches), trusted))
    if listed:
        clients.add(_client(listed.split(","), trusted))
    return clients.pop() or peer if len(clients) == 1 else peer


def client_scheme(request: Request, trusted: Networks) -> str | None:
    """Return the scheme of the client's request as a trusted proxy reports it (``X-Forwarded-Proto``, or ``proto``).

    None: no trusted proxy reports any.
    """
    peer = request.client.host if request.client is not None else ""
    if not trusted or not _within(peer, trusted):
        return None
    match = _PROTO.search(",".join(request.headers.getlist("forwarded"))[-_LONGEST:])
    scheme = (request.headers.get("x-forwarded-proto") or ("" if match is None else match[1])).strip().lower()
    return scheme if scheme in ("http", "https") else None


def _client(nodes: Iterable[str], trusted: Networks) -> str | None:
    """Return the last address that is not of a trusted proxy; None if there is none, or it cannot be parsed."""
    for node in reversed(list(nodes)):
        match = _NODE.fullmatch(node.strip())
        address = None if match is None else match[1] or match[2] or match[3]
        try:
            ip_address(address or "")
        except ValueError:
            return None
        if address is not None and not _within(address, trusted):
            return address
    return None


def _within(host: str, networks: Networks) -> bool:
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return False
    return any(address in network for network in networks)
