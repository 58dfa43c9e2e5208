"""Claims on parts: who builds, or sweeps, a part at this moment. They save work; no part depends on them.

Whoever cannot have a claim waits for as long as one lasts at most, and then builds the part all the same: the store
takes the same bytes twice.
"""

import secrets
from contextlib import suppress
from typing import Final

from sqlalchemy import Engine, delete
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.database.connection import upserting
from worker.jobs.database.db_clock import Clock
from worker.jobs.database.tables import PartClaimRow

#: Seconds that a claim lasts: many times what a part takes to be built.
LASTING: Final = 10.0


class PartClaims:
    """The claims of one attempt, helper or sweep."""

    def __init__(self, engine: Engine, seconds: float = LASTING, holder: str | None = None) -> None:
        """Hold nothing yet. A ``holder`` of the same name has the claims of one that was lost at once."""
        self._engine = engine
        self._clock = Clock(engine)
        self.seconds = seconds
        self._holder = holder or secrets.token_hex(16)
        self._held: set[str] = set()

    def take(self, digest: str) -> bool:
        """Claim the part, if nobody has; say whether it is claimed for this holder now."""
        mine = {"holder": self._holder, "lease": self._clock.at(self.seconds)}
        free = (PartClaimRow.holder == self._holder) | self._clock.over(PartClaimRow.lease, self.seconds)
        statement = (
            upserting(self._engine, PartClaimRow)
            .values(digest=digest, **mine)
            .on_conflict_do_update(index_elements=[PartClaimRow.digest], set_=mine, where=free)
            .returning(PartClaimRow.holder)
        )
        with self._engine.begin() as connection:
            taken = bool(connection.scalar(statement) == self._holder)
        if taken:
            self._held.add(digest)
        return taken

    def drop(self, digest: str) -> None:
        """Give the claim up."""
        self._held.discard(digest)
        mine = (PartClaimRow.digest == digest, PartClaimRow.holder == self._holder)
        with self._engine.begin() as connection:
            connection.execute(delete(PartClaimRow).where(*mine))

    def drop_all(self) -> None:
        """Give up what is still claimed: nothing of it was kept. What cannot be given up now runs out."""
        with suppress(SQLAlchemyError):
            for digest in sorted(self._held):
                self.drop(digest)

    def tidy(self) -> None:
        """Remove claims of those who are gone."""
        with self._engine.begin() as connection:
            connection.execute(delete(PartClaimRow).where(self._clock.over(PartClaimRow.lease, self.seconds)))
