"""The tables of batches, their entries and files, and the claim on finalizing a batch.

A batch is running until all its jobs have ended; then one attempt at a time writes its manifest and runs.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, cast

from sqlalchemy import (
    Connection,
    CursorResult,
    Engine,
    Select,
    and_,
    delete,
    exists,
    insert,
    or_,
    select,
    update,
)

from worker.jobs.common.ids import new_id
from worker.jobs.common.principal import Quotas
from worker.jobs.database.db_clock import DatabaseClock, utc_now
from worker.jobs.database.lease import claim_values, is_free
from worker.jobs.database.tables import BatchEntryRow, BatchFileRow, BatchRow, BatchWebhookRow, JobFileRow, JobRow
from worker.jobs.records.batch_summary import BATCH_COLUMNS, BatchState, BatchSummary, batch_fields, batch_summaries
from worker.jobs.records.idempotency import IdempotencyKey, claim_key
from worker.jobs.records.job_filters import contains
from worker.jobs.records.jobs import insert_job
from worker.jobs.records.models import BUNDLE_NAME, ENDED, StoredFile, entry_folder
from worker.jobs.records.row_mapping import file_columns, file_values
from worker.jobs.records.webhooks.outbox import attach_webhooks, enqueue_batch_event
from worker.spec.manifest.batch_manifest import EntryState

__all__ = [
    "BATCH_LEASE",
    "Batch",
    "BatchEntry",
    "BatchFilters",
    "BatchRecords",
    "CheckedSpec",
]

#: Length of the lease on finalizing a batch in seconds; it is renewed after each run.
BATCH_LEASE: Final = 120.0


@dataclass(frozen=True, slots=True)
class CheckedSpec:
    """A validated spec: its text, or the problem for which it was rejected."""

    name: str | None
    text: str | None
    problem: dict[str, Any] | None = None
    expected_bytes: int = 0


@dataclass(frozen=True, slots=True)
class BatchEntry:
    """The state of one spec of a batch."""

    number: int
    name: str | None
    job_id: str | None
    state: EntryState
    problem: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class BatchFilters:
    """Conditions on listed batches; None or an empty tuple sets none."""

    states: tuple[BatchState, ...] = ()
    #: A part of the name, case-insensitive.
    name: str | None = None
    created_after: datetime | None = None
    created_before: datetime | None = None

    def conditions(self) -> Iterator[Any]:
        """Yield the conditions on rows of batches."""
        if self.states:
            yield BatchRow.state.in_(self.states)
        if self.name is not None:
            yield contains(BatchRow.name, self.name)
        if self.created_after is not None:
            yield BatchRow.created > self.created_after
        if self.created_before is not None:
            yield BatchRow.created < self.created_before


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch. Times are UTC."""

    id: str
    name: str
    state: BatchState
    created: datetime
    finished: datetime | None
    problem: dict[str, Any] | None
    entries: tuple[BatchEntry, ...]


class BatchRecords:
    """Reads and writes batches."""

    def __init__(self, database: Engine, base: str = "") -> None:
        """Use this database; ``base`` is the service's URL for links in webhook messages."""
        self._database = database
        self._base = base
        self._clock = DatabaseClock(database)

    # -- as callers see it

    def add(
        self,
        name: str,
        specs: Sequence[CheckedSpec],
        *,
        owner: str,
        quotas: Quotas | None = None,
        webhooks: Sequence[str] = (),
        repeat: IdempotencyKey | None = None,
    ) -> tuple[str, list[str]]:
        """Add a batch with a queued job for each valid spec atomically; return the ids of the batch and its jobs.

        A repeated request returns the id of its batch and no jobs.

        Raises:
            WebhookNotFound, QuotaReached, RequestRepeated: nothing was added.
        """
        now, identity, jobs = utc_now(), new_id(), list[str]()
        with self._database.begin() as connection:
            if repeat is not None and (made := claim_key(connection, repeat, owner, identity, now)) != identity:
                return made, []
            connection.execute(
                insert(BatchRow).values(id=identity, owner=owner, name=name, state="running", created=now)
            )
            attach_webhooks(connection, BatchWebhookRow, {"batch_id": identity}, owner, webhooks)
            for number, spec in enumerate(specs):
                job_id = None
                if spec.text is not None:
                    job_id = new_id()
                    jobs.append(job_id)
                    insert_job(
                        connection, job_id, spec.name or name, spec.text, now,
                        owner=owner, quotas=quotas, webhooks=webhooks, expected_bytes=spec.expected_bytes,
                    )  # fmt: skip
                connection.execute(
                    insert(BatchEntryRow).values(
                        batch_id=identity, number=number, name=spec.name, job_id=job_id, problem=spec.problem
                    )
                )
        return identity, jobs

    def batch(self, batch_id: str, *, owner: str | None = None) -> Batch | None:
        """Return the batch, or None if it does not exist or has another owner."""
        of_owner = () if owner is None else (BatchRow.owner == owner,)
        with self._database.connect() as connection:
            row = connection.execute(select(*BATCH_COLUMNS).where(BatchRow.id == batch_id, *of_owner)).one_or_none()
            if row is None:
                return None
            rows = connection.execute(_ENTRIES.where(BatchEntryRow.batch_id == batch_id)).all()
        return Batch(
            row.id, row.name, cast("BatchState", row.state), row.created, row.finished, row.problem,
            tuple(_entry(entry) for entry in rows),
        )  # fmt: skip

    def latest(
        self, limit: int, after: str | None, *, owner: str | None = None, filters: BatchFilters | None = None
    ) -> list[BatchSummary]:
        """Return up to ``limit`` batches (of this owner), newest first, starting after the batch ``after``."""
        query = select(*BATCH_COLUMNS).order_by(BatchRow.id.desc()).limit(limit)
        query = query.where(*([] if filters is None else filters.conditions()))
        if owner is not None:
            query = query.where(BatchRow.owner == owner)
        if after is not None:
            query = query.where(BatchRow.id < after)
        with self._database.connect() as connection:
            return batch_summaries(connection, connection.execute(query).all())

    def ended_since(self, moment: datetime, limit: int, *, owner: str | None = None) -> list[BatchSummary]:
        """Return batches (of this owner) that ended at or after this time, the earliest first."""
        of_owner = () if owner is None else (BatchRow.owner == owner,)
        query = select(*BATCH_COLUMNS).where(BatchRow.finished >= moment, *of_owner)
        with self._database.connect() as connection:
            rows = connection.execute(query.order_by(BatchRow.finished, BatchRow.id).limit(limit)).all()
            return batch_summaries(connection, rows)

    def file(self, batch_id: str, name: str) -> StoredFile | None:
        """Return a file of the batch, or None if there is none of this name."""
        query = _FILES.where(BatchFileRow.batch_id == batch_id, BatchFileRow.name == name)
        with self._database.connect() as connection:
            row = connection.execute(query).one_or_none()
        return None if row is None else StoredFile(*row)

    def files(self, batch_id: str) -> list[StoredFile]:
        """Return the batch's own files by name."""
        with self._database.connect() as connection:
            rows = connection.execute(_FILES.where(BatchFileRow.batch_id == batch_id).order_by(BatchFileRow.name))
            return [StoredFile(*row) for row in rows]

    def bundles(self, batch_id: str) -> list[tuple[str, StoredFile]]:
        """Return the bundles of the batch's jobs that succeeded and were not removed, each with its folder."""
        query = (
            select(BatchEntryRow.number, BatchEntryRow.name, *file_columns(JobFileRow))
            .join(JobRow, JobRow.id == BatchEntryRow.job_id)
            .join(JobFileRow, JobFileRow.job_id == JobRow.id)
            .where(BatchEntryRow.batch_id == batch_id, JobRow.state == "succeeded", JobRow.deleted.is_(None))
            .where(JobFileRow.name == BUNDLE_NAME)
            .order_by(BatchEntryRow.number)
        )
        with self._database.connect() as connection:
            rows = connection.execute(query).all()
        return [(entry_folder(row[0], row[1]), StoredFile(*row[2:])) for row in rows]

    def remove(self, batch_id: str) -> bool:
        """Delete the rows of an ended batch; its jobs stay. Return whether this call did."""
        gone = delete(BatchRow).where(BatchRow.id == batch_id, BatchRow.state == "ended")
        with self._database.begin() as connection:
            return _count(connection, gone) == 1

    def ended_before(self, moment: datetime, limit: int) -> list[str]:
        """Return batches that ended before this time."""
        query = select(BatchRow.id).where(BatchRow.state == "ended", BatchRow.finished < moment).limit(limit)
        with self._database.connect() as connection:
            return list(connection.scalars(query))

    # -- finalizing

    def waiting(self, *, quiet_seconds: float, limit: int, lease_seconds: float) -> list[str]:
        """Return unclaimed batches whose jobs have all ended, without a message in the last ``quiet_seconds``."""
        quiet = self._clock.stale(BatchRow.enqueued, quiet_seconds)
        lost = and_(BatchRow.claim.is_not(None), self._clock.expired(BatchRow.lease, lease_seconds))
        free = or_(and_(BatchRow.claim.is_(None), quiet), lost)
        query = select(BatchRow.id).where(BatchRow.state != "ended", free, ~_open())
        with self._database.connect() as connection:
            return list(connection.scalars(query.order_by(BatchRow.id).limit(limit)))

    def of_job(self, job_id: str) -> list[str]:
        """Return the batches of this job whose jobs have all ended."""
        within = select(BatchEntryRow.batch_id).where(BatchEntryRow.job_id == job_id).scalar_subquery()
        query = select(BatchRow.id).where(BatchRow.id.in_(within), BatchRow.state != "ended", ~_open())
        with self._database.connect() as connection:
            return list(connection.scalars(query))

    def mark_enqueued(self, batch_ids: Iterable[str]) -> None:
        """Record that a message for each of these batches was published."""
        with self._database.begin() as connection:
            chosen = BatchRow.id.in_(list(batch_ids))
            connection.execute(update(BatchRow).where(chosen).values(enqueued=self._clock.at()))

    def claim(self, batch_id: str, *, lease_seconds: float, attempts: int) -> str | None:
        """Claim a batch for finalizing; return the claim token, or None if that is not possible."""
        token, claimed = claim_values(self._clock, BatchRow, lease_seconds)
        statement = (
            update(BatchRow)
            .where(BatchRow.id == batch_id, self._free(lease_seconds), BatchRow.attempts < attempts, ~_open())
            .values(**claimed, state="gathering")
        )
        return token if self._changed(statement) else None

    def give_up(self, batch_id: str, *, lease_seconds: float, attempts: int, problem: dict[str, Any]) -> bool:
        """End an unclaimed batch that has no attempts left; return whether this call did."""
        over = update(BatchRow).where(BatchRow.id == batch_id, self._free(lease_seconds), BatchRow.attempts >= attempts)
        with self._database.begin() as connection:
            return self._end(connection, batch_id, over, problem=problem)

    def extend(self, batch_id: str, token: str, *, lease_seconds: float) -> bool:
        """Renew the lease; return False if the claim is lost."""
        return self._changed(_held(batch_id, token).values(lease=self._clock.at(lease_seconds)))

    def release(self, batch_id: str, token: str, *, counted: bool = True) -> bool:
        """Leave the batch to a retry. An attempt that met an outage is not ``counted``."""
        values = {} if counted else {"attempts": BatchRow.attempts - 1}
        return self._changed(_held(batch_id, token).values(claim=None, lease=None, enqueued=None, **values))

    def finish(self, batch_id: str, token: str, files: Sequence[StoredFile]) -> bool:
        """End the batch with these stored files; return False if the claim is lost."""
        rows = [{"batch_id": batch_id, **file_values(file)} for file in files]
        with self._database.begin() as connection:
            size = sum(file.bytes for file in files)
            ended = self._end(connection, batch_id, _held(batch_id, token), bytes=size)
            if ended and rows:
                connection.execute(insert(BatchFileRow), rows)
        return ended

    def fail(self, batch_id: str, token: str, problem: dict[str, Any]) -> bool:
        """End the batch without a manifest; return False if the claim is lost."""
        with self._database.begin() as connection:
            return self._end(connection, batch_id, _held(batch_id, token), problem=problem)

    def specs(self, batch_id: str) -> dict[str, str]:
        """Return the spec of each of the batch's jobs that succeeded."""
        query = (
            select(JobRow.id, JobRow.spec)
            .join(BatchEntryRow, BatchEntryRow.job_id == JobRow.id)
            .where(BatchEntryRow.batch_id == batch_id, JobRow.state == "succeeded", JobRow.deleted.is_(None))
        )
        with self._database.connect() as connection:
            return {row.id: row.spec for row in connection.execute(query)}

    def _end(self, connection: Connection, batch_id: str, statement: Any, **values: Any) -> bool:
        """End the batch if the statement's conditions hold, and enqueue its event; return whether they did."""
        now = utc_now()
        ended = {"state": "ended", "finished": now, "claim": None, "lease": None}
        if _count(connection, statement.values(**ended, **values)) != 1:
            return False
        row = connection.execute(select(*BATCH_COLUMNS, BatchRow.owner).where(BatchRow.id == batch_id)).one()
        (summary,) = batch_summaries(connection, [row])
        enqueue_batch_event(connection, batch_id, row.owner, now, batch_fields(summary, self._base))
        return True

    def _free(self, lease_seconds: float) -> Any:
        return and_(BatchRow.state != "ended", is_free(self._clock, BatchRow, lease_seconds))

    def _changed(self, statement: Any) -> bool:
        with self._database.begin() as connection:
            return _count(connection, statement) == 1


_ENTRIES: Select[Any] = (
    select(
        BatchEntryRow.number,
        BatchEntryRow.name,
        BatchEntryRow.job_id,
        BatchEntryRow.problem.label("refused"),
        JobRow.state,
        JobRow.problem,
        JobRow.deleted,
    )
    .outerjoin(JobRow, JobRow.id == BatchEntryRow.job_id)
    .order_by(BatchEntryRow.number)
)
_FILES = select(*file_columns(BatchFileRow))


def _entry(row: Any) -> BatchEntry:
    if row.job_id is None:
        return BatchEntry(row.number, row.name, None, "refused", row.refused)
    if row.state is None or row.deleted is not None:
        return BatchEntry(row.number, row.name, None, "removed", None)
    return BatchEntry(row.number, row.name, row.job_id, cast("EntryState", row.state), row.problem)


def _open() -> Any:
    """Return the condition that a job of the batch is active."""
    return exists().where(
        BatchEntryRow.batch_id == BatchRow.id, JobRow.id == BatchEntryRow.job_id, JobRow.state.not_in(ENDED)
    )


def _held(batch_id: str, token: str) -> Any:
    return update(BatchRow).where(BatchRow.id == batch_id, BatchRow.claim == token)


def _count(connection: Connection, statement: Any) -> int:
    return cast("CursorResult[Any]", connection.execute(statement)).rowcount
