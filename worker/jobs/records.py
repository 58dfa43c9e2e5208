"""The record: what is known about jobs and parts.

Each change of state is one statement that names the state, and the claim, that it changes from. Whoever comes second
changes nothing and is told so. Transactions are short, so that everybody sees progress at once.
"""

import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, cast

from sqlalchemy import CursorResult, Engine, and_, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.sql import Executable

from worker.jobs.identity import new_identity
from worker.jobs.job import ENDED, Job, Progress, State, StoredFile
from worker.jobs.tables import JobFileRow, JobRow, PartRow

_JOB_COLUMNS = (
    JobRow.id,
    JobRow.name,
    JobRow.state,
    JobRow.created,
    JobRow.updated,
    JobRow.started,
    JobRow.finished,
    JobRow.attempts,
    JobRow.progress_done,
    JobRow.progress_total,
    JobRow.progress_now,
    JobRow.problem,
)


@dataclass(frozen=True, slots=True)
class Claim:
    """The right to build a job, until another claim fences it off."""

    job_id: str
    token: str
    spec: str
    attempt: int


class Records:
    """Reads and writes the record."""

    def __init__(self, engine: Engine) -> None:
        """Use this database, which has the tables."""
        self._engine = engine

    # -- jobs as callers see them

    def add(self, name: str, spec: str) -> Job:
        """Add a queued job."""
        now = _now()
        identity = new_identity()
        self._change(insert(JobRow).values(id=identity, name=name, state="queued", spec=spec, created=now, updated=now))
        return Job(identity, name, "queued", now, now, None, None, 0, Progress(), None)

    def job(self, job_id: str) -> Job | None:
        """Return the job, or None when there is none."""
        with self._engine.connect() as connection:
            row = connection.execute(select(*_JOB_COLUMNS).where(JobRow.id == job_id)).one_or_none()
        return None if row is None else _job(row)

    def jobs(self, limit: int, after: str | None) -> list[Job]:
        """Return up to ``limit`` jobs, newest first, from the one made just before ``after``."""
        query = select(*_JOB_COLUMNS).order_by(JobRow.id.desc()).limit(limit)
        if after is not None:
            query = query.where(JobRow.id < after)
        with self._engine.connect() as connection:
            return [_job(row) for row in connection.execute(query)]

    def files(self, job_id: str) -> list[StoredFile]:
        """Return the job's files by name."""
        with self._engine.connect() as connection:
            rows = connection.execute(_FILES.where(JobFileRow.job_id == job_id).order_by(JobFileRow.name))
            return [StoredFile(*row) for row in rows]

    def file(self, job_id: str, name: str) -> StoredFile | None:
        """Return one of the job's files, or None when it has no such file."""
        with self._engine.connect() as connection:
            row = connection.execute(_FILES.where(JobFileRow.job_id == job_id, JobFileRow.name == name)).one_or_none()
        return None if row is None else StoredFile(*row)

    def cancel(self, job_id: str) -> bool:
        """Cancel a job that has not ended; say whether this did it."""
        now = _now()
        return self._changed(
            update(JobRow)
            .where(JobRow.id == job_id, JobRow.state.not_in(ENDED))
            .values(state="cancelled", finished=now, updated=now, claim=None, lease=None)
        )

    # -- the way to a worker

    def enqueued(self, job_ids: Iterable[str]) -> None:
        """Note that the broker has a message for each of these jobs."""
        self._change(update(JobRow).where(JobRow.id.in_(list(job_ids))).values(enqueued=_now()))

    def waiting(self, *, quiet_seconds: float, limit: int) -> list[str]:
        """Return jobs that need a message, oldest first.

        These are queued ones that had none in the last ``quiet_seconds``, and running ones whose claim has run out
        since they had one.
        """
        now = _now()
        quiet = or_(JobRow.enqueued.is_(None), JobRow.enqueued < now - timedelta(seconds=quiet_seconds))
        lost = and_(JobRow.lease < now, or_(quiet, JobRow.enqueued < JobRow.lease))
        unseen = or_(and_(JobRow.state == "queued", quiet), and_(JobRow.state == "running", lost))
        query = select(JobRow.id).where(unseen).order_by(JobRow.id).limit(limit)
        with self._engine.connect() as connection:
            return list(connection.scalars(query))

    # -- the worker's side

    def claim(self, job_id: str, *, lease_seconds: float, attempts: int) -> Claim | None:
        """Take a job that is queued, or whose last claim has run out; None when it is not to be had.

        At most ``attempts`` claims are given for a job.
        """
        now = _now()
        token = secrets.token_hex(16)
        statement = (
            update(JobRow)
            .where(JobRow.id == job_id, _free(now), JobRow.attempts < attempts)
            .values(
                state="running",
                claim=token,
                lease=now + timedelta(seconds=lease_seconds),
                attempts=JobRow.attempts + 1,
                started=now,
                updated=now,
                progress_done=0,
                progress_total=0,
                progress_now=None,
            )
            .returning(JobRow.spec, JobRow.attempts)
        )
        with self._engine.begin() as connection:
            row = connection.execute(statement).one_or_none()
        return None if row is None else Claim(job_id, token, row.spec, row.attempts)

    def give_up(self, job_id: str, *, attempts: int, problem: dict[str, Any]) -> bool:
        """Fail a job that has had all its attempts and is held by none; say whether this did it."""
        now = _now()
        return self._changed(
            update(JobRow)
            .where(JobRow.id == job_id, _free(now), JobRow.attempts >= attempts)
            .values(state="failed", problem=problem, finished=now, updated=now, claim=None, lease=None)
        )

    def lease_left(self, job_id: str) -> float | None:
        """Return the seconds until the claim on a running job runs out, or None when none is held."""
        with self._engine.connect() as connection:
            lease = connection.scalar(select(JobRow.lease).where(JobRow.id == job_id, JobRow.state == "running"))
        return None if lease is None else (lease - _now()).total_seconds()

    def extend(self, claim: Claim, *, lease_seconds: float) -> bool:
        """Give a sign of life; False when the claim no longer holds."""
        return self._changed(_held(claim).values(lease=_now() + timedelta(seconds=lease_seconds)))

    def report(self, claim: Claim, progress: Progress) -> bool:
        """Write progress; False when the claim no longer holds."""
        return self._changed(
            _held(claim).values(
                progress_done=progress.done,
                progress_total=progress.total,
                progress_now=progress.now,
                updated=_now(),
            )
        )

    def succeed(self, claim: Claim, files: Sequence[StoredFile]) -> bool:
        """End the job with these files, which the store has; False when the claim no longer holds."""
        rows = [
            {
                "job_id": claim.job_id,
                "name": file.name,
                "media_type": file.media_type,
                "bytes": file.bytes,
                "sha256": file.sha256,
                "key": file.key,
            }
            for file in files
        ]
        now = _now()
        done = _held(claim).values(
            state="succeeded", finished=now, updated=now, claim=None, lease=None,
            progress_done=JobRow.progress_total, progress_now=None,
        )  # fmt: skip
        with self._engine.begin() as connection:
            if connection.execute(done).rowcount != 1:
                return False
            if rows:
                connection.execute(insert(JobFileRow), rows)
        return True

    def fail(self, claim: Claim, problem: dict[str, Any]) -> bool:
        """End the job with a problem document; False when the claim no longer holds."""
        now = _now()
        return self._changed(
            _held(claim).values(state="failed", problem=problem, finished=now, updated=now, claim=None, lease=None)
        )

    def release(self, claim: Claim) -> bool:
        """Put the job back into the queue, for another attempt; False when the claim no longer holds."""
        return self._changed(_held(claim).values(state="queued", enqueued=None, updated=_now(), claim=None, lease=None))

    # -- parts

    def part(self, digest: str, limits: str) -> dict[str, Any] | None:
        """Return what is known about the part against these limits, or None when it never passed them."""
        query = select(PartRow.record).where(PartRow.digest == digest, PartRow.limits == limits)
        with self._engine.connect() as connection:
            return connection.scalar(query)

    def add_part(self, digest: str, limits: str, record: dict[str, Any]) -> None:
        """Keep what is known about a part, in place of what was known before."""
        statement: Any = (
            postgresql.insert(PartRow) if self._engine.dialect.name == "postgresql" else sqlite.insert(PartRow)
        )
        values = statement.values(digest=digest, limits=limits, record=record, created=_now())
        key = [PartRow.digest, PartRow.limits]
        self._change(values.on_conflict_do_update(index_elements=key, set_={"record": values.excluded.record}))

    def _change(self, statement: Executable) -> int:
        with self._engine.begin() as connection:
            return cast("CursorResult[Any]", connection.execute(statement)).rowcount

    def _changed(self, statement: Executable) -> bool:
        return self._change(statement) == 1


_FILES = select(JobFileRow.name, JobFileRow.media_type, JobFileRow.bytes, JobFileRow.sha256, JobFileRow.key)


def _now() -> datetime:
    return datetime.now(UTC)


def _free(now: datetime) -> Any:
    return or_(JobRow.state == "queued", and_(JobRow.state == "running", JobRow.lease < now))


def _held(claim: Claim) -> Any:
    return update(JobRow).where(JobRow.id == claim.job_id, JobRow.state == "running", JobRow.claim == claim.token)


def _job(row: Any) -> Job:
    return Job(
        id=row.id,
        name=row.name,
        state=cast("State", row.state),
        created=row.created,
        updated=row.updated,
        started=row.started,
        finished=row.finished,
        attempts=row.attempts,
        progress=Progress(row.progress_done, row.progress_total, row.progress_now),
        problem=row.problem,
    )
