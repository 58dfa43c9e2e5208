"""Rate limits per API key and per network address: token buckets.

A bucket refills steadily and each request takes one token. Every process has its own buckets, so N processes behind one
address allow up to N times as many requests: a protection against floods, not a quota.
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

#: Largest number of buckets; the least recently used one goes first, since it has had the most time to refill.
_MOST: Final = 10_000

#: A network of this many bits is one subscriber (RFC 6177 gives a site at least one).
_IPV6_SITE: Final = 64


@dataclass(frozen=True, slots=True)
class Rate:
    """The state of a bucket after a request."""

    per_minute: int
    remaining: int
    #: Seconds until the bucket is full.
    full_in: int
    #: Seconds until the next token; 0 if the request got one.
    wait: int

    def headers(self) -> dict[str, str]:
        """Return the response headers (draft-ietf-httpapi-ratelimit-headers-10, from memory)."""
        headers = {
            "RateLimit-Policy": f'"requests";q={self.per_minute};w={_WINDOW}',
            "RateLimit": f'"requests";r={self.remaining};t={self.full_in}',
        }
        return headers | ({"Retry-After": str(self.wait)} if self.wait else {})


class Rates:
    """Token buckets by name. Only the event loop uses them, so they need no lock."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        """Start with full buckets, timed by ``clock`` in seconds."""
        self._clock = clock
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, who: str, per_minute: int) -> Rate:
        """Take a token from a bucket if it has one."""
        now = self._clock()
        tokens, seen = self._buckets.pop(who, (float(per_minute), now))
        speed = per_minute / _WINDOW
        tokens = min(float(per_minute), tokens + max(0.0, now - seen) * speed)
        enough = tokens >= 1.0
        if enough:
            tokens -= 1.0
        self._buckets[who] = tokens, now
        if len(self._buckets) > _MOST:
            self._buckets.popitem(last=False)
        wait = 0 if enough else max(1, math.ceil((1.0 - tokens) / speed))
        return Rate(per_minute, int(tokens), math.ceil((per_minute - tokens) / speed), wait)


@lru_cache(maxsize=4096)  # called for every request, with few addresses
def peer_name(host: str) -> str:
    """Return the name of an address's bucket; all addresses of one IPv6 site share one."""
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return "peer:"
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped is not None:
            return f"peer:{address.ipv4_mapped}"
        return f"peer:{int(address) >> (128 - _IPV6_SITE):x}"
    return f"peer:{address}"
