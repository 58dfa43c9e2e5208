"""The leader: of many processes that could do the same upkeep, the one that does it.

The right is a row with a lease. Two leaders at a time, after a clock was set or a process slept, cost only double work:
what a leader does may be done twice.
"""

import os
import secrets
import socket
from contextlib import suppress

from sqlalchemy import Engine, select, update
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.database.connection import upsert
from worker.jobs.database.db_clock import DatabaseClock
from worker.jobs.database.tables import LeaderLeaseRow


class LeaderLease:
    """One candidate for one upkeep."""

    def __init__(self, engine: Engine, name: str, seconds: float) -> None:
        """Stand for the upkeep of this name; a leader that is silent for so many seconds is followed by another."""
        self._engine = engine
        self._clock = DatabaseClock(engine)
        self._name = name
        self._seconds = seconds
        self._led = False
        self.holder = f"{socket.gethostname()}:{os.getpid()}:{secrets.token_hex(4)}"

    def leads(self) -> bool:
        """Take the right, or keep it; say whether it is this one's now."""
        mine = {"holder": self.holder, "lease": self._clock.at(self._seconds)}
        free = (
            (LeaderLeaseRow.holder == self.holder)
            | LeaderLeaseRow.holder.is_(None)
            | self._clock.over(LeaderLeaseRow.lease, self._seconds)
        )
        statement = (
            upsert(self._engine, LeaderLeaseRow)
            .values(name=self._name, **mine)
            .on_conflict_do_update(index_elements=[LeaderLeaseRow.name], set_=mine, where=free)
            .returning(LeaderLeaseRow.holder)
        )
        with self._engine.begin() as connection:
            self._led = bool(connection.scalar(statement) == self.holder)
        return self._led

    def resign(self) -> None:
        """Leave the right to others at once, if it is this one's; where the record is away, its lease runs out."""
        if self._led:
            self._led = False
            with suppress(SQLAlchemyError):
                self._set(holder=None)

    def place(self) -> str | None:
        """Return how far the upkeep got."""
        with self._engine.connect() as connection:
            return connection.scalar(select(LeaderLeaseRow.place).where(LeaderLeaseRow.name == self._name))

    def note(self, place: str) -> None:
        """Note how far the upkeep got."""
        self._set(place=place)

    def _set(self, **values: str | None) -> None:
        mine = (LeaderLeaseRow.name == self._name, LeaderLeaseRow.holder == self.holder)
        with self._engine.begin() as connection:
            connection.execute(update(LeaderLeaseRow).where(*mine).values(**values))
