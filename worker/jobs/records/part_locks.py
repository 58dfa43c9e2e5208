"""Claims on parts: who builds, or sweeps, a part at this moment. They save work; no part depends on them.

Whoever cannot have a claim waits for as long as one lasts at most, and then builds the part all the same: the store
takes the same bytes twice.
"""

import secrets
from contextlib import suppress
from typing import Final

from sqlalchemy import Engine, delete
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.database.connection import upsert
from worker.jobs.database.db_clock import DatabaseClock
from worker.jobs.database.tables import PartLockRow

#: Seconds that a claim lasts: many times what a part takes to be built.
LOCK_SECONDS: Final = 10.0


class PartLocks:
    """The claims of one attempt, helper or sweep."""

    def __init__(self, engine: Engine, seconds: float = LOCK_SECONDS, holder: str | None = None) -> None:
        """Hold nothing yet. A ``holder`` of the same name has the claims of one that was lost at once."""
        self._engine = engine
        self._clock = DatabaseClock(engine)
        self.seconds = seconds
        self._holder = holder or secrets.token_hex(16)
        self._held: set[str] = set()

    def take(self, digest: str) -> bool:
        """Claim the part, if nobody has; say whether it is claimed for this holder now."""
        mine = {"holder": self._holder, "lease": self._clock.at(self.seconds)}
        free = (PartLockRow.holder == self._holder) | self._clock.over(PartLockRow.lease, self.seconds)
        statement = (
            upsert(self._engine, PartLockRow)
            .values(digest=digest, **mine)
            .on_conflict_do_update(index_elements=[PartLockRow.digest], set_=mine, where=free)
            .returning(PartLockRow.holder)
        )
        with self._engine.begin() as connection:
            taken = bool(connection.scalar(statement) == self._holder)
        if taken:
            self._held.add(digest)
        return taken

    def drop(self, digest: str) -> None:
        """Give the claim up."""
        self._held.discard(digest)
        mine = (PartLockRow.digest == digest, PartLockRow.holder == self._holder)
        with self._engine.begin() as connection:
            connection.execute(delete(PartLockRow).where(*mine))

    def drop_all(self) -> None:
        """Give up what is still claimed: nothing of it was kept. What cannot be given up now runs out."""
        with suppress(SQLAlchemyError):
            for digest in sorted(self._held):
                self.drop(digest)

    def tidy(self) -> None:
        """Remove claims of those who are gone."""
        with self._engine.begin() as connection:
            connection.execute(delete(PartLockRow).where(self._clock.over(PartLockRow.lease, self.seconds)))
