"""Values that follow from parts alone, kept for the next job with the same parts."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

__all__ = ["RecentValues"]

_Value = TypeVar("_Value")


class RecentValues(Generic[_Value]):
    """The values of a pure function that were used last, by keys that hold all that they follow from.

    Unlike `functools.lru_cache` it keeps no arguments, such as meshes: a key has their digests (`Mesh.content`).
    """

    def __init__(self, most: int) -> None:
        """Keep at most this many values."""
        self._most = most
        self._values: OrderedDict[Hashable, _Value] = OrderedDict()

    def get(self, key: Hashable, compute: Callable[[], _Value]) -> _Value:
        """Return the value of this key, computed unless it was kept."""
        if key not in self._values:
            self._values[key] = compute()
        self._values.move_to_end(key)
        if len(self._values) > self._most:
            self._values.popitem(last=False)
        return self._values[key]
