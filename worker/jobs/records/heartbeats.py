"""Heartbeats of the workers, and the metrics of the database."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, get_args

from sqlalchemy import Connection, Engine, and_, delete, func, select

from worker.jobs.database.connection import upsert
from worker.jobs.database.db_clock import CLOCK_TOLERANCE, DatabaseClock
from worker.jobs.database.tables import BatchRow, HeartbeatRow, JobRow, OutboxRow, PartRow, WebhookRow
from worker.jobs.records.models import JobState

__all__ = ["Heartbeats", "ServiceFigures"]

#: Seconds for which a worker counts as available after a heartbeat; idle workers send one every five seconds.
_SEEN: Final = 30.0

#: Seconds without a heartbeat after which a worker that has not shut down counts as silent, and after which it is taken
#: for gone. Workers share the messages that make them send heartbeats, so an idle one can miss several.
_SILENT: Final = 60.0
_GONE: Final = 600.0

#: Seconds after which the row of a lost worker is deleted.
_FORGOTTEN: Final = 86_400.0

_STATES: Final[tuple[JobState, ...]] = get_args(JobState)
_WEBHOOK_STATES: Final = ("active", "failing", "disabled")


@dataclass(frozen=True, slots=True)
class ServiceFigures:
    """Metrics of the database. Ages are in seconds, 0 if nothing waits."""

    jobs: dict[str, int]
    oldest_queued: float
    attempts: int
    kept_bytes: int
    parts: int
    workers: int
    messages: int
    oldest_message: float
    webhooks: dict[str, int]


class Heartbeats:
    """Reads and writes heartbeats, and reads the metrics."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database
        self._clock = DatabaseClock(database)

    def beat(self, worker: str) -> None:
        """Record a heartbeat of this worker."""
        now = {"seen": self._clock.at()}
        statement = upsert(self._database, HeartbeatRow).values(worker=worker, **now)
        with self._database.begin() as connection:
            connection.execute(statement.on_conflict_do_update(index_elements=[HeartbeatRow.worker], set_=now))
            connection.execute(delete(HeartbeatRow).where(HeartbeatRow.seen < self._clock.at(-_FORGOTTEN)))

    def forget(self, worker: str) -> None:
        """Delete the row of a worker that has shut down."""
        with self._database.begin() as connection:
            connection.execute(delete(HeartbeatRow).where(HeartbeatRow.worker == worker))

    def workers(self) -> list[str]:
        """Return all workers that have not shut down, including lost ones."""
        with self._database.connect() as connection:
            return list(connection.scalars(select(HeartbeatRow.worker)))

    def silent_workers(self) -> int:
        """Return how many workers have stopped sending heartbeats lately without having shut down."""
        since = and_(HeartbeatRow.seen < self._clock.at(-_SILENT), HeartbeatRow.seen > self._clock.at(-_GONE))
        with self._database.connect() as connection:
            return connection.scalar(select(func.count()).select_from(HeartbeatRow).where(since)) or 0

    def worker_seen(self) -> bool:
        """Return whether a worker is available; a busy one renews its job's lease instead of sending heartbeats."""
        with self._database.connect() as connection:
            return self._workers(connection) > 0 or connection.scalar(self._at_work()) is not None

    def figures(self) -> ServiceFigures:
        """Return the metrics from one transaction.

        Raises:
            DBAPIError: if the database is unavailable.
        """
        there = JobRow.deleted.is_(None)
        with self._database.begin() as connection:
            now: datetime = connection.execute(select(self._clock.at())).scalar_one()
            jobs = select(JobRow.state, func.count()).where(there).group_by(JobRow.state)
            kept = select(func.sum(JobRow.attempts), func.sum(JobRow.bytes)).where(there)
            attempts, size = connection.execute(kept).one()
            of_batches = connection.scalar(select(func.sum(BatchRow.bytes)))
            queued = connection.scalar(select(func.min(JobRow.created)).where(there, JobRow.state == "queued"))
            messages, first = connection.execute(select(func.count(), func.min(OutboxRow.created))).one()
            webhooks = select(WebhookRow.state, func.count()).group_by(WebhookRow.state)
            return ServiceFigures(
                jobs={**dict.fromkeys(_STATES, 0), **_pairs(connection, jobs)},
                oldest_queued=_age(now, queued),
                attempts=int(attempts or 0),
                kept_bytes=int(size or 0) + int(of_batches or 0),
                parts=connection.scalar(select(func.count()).select_from(PartRow)) or 0,
                workers=self._workers(connection),
                messages=messages,
                oldest_message=_age(now, first),
                webhooks={**dict.fromkeys(_WEBHOOK_STATES, 0), **_pairs(connection, webhooks)},
            )

    def _workers(self, connection: Connection) -> int:
        lately = and_(HeartbeatRow.seen > self._clock.at(-_SEEN), HeartbeatRow.seen < self._clock.at(CLOCK_TOLERANCE))
        return connection.scalar(select(func.count()).select_from(HeartbeatRow).where(lately)) or 0

    def _at_work(self) -> Any:
        return select(JobRow.id).where(JobRow.state == "running", JobRow.lease > self._clock.at()).limit(1)


def _pairs(connection: Connection, query: Any) -> dict[str, int]:
    return {str(name): int(count) for name, count in connection.execute(query)}


def _age(now: datetime, since: datetime | None) -> float:
    return 0.0 if since is None else max(0.0, (now - since).total_seconds())
