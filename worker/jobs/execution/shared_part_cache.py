"""Parts that several processes build at the same time: each is claimed first, so that none is built twice."""

import logging
import time
from contextlib import AbstractContextManager, nullcontext
from typing import Final, Self

from worker.jobs.files.part_cache import BuiltPart, PartCache
from worker.jobs.records.part_locks import PartLocks

_log = logging.getLogger(__name__)

#: Seconds between two looks for a part that somebody else builds.
_LOOK: Final = 0.05


class SharedPartCache:
    """A store of parts whose `find` waits for a part that somebody else is building, and claims it otherwise."""

    def __init__(
        self, store: PartCache, claims: PartLocks, shield: AbstractContextManager[object] | None = None
    ) -> None:
        """Use these two; ``shield`` is entered around each of their steps, but not while waiting."""
        self._store = store
        self._claims = claims
        self._shield = shield or nullcontext()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Give up what was claimed and not kept."""
        self._claims.drop_all()

    def find(self, digest: str, limits: str) -> BuiltPart | None:
        """Return the part, or None when the caller is to build it."""
        until = time.monotonic() + self._claims.seconds
        while True:
            with self._shield:
                found = self._store.find(digest, limits)
                if found is not None or time.monotonic() > until:
                    return found
                if self._claims.take(digest):
                    return self._once_more(digest, limits)
            time.sleep(_LOOK)

    def keep(self, part: BuiltPart) -> None:
        """Keep the part."""
        with self._shield:
            self._store.keep(part)
            _log.info("Part %s was built.", part.digest)
            self._claims.drop(part.digest)

    def missing(self, digest: str, limits: str) -> bool:
        """Say whether the part is to be built, and claim it then; do not wait for somebody who builds it."""
        with self._shield:
            if self._store.find(digest, limits) is not None or not self._claims.take(digest):
                return False
            return self._once_more(digest, limits) is None

    def _once_more(self, digest: str, limits: str) -> BuiltPart | None:
        """Look again under the claim: the one who had it before may just have kept the part."""
        found = self._store.find(digest, limits)
        if found is not None:
            self._claims.drop(digest)
        return found
