"""The job table and the index of cached parts.

Each transition is one UPDATE conditional on the current state and claim, so of two concurrent transitions one changes
nothing and returns False. Transactions are short, so that progress is visible at once.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NamedTuple, cast

from sqlalchemy import Connection, CursorResult, Engine, and_, insert, or_, select, update
from sqlalchemy.sql import Executable

from worker.jobs.common.errors import JobNotFound
from worker.jobs.common.ids import new_id
from worker.jobs.common.principal import Quotas
from worker.jobs.database.connection import upsert
from worker.jobs.database.db_clock import DatabaseClock, utc_now
from worker.jobs.database.lease import claim_values, is_free
from worker.jobs.database.tables import JobFileRow, JobRow, JobWebhookRow, PartRow
from worker.jobs.records.idempotency import IdempotencyKey, claim_key
from worker.jobs.records.job_filters import JobFilters
from worker.jobs.records.models import ENDED, Job, Progress, StoredFile
from worker.jobs.records.part_locks import PartLocks
from worker.jobs.records.quotas import enforce_quotas
from worker.jobs.records.row_mapping import JOB_COLUMNS, file_columns, file_values, job_of
from worker.jobs.records.webhooks.outbox import attach_webhooks, enqueue_event
from worker.spec.requests.webhook import EventType

#: Default length of a lease in seconds: the longest that the settings allow.
_LEASE: Final = 600.0

#: Longest delay of a job that met an outage, in seconds; one that reaches further is from before a clock was set back.
_LONGEST_DELAY: Final = 600.0


class _Last(NamedTuple):
    cause: str | None
    seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class JobClaim:
    """An attempt's claim on a job, until a later claim fences it off.

    ``lost_after`` is how long the previous attempt ran, in seconds, if its process was lost; ``outages`` is the count
    of earlier attempts that met an outage.
    """

    job_id: str
    token: str
    spec: str
    attempt: int
    created: datetime
    lost_after: float = 0.0
    outages: int = 0


class JobRecords:
    """Reads and writes the job table."""

    def __init__(self, engine: Engine, base: str = "") -> None:
        """Use this database; ``base`` is the service's URL for links in webhook messages."""
        self._engine = engine
        self._base = base
        self._clock = DatabaseClock(engine)

    # -- jobs as callers see them

    def add(
        self,
        name: str,
        spec: str,
        *,
        owner: str = "local",
        quotas: Quotas | None = None,
        webhooks: Sequence[str] = (),
        repeat: IdempotencyKey | None = None,
        expected_bytes: int = 0,
    ) -> Job:
        """Add a queued job with these webhooks, or return the one that this request created before.

        Raises:
            WebhookNotFound: if the owner lacks one of the webhooks; nothing was added.
            QuotaReached: if a quota is used up; nothing was added.
            RequestRepeated: if another request had this idempotency key; nothing was added.
            JobNotFound: if the job that the request created was deleted.
        """
        now = _now()
        identity = new_id()
        with self._engine.begin() as connection:
            if repeat is not None and (made := claim_key(connection, repeat, owner, identity, now)) != identity:
                row = connection.execute(select(*JOB_COLUMNS).where(JobRow.id == made, *_seen(owner))).one_or_none()
                if row is None:
                    raise JobNotFound("The job that this request created was deleted.", value=made)
                return job_of(row)
            insert_job(
                connection, identity, name, spec, now,
                owner=owner, quotas=quotas, webhooks=webhooks, expected_bytes=expected_bytes,
            )  # fmt: skip
        return Job(identity, name, "queued", now, now, None, None, 0, Progress(), None)

    def job(self, job_id: str, *, owner: str | None = None) -> Job | None:
        """Return the job, or None if it does not exist or has another owner."""
        with self._engine.connect() as connection:
            row = connection.execute(select(*JOB_COLUMNS).where(JobRow.id == job_id, *_seen(owner))).one_or_none()
        return None if row is None else job_of(row)

    def jobs(
        self, limit: int, after: str | None, *, owner: str | None = None, filters: JobFilters | None = None
    ) -> list[Job]:
        """Return up to ``limit`` jobs (of this owner), newest first, starting after the job with the id ``after``."""
        query = select(*JOB_COLUMNS).where(*_seen(owner)).order_by(JobRow.id.desc()).limit(limit)
        if filters is not None:
            query = query.where(*filters.conditions())
        if after is not None:
            query = query.where(JobRow.id < after)
        with self._engine.connect() as connection:
            return [job_of(row) for row in connection.execute(query)]

    def revisions(self, job_ids: Iterable[str]) -> dict[str, int]:
        """Return the revision of each of these jobs that exists."""
        query = select(JobRow.id, JobRow.revision).where(JobRow.id.in_(list(job_ids)), *_seen(None))
        with self._engine.connect() as connection:
            return {row.id: row.revision for row in connection.execute(query)}

    def changed_since(self, moment: datetime, limit: int, *, owner: str | None = None) -> list[Job]:
        """Return jobs (of this owner) that changed at or after this time, in the order of their last change."""
        query = select(*JOB_COLUMNS).where(JobRow.updated >= moment, *_seen(owner))
        with self._engine.connect() as connection:
            return [job_of(row) for row in connection.execute(query.order_by(JobRow.updated, JobRow.id).limit(limit))]

    def files(self, job_id: str) -> list[StoredFile]:
        """Return the job's files by name."""
        with self._engine.connect() as connection:
            rows = connection.execute(_FILES.where(JobFileRow.job_id == job_id).order_by(JobFileRow.name))
            return [StoredFile(*row) for row in rows]

    def file(self, job_id: str, name: str, *, owner: str | None = None) -> StoredFile | None:
        """Return a file of the job, or None if it does not exist or the job has another owner."""
        query = _FILES.join(JobRow, JobRow.id == JobFileRow.job_id)
        query = query.where(JobFileRow.job_id == job_id, JobFileRow.name == name, *_seen(owner))
        with self._engine.connect() as connection:
            row = connection.execute(query).one_or_none()
        return None if row is None else StoredFile(*row)

    def cancel(self, job_id: str, *, revision: int | None = None) -> bool:
        """Cancel an active job, if it has this revision; return whether this call did."""
        same = () if revision is None else (JobRow.revision == revision,)
        now = _now()
        return self._changed(
            update(JobRow)
            .where(JobRow.id == job_id, JobRow.state.not_in(ENDED), *same)
            .values(state="cancelled", finished=now, updated=now, claim=None, lease=None),
            "job.cancelled",
            job_id,
        )

    def change(self, job_id: str, values: dict[str, Any], *, revision: int | None = None) -> bool:
        """Change the name, notes or tags of a job, if it has this revision; return whether it was there."""
        same = () if revision is None else (JobRow.revision == revision,)
        changed = update(JobRow).where(JobRow.id == job_id, *_seen(None), *same)
        return self._changed(changed.values(**values, updated=_now()))

    # -- publishing

    def mark_enqueued(self, job_ids: Iterable[str], *, new: bool = False) -> None:
        """Record that a message for each of these jobs was published.

        A ``new`` job that a worker has claimed since is left alone: its message was consumed.
        """
        unseen = {"enqueued": self._clock.at(), "revision": JobRow.revision}
        unspent = (JobRow.started.is_(None),) if new else ()
        self._change(update(JobRow).where(JobRow.id.in_(list(job_ids)), *unspent).values(**unseen))

    def waiting(self, *, quiet_seconds: float, limit: int, lease_seconds: float = _LEASE) -> list[str]:
        """Return jobs that need a message, oldest first.

        These are due queued jobs without one in the last ``quiet_seconds``, and running jobs whose lease has expired
        since their last one.
        """
        quiet = self._clock.stale(JobRow.enqueued, quiet_seconds)
        lost = and_(self._clock.expired(JobRow.lease, lease_seconds), or_(quiet, JobRow.enqueued < JobRow.lease))
        unseen = or_(and_(JobRow.state == "queued", quiet, self._due()), and_(JobRow.state == "running", lost))
        query = select(JobRow.id).where(unseen).order_by(JobRow.id).limit(limit)
        with self._engine.connect() as connection:
            return list(connection.scalars(query))

    def begun(self, job_ids: Iterable[str]) -> set[str]:
        """Return those of these jobs that had an attempt before."""
        query = select(JobRow.id).where(JobRow.id.in_(list(job_ids)), JobRow.started.is_not(None))
        with self._engine.connect() as connection:
            return set(connection.scalars(query))

    # -- the worker's side

    def claim(self, job_id: str, *, lease_seconds: float, attempts: int) -> JobClaim | None:
        """Claim a queued job, or one whose lease has expired; return None if that is not possible.

        A job can be claimed at most ``attempts`` times.
        """
        before = self._last(job_id)
        token, claimed = claim_values(self._clock, JobRow, lease_seconds)
        statement = (
            update(JobRow)
            .where(JobRow.id == job_id, self._free(lease_seconds), self._due(), JobRow.attempts < attempts)
            .values(
                **claimed,
                state="running",
                started=self._clock.at(),
                updated=_now(),
                cause=before.cause,
                progress_done=0,
                progress_total=0,
                progress_now=None,
            )
            .returning(JobRow.spec, JobRow.attempts, JobRow.created, JobRow.outages)
        )
        with self._engine.begin() as connection:
            row = connection.execute(statement).one_or_none()
            if row is not None:
                enqueue_event(connection, "job.running", job_id, base=self._base)
        if row is None:
            return None
        return JobClaim(job_id, token, row.spec, row.attempts, row.created, before.seconds, row.outages)

    def cause(self, job_id: str) -> str | None:
        """Return why the last unfinished attempt stopped, or None if there was none."""
        return self._last(job_id).cause

    def give_up(self, job_id: str, *, attempts: int, problem: dict[str, Any], lease_seconds: float = _LEASE) -> bool:
        """Fail an unclaimed job that has no attempts left; return whether this call did."""
        now = _now()
        return self._changed(
            update(JobRow)
            .where(JobRow.id == job_id, self._free(lease_seconds), JobRow.attempts >= attempts)
            .values(state="failed", problem=problem, finished=now, updated=now, claim=None, lease=None),
            "job.failed",
            job_id,
        )

    def lease_left(self, job_id: str) -> float | None:
        """Return the seconds until the lease of a running job expires, or None without a lease."""
        with self._engine.connect() as connection:
            running = (JobRow.id == job_id, JobRow.state == "running")
            row = connection.execute(select(JobRow.lease, self._clock.at()).where(*running)).one_or_none()
        return None if row is None or row[0] is None else (row[0] - row[1]).total_seconds()

    def extend(self, claim: JobClaim, *, lease_seconds: float) -> bool:
        """Renew the lease; return False if the claim is lost."""
        return self._changed(_held(claim).values(lease=self._clock.at(lease_seconds), revision=JobRow.revision))

    def holds(self, claim: JobClaim) -> bool:
        """Return whether the claim holds, without renewing the lease."""
        with self._engine.connect() as connection:
            return connection.scalar(select(JobRow.claim).where(JobRow.id == claim.job_id)) == claim.token

    def report(self, claim: JobClaim, progress: Progress) -> bool:
        """Record progress; return False if the claim is lost."""
        return self._changed(
            _held(claim).values(
                progress_done=progress.done,
                progress_total=progress.total,
                progress_now=progress.now,
                updated=_now(),
            )
        )

    def succeed(self, claim: JobClaim, files: Sequence[StoredFile]) -> bool:
        """End the job with these stored files; return False if the claim is lost."""
        rows = [{"job_id": claim.job_id, **file_values(file)} for file in files]
        now = _now()
        done = _held(claim).values(
            state="succeeded", finished=now, updated=now, claim=None, lease=None,
            progress_done=JobRow.progress_total, progress_now=None, bytes=sum(file.bytes for file in files),
        )  # fmt: skip
        with self._engine.begin() as connection:
            if connection.execute(done).rowcount != 1:
                return False
            if rows:
                connection.execute(insert(JobFileRow), rows)
            enqueue_event(connection, "job.succeeded", claim.job_id, base=self._base)
        return True

    def fail(self, claim: JobClaim, problem: dict[str, Any]) -> bool:
        """Fail the job with a problem document; return False if the claim is lost."""
        now = _now()
        return self._changed(
            _held(claim).values(state="failed", problem=problem, finished=now, updated=now, claim=None, lease=None),
            "job.failed",
            claim.job_id,
        )

    def release(self, claim: JobClaim, cause: str | None = None, *, counted: bool = True) -> bool:
        """Release the job for another attempt; return False if the claim is lost.

        An attempt that was stopped for reasons outside the job is not ``counted``.
        """
        values: dict[str, Any] = {} if cause is None else {"cause": cause}
        if not counted:
            values["attempts"] = JobRow.attempts - 1
        return self._changed(
            _held(claim).values(state="queued", enqueued=None, updated=_now(), claim=None, lease=None, **values)
        )

    def defer(self, claim: JobClaim, cause: str, seconds: float) -> bool:
        """Return the job to the queue after an outage, with a delay; return False if the claim is lost.

        The attempt is not counted.
        """
        return self._changed(
            _held(claim).values(
                state="queued",
                enqueued=None,
                updated=_now(),
                claim=None,
                lease=None,
                cause=cause,
                progress_now=f"waiting: {cause}",
                attempts=JobRow.attempts - 1,
                outages=JobRow.outages + 1,
                retry_at=self._clock.at(seconds),
            )
        )

    def refund(self, job_id: str) -> None:
        """Uncount an attempt that was fenced off by another claim during an outage."""
        active = (JobRow.id == job_id, JobRow.state.not_in(ENDED), JobRow.attempts > 0)
        self._change(update(JobRow).where(*active).values(attempts=JobRow.attempts - 1, revision=JobRow.revision))

    # -- parts

    def part(self, digest: str, limits: str) -> dict[str, Any] | None:
        """Return the stored document of a part checked against these limits, or None if there is none."""
        query = select(PartRow.record).where(PartRow.digest == digest, PartRow.limits == limits)
        with self._engine.connect() as connection:
            return connection.scalar(query)

    def part_locks(self, holder: str | None = None) -> PartLocks:
        """Return part locks for this holder, by default a new one."""
        return PartLocks(self._engine, holder=holder)

    def add_part(self, digest: str, limits: str, record: dict[str, Any]) -> None:
        """Insert or replace the document of a part."""
        values = upsert(self._engine, PartRow).values(digest=digest, limits=limits, record=record, created=_now())
        key = [PartRow.digest, PartRow.limits]
        self._change(values.on_conflict_do_update(index_elements=key, set_={"record": values.excluded.record}))

    def _last(self, job_id: str) -> "_Last":
        """Return how the last attempt stopped: its own cause, or where its process was lost."""
        at = (JobRow.state, JobRow.started, JobRow.lease, JobRow.progress_now, JobRow.cause)
        with self._engine.connect() as connection:
            row = connection.execute(select(*at).where(JobRow.id == job_id)).one_or_none()
        if row is None or row.state != "running" or row.started is None or row.lease is None:
            return _Last(None if row is None else row.cause)
        where = f" at: {row.progress_now}" if row.progress_now else ""
        return _Last(f"its process was lost{where}", (row.lease - row.started).total_seconds())

    def _free(self, lease_seconds: float) -> Any:
        return and_(JobRow.state.not_in(ENDED), is_free(self._clock, JobRow, lease_seconds))

    def _due(self) -> Any:
        return or_(JobRow.retry_at.is_(None), self._clock.expired(JobRow.retry_at, _LONGEST_DELAY))

    def _change(self, statement: Executable) -> int:
        with self._engine.begin() as connection:
            return cast("CursorResult[Any]", connection.execute(statement)).rowcount

    def _changed(self, statement: Executable, event: EventType | None = None, job_id: str = "") -> bool:
        """Update one row and enqueue its event; return whether a row matched."""
        with self._engine.begin() as connection:
            changed = cast("CursorResult[Any]", connection.execute(statement)).rowcount == 1
            if changed and event is not None:
                enqueue_event(connection, event, job_id, base=self._base)
        return changed


def insert_job(
    connection: Connection,
    identity: str,
    name: str,
    spec: str,
    now: datetime,
    *,
    owner: str,
    quotas: Quotas | None,
    webhooks: Sequence[str] = (),
    expected_bytes: int = 0,
) -> None:
    """Insert a queued job in this transaction.

    Raises:
        WebhookNotFound, QuotaReached: see `JobRecords.add`; the transaction must not be kept.
    """
    if quotas is not None:
        enforce_quotas(connection, owner, quotas, now, expected_bytes)
    values = {
        "id": identity,
        "name": name,
        "state": "queued",
        "spec": spec,
        "owner": owner,
        "expected_bytes": expected_bytes,
        "created": now,
        "updated": now,
    }
    connection.execute(_INSERT, values)
    if webhooks:
        attach_webhooks(connection, JobWebhookRow, {"job_id": identity}, owner, webhooks)


#: With the values as parameters; as part of the statement they take 3 % of the time of accepting a small spec.
_INSERT: Final = insert(JobRow)
_FILES: Final = select(*file_columns(JobFileRow))


def _seen(owner: str | None) -> tuple[Any, ...]:
    """Return the conditions of a visible job: not deleted and, if given, of this owner."""
    there = JobRow.deleted.is_(None)
    return (there,) if owner is None else (there, JobRow.owner == owner)


def _now() -> datetime:
    return utc_now()


def _held(claim: JobClaim) -> Any:
    return update(JobRow).where(JobRow.id == claim.job_id, JobRow.state == "running", JobRow.claim == claim.token)
