"""A part cache for several processes: a part is locked while it is built, so that no part is built twice."""

import logging
import time
from contextlib import AbstractContextManager, nullcontext
from typing import Final, Self

from worker.jobs.files.part_cache import BuiltPart, PartCache
from worker.jobs.records.part_locks import PartLocks

_log = logging.getLogger(__name__)

#: Polling interval, in seconds, for a part that another process builds.
_POLL_SECONDS: Final = 0.05


class SharedPartCache:
    """A part cache whose `find` waits for a part that another process is building, and otherwise locks it."""

    def __init__(
        self, store: PartCache, locks: PartLocks, shield: AbstractContextManager[object] | None = None
    ) -> None:
        """Use this cache and these locks; ``shield`` is entered around each access, but not while waiting."""
        self._store = store
        self._locks = locks
        self._shield = shield or nullcontext()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Release the locks of parts that were not kept."""
        self._locks.release_all()

    def find(self, digest: str, limits: str) -> BuiltPart | None:
        """Return the part, or None if the caller must build it."""
        deadline = time.monotonic() + self._locks.seconds
        while True:
            with self._shield:
                part = self._store.find(digest, limits)
                if part is not None or time.monotonic() > deadline:
                    return part
                if self._locks.acquire(digest):
                    return self._find_locked(digest, limits)
            time.sleep(_POLL_SECONDS)

    def keep(self, part: BuiltPart) -> None:
        """Keep the part and release its lock."""
        with self._shield:
            self._store.keep(part)
            _log.info("Part %s was built.", part.digest)
            self._locks.release(part.digest)

    def _find_locked(self, digest: str, limits: str) -> BuiltPart | None:
        """Look again under the lock: its last holder may just have kept the part."""
        part = self._store.find(digest, limits)
        if part is not None:
            self._locks.release(digest)
        return part
