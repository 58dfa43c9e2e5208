"""The leader lease: elects one of many processes to do periodic work.

There can be two leaders for a moment, after a clock change or a suspended process. The work is idempotent.
"""

import os
import secrets
import socket
from contextlib import suppress

from sqlalchemy import Engine, select, update
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.database.db_clock import DatabaseClock
from worker.jobs.database.lease import acquire
from worker.jobs.database.tables import LeaderLeaseRow

__all__ = ["LeaderLease"]


class LeaderLease:
    """The candidacy of a process for one kind of periodic work."""

    def __init__(self, engine: Engine, name: str, seconds: float) -> None:
        """Run for the work of this name. A leader that does not renew its lease within ``seconds`` is replaced."""
        self._engine = engine
        self._clock = DatabaseClock(engine)
        self._name = name
        self._seconds = seconds
        self._held = False
        self.holder = f"{socket.gethostname()}:{os.getpid()}:{secrets.token_hex(4)}"

    def acquire(self) -> bool:
        """Acquire the lease, or renew it; return whether this process has it now."""
        with self._engine.begin() as connection:
            self._held = acquire(
                connection, self._clock, LeaderLeaseRow.name, self._name, holder=self.holder, seconds=self._seconds
            )
        return self._held

    def release(self) -> None:
        """Release the lease if this process has it; where the database is unavailable, it expires."""
        if self._held:
            self._held = False
            with suppress(SQLAlchemyError):
                self._set(holder=None)

    def cursor(self) -> str | None:
        """Return how far the work got, as its last leader saved it."""
        with self._engine.connect() as connection:
            return connection.scalar(select(LeaderLeaseRow.place).where(LeaderLeaseRow.name == self._name))

    def save_cursor(self, cursor: str) -> None:
        """Save how far the work got, for the next leader."""
        self._set(place=cursor)

    def _set(self, **values: str | None) -> None:
        own = (LeaderLeaseRow.name == self._name, LeaderLeaseRow.holder == self.holder)
        with self._engine.begin() as connection:
            connection.execute(update(LeaderLeaseRow).where(*own).values(**values))
