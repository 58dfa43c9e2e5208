"""Retries a failed job on request: queues it again and reopens its batches."""

from typing import Any, cast

from sqlalchemy import Connection, CursorResult, Engine, delete, select, update

from worker.jobs.common.principal import Quotas
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import BatchEntryRow, BatchFileRow, BatchRow, JobRow
from worker.jobs.records.quotas import enforce_quotas

__all__ = ["retry_job"]


def retry_job(database: Engine, job_id: str, *, quotas: Quotas | None = None, revision: int | None = None) -> bool:
    """Queue a failed job again, with its full number of attempts; return whether this call did.

    Its batches that have ended, or are being finalized, are reopened, so that their files will include the job.

    Args:
        database: the database.
        job_id: the job.
        revision: the revision that the job must have; None for any.
        quotas: those of the owner, towards which the retry counts like a new job; None for no limits.

    Raises:
        QuotaReached: if a quota of the owner is used up; nothing was changed.
    """
    now = utc_now()
    empty: dict[str, Any] = dict.fromkeys(
        ("started", "finished", "problem", "cause", "retry_at", "enqueued", "progress_now")
    )
    zero = dict.fromkeys(("attempts", "outages", "progress_done", "progress_total"), 0)
    same = () if revision is None else (JobRow.revision == revision,)
    failed = (JobRow.id == job_id, JobRow.state == "failed", JobRow.deleted.is_(None), *same)
    with database.begin() as connection:
        row = connection.execute(select(JobRow.owner, JobRow.expected_bytes).where(*failed)).one_or_none()
        if row is None:
            return False
        if quotas is not None:
            enforce_quotas(connection, row.owner, quotas, now, row.expected_bytes)
        statement = update(JobRow).where(*failed).values(**empty, **zero, state="queued", updated=now)
        queued = cast("CursorResult[Any]", connection.execute(statement)).rowcount == 1
        if queued:
            _reopen_batches(connection, job_id)
    return queued


def _reopen_batches(connection: Connection, job_id: str) -> None:
    batches = select(BatchEntryRow.batch_id).where(BatchEntryRow.job_id == job_id).scalar_subquery()
    connection.execute(delete(BatchFileRow).where(BatchFileRow.batch_id.in_(batches)))
    empty: dict[str, Any] = dict.fromkeys(("finished", "problem", "claim", "lease", "enqueued"))
    reopened = update(BatchRow).where(BatchRow.id.in_(batches))
    connection.execute(reopened.values(**empty, state="running", attempts=0, bytes=0))
