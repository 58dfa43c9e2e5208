"""Part locks: held by the process that builds or sweeps a part, so that no part is built twice at the same time.

Correctness does not depend on them: a process that cannot acquire a lock within its lifetime builds the part anyway,
and stores the same bytes a second time.
"""

import secrets
from contextlib import suppress
from typing import Final

from sqlalchemy import Engine, delete
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.database.db_clock import DatabaseClock
from worker.jobs.database.lease import acquire
from worker.jobs.database.tables import PartLockRow

__all__ = ["LOCK_SECONDS", "PartLocks"]

#: Lifetime of a lock in seconds: many times what building a part takes.
LOCK_SECONDS: Final = 10.0


class PartLocks:
    """The locks of one attempt or sweep."""

    def __init__(self, engine: Engine, seconds: float = LOCK_SECONDS, holder: str | None = None) -> None:
        """Hold no lock yet. A ``holder`` of the same name takes over the locks of a lost one at once."""
        self._engine = engine
        self._clock = DatabaseClock(engine)
        self.seconds = seconds
        self._holder = holder or secrets.token_hex(16)
        self._held: set[str] = set()

    def acquire(self, digest: str) -> bool:
        """Acquire the lock of a part if it is free; return whether this holder has it now."""
        with self._engine.begin() as connection:
            acquired = acquire(
                connection, self._clock, PartLockRow.digest, digest, holder=self._holder, seconds=self.seconds
            )
        if acquired:
            self._held.add(digest)
        return acquired

    def release(self, digest: str) -> None:
        """Release the lock."""
        self._held.discard(digest)
        own = (PartLockRow.digest == digest, PartLockRow.holder == self._holder)
        with self._engine.begin() as connection:
            connection.execute(delete(PartLockRow).where(*own))

    def release_all(self) -> None:
        """Release all locks of this holder; where the database is unavailable, they expire."""
        with suppress(SQLAlchemyError):
            for digest in sorted(self._held):
                self.release(digest)

    def delete_expired(self) -> None:
        """Delete the locks of holders that were lost."""
        with self._engine.begin() as connection:
            connection.execute(delete(PartLockRow).where(self._clock.expired(PartLockRow.lease, self.seconds)))
