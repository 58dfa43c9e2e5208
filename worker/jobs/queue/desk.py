"""The desk: takes a job at once, in the event loop, where that holds nobody up.

To keep a job takes SQLite a fraction of a millisecond, less than to have another thread do it. But a commit may have to
wait for somebody else's, or for a slow disk, and then a thread does. PostgreSQL is always asked by a thread.
"""

import sqlite3
import time
from collections.abc import Callable, Sequence
from typing import Any, Final, cast

from sqlalchemy import Engine, Table, insert
from sqlalchemy.dialects.sqlite import dialect as sqlite_dialect
from sqlalchemy.exc import OperationalError
from sqlalchemy.sql.schema import ScalarElementColumnDefault

from worker.jobs.common.ids import new_id
from worker.jobs.common.principal import Quotas
from worker.jobs.database.connection import without_patience
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import JobRow, UtcDateTime
from worker.jobs.records.idempotency import IdempotencyKey
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import Job, Progress

__all__ = ["Desk"]

#: Seconds after which whoever waits for another answer of this process may notice.
_LONG: Final = 0.02

#: After one that took so long, the desk is closed for this many times as long: so a slow disk holds the process up for
#: a twentieth of the time at most.
_REST: Final = 20.0

_LOCKED: Final = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})


class Desk:
    """Takes jobs as the record does, or none. To be asked by one thread."""

    def __init__(self, database: Engine, base: str = "", seconds: Callable[[], float] = time.perf_counter) -> None:
        """Keep jobs in this database, over connections of its own; ``base`` as for `JobRecords`."""
        self._database = without_patience(database)
        self._records = None if self._database is None else JobRecords(self._database, base)
        self._inserts = None if self._database is None else _Inserts(self._database)
        self._seconds = seconds
        self._opens = 0.0

    @property
    def open(self) -> bool:
        """Whether it is worth asking."""
        return self._records is not None and self._seconds() >= self._opens

    def add(
        self,
        name: str,
        spec: str,
        *,
        owner: str = "local",
        quotas: Quotas | None = None,
        webhooks: Sequence[str] = (),
        repeat: IdempotencyKey | None = None,
    ) -> Job | None:
        """Add a job as `JobRecords.add`; None where somebody else writes just now, and nothing was added.

        Raises:
            WebhookNotFound, QuotaReached, RequestRepeated, JobNotFound: as `JobRecords.add`.
        """
        if self._records is None or self._inserts is None:
            return None
        begun = self._seconds()
        try:
            if quotas is None and repeat is None and not webhooks:
                return self._inserts.add(name, spec, owner)
            return self._records.add(name, spec, owner=owner, quotas=quotas, webhooks=webhooks, repeat=repeat)
        except OperationalError as error:
            if not _is_locked(error.orig):
                raise
            return None
        finally:
            end = self._seconds()
            if end - begun > _LONG:
                self._opens = end + _REST * (end - begun)

    def close(self) -> None:
        """Give back its connections."""
        if self._inserts is not None:
            self._inserts.close()
        if self._database is not None:
            self._database.dispose()


class _Inserts:
    """Adds jobs that need one row and no look at others, in SQLite's own words: SQLAlchemy takes longer than SQLite."""

    def __init__(self, database: Engine) -> None:
        """Write into this database, which is SQLite."""
        dialect = sqlite_dialect(paramstyle="named")
        table = cast("Table", JobRow.__table__)
        given = ["id", "name", "state", "spec", "created", "updated", "owner"]
        self._text = str(insert(table).compile(dialect=dialect, column_keys=given))
        defaults = {column.name: column.default for column in table.columns}
        self._defaults = {
            name: one.arg for name, one in defaults.items() if isinstance(one, ScalarElementColumnDefault)
        }
        self._moment: Any = UtcDateTime().dialect_impl(dialect).bind_processor(dialect)
        self._database = database
        self._connection: Any = None

    def add(self, name: str, spec: str, owner: str) -> Job:
        """Add a queued job.

        Raises:
            OperationalError: when it cannot be written.
        """
        now, identity = utc_now(), new_id()
        moment = self._moment(now)
        own = {"id": identity, "name": name, "state": "queued", "spec": spec, "owner": owner}
        try:
            if self._connection is None:
                self._connection = self._database.raw_connection()
                self._connection.driver_connection.isolation_level = None  # each statement is a transaction
            self._connection.driver_connection.execute(
                self._text, {**self._defaults, **own, "created": moment, "updated": moment}
            )
        except sqlite3.Error as error:
            if not _is_locked(error):
                self.close()
            raise OperationalError(self._text, None, error) from error
        return Job(identity, name, "queued", now, now, None, None, 0, Progress(), None)

    def close(self) -> None:
        """Give back the connection."""
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.invalidate()  # it has another isolation level than those of the pool


def _is_locked(error: BaseException | None) -> bool:
    """Return whether SQLite said that somebody else writes; an extended code has the primary one in its low byte."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in _LOCKED
