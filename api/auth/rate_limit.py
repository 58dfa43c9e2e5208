"""Rates: how many requests one key, or one address, may make in a minute.

Each holds a bucket of tokens that fills steadily; a request takes one. The buckets are in this process: with N
processes behind one address somebody may get up to N times as many. They are a guard against floods, not a bill.
"""

import math
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from ipaddress import IPv6Address, ip_address
from typing import Final

__all__ = ["Rate", "Rates", "peer_name"]

_WINDOW: Final = 60

#: Buckets kept; the one not used for longest goes first, and it has had the most time to fill.
_MOST: Final = 10_000

#: A network of this many bits is one subscriber (RFC 6177 gives a site at least one).
_IPV6_SITE: Final = 64


@dataclass(frozen=True, slots=True)
class Rate:
    """How a bucket stands after a request."""

    per_minute: int
    remaining: int
    #: Seconds until it is full.
    full_in: int
    #: Seconds until there is a token again; 0: the request had one.
    wait: int

    def headers(self) -> dict[str, str]:
        """Return what the response says of it (draft-ietf-httpapi-ratelimit-headers-10, from memory)."""
        told = {
            "RateLimit-Policy": f'"requests";q={self.per_minute};w={_WINDOW}',
            "RateLimit": f'"requests";r={self.remaining};t={self.full_in}',
        }
        return told | ({"Retry-After": str(self.wait)} if self.wait else {})


class Rates:
    """Buckets by name. Used by the event loop alone, so it needs no lock."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        """Start with full ones."""
        self._clock = clock
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, who: str, per_minute: int, cost: float = 1.0) -> Rate:
        """Take tokens, if there are that many; a cost of 0 only looks whether one is left."""
        now = self._clock()
        tokens, seen = self._buckets.pop(who, (float(per_minute), now))
        speed = per_minute / _WINDOW
        tokens = min(float(per_minute), tokens + max(0.0, now - seen) * speed)
        enough = tokens >= max(cost, 1.0)
        if enough:
            tokens -= cost
        self._buckets[who] = tokens, now
        if len(self._buckets) > _MOST:
            self._buckets.popitem(last=False)
        wait = 0 if enough else max(1, math.ceil((max(cost, 1.0) - tokens) / speed))
        return Rate(per_minute, int(tokens), math.ceil((per_minute - tokens) / speed), wait)


@lru_cache(maxsize=4096)  # each request asks it of one of a few
def peer_name(host: str) -> str:
    """Return the bucket of an address; all addresses of one IPv6 site share one."""
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return "peer:"
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped is not None:
            return f"peer:{address.ipv4_mapped}"
        return f"peer:{int(address) >> (128 - _IPV6_SITE):x}"
    return f"peer:{address}"
