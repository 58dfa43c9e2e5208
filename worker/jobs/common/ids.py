"""Ids of jobs and batches: text that sorts by time of creation."""

import secrets
import time
from threading import Lock

from worker.spec.primitives.names import ID_PATTERN

__all__ = ["ID_PATTERN", "new_id"]

#: Crockford's base 32, in lower case: no i, l, o, u.
_DIGITS = "0123456789abcdefghjkmnpqrstvwxyz"
_PAIRS = [first + second for first in _DIGITS for second in _DIGITS]
_LENGTH = 26
_RANDOM_BITS = 80

_lock = Lock()
_last = 0


def new_id() -> str:
    """Return 26 characters: 48 bits of milliseconds since 1970, then 80 random bits.

    Within one process ids increase strictly, even within one millisecond or after the clock was set back.
    """
    global _last  # noqa: PLW0603 - the order is kept per process
    made = (time.time_ns() // 1_000_000 << _RANDOM_BITS) | secrets.randbits(_RANDOM_BITS)
    with _lock:
        if made >> _RANDOM_BITS <= _last >> _RANDOM_BITS:
            made = _last + 1 + secrets.randbits(_RANDOM_BITS - 24)
        _last = made
    return "".join([_PAIRS[made >> 5 * place & 1023] for place in range(_LENGTH - 2, -1, -2)])
