"""Deletion: a job goes in three steps, so that whatever stops it in between, nothing of it is seen and nothing is left.

First the row is marked, and from then on there is no such job; then its own files go; its rows go last. Files of parts
are shared between jobs: they stay as long as a row names them, and are the orphan sweep's to remove.
"""

from datetime import UTC, datetime, timedelta
from typing import Any, Final, cast

from sqlalchemy import CursorResult, Engine, delete, select, update

from worker.jobs.database.tables import DailyUsageRow, IdempotencyRow, JobFileRow, JobRow
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.records.batches import BatchRecords
from worker.jobs.records.idempotency import KEPT_DAYS
from worker.jobs.records.models import ENDED

__all__ = ["JobDeletion"]

#: Most jobs marked, and most removed, in one go.
_MOST: Final = 200

#: Days for which it is known how many jobs an owner submitted.
_USAGE_DAYS: Final = 31


class JobDeletion:
    """Removes jobs from a record and their files from a store."""

    def __init__(self, database: Engine, blobs: ObjectStore) -> None:
        """Use these."""
        self._database = database
        self._blobs = blobs

    def mark(self, job_id: str) -> bool:
        """Mark a job that has ended as removed; say whether this did it."""
        return self._change(_marking().where(JobRow.id == job_id)) == 1

    def retire(self, days: int) -> int:
        """Mark jobs that ended more than this many days ago, at most 200; 0 days keeps all. Return how many."""
        if not days:
            return 0
        old = JobRow.finished < _now() - timedelta(days=days)
        chosen = select(JobRow.id).where(old, JobRow.deleted.is_(None), JobRow.state.in_(ENDED)).limit(_MOST)
        return self._change(_marking().where(JobRow.id.in_(chosen.scalar_subquery())))

    def sweep(self, job_id: str | None = None) -> int:
        """Remove what is marked (of this job, or of at most 200): its own files, then its rows. Return how many jobs.

        It may be stopped anywhere and called again, also by several processes at a time.

        Raises:
            DBAPIError, BaseError of the store: when one is away; what is marked stays so.
        """
        marked = select(JobRow.id).where(JobRow.deleted.is_not(None)).order_by(JobRow.deleted).limit(_MOST)
        if job_id is not None:
            marked = marked.where(JobRow.id == job_id)
        with self._database.connect() as connection:
            gone = list(connection.scalars(marked))
        for removed_id in gone:
            for key in self._own(removed_id):
                self._blobs.delete(key)
            with self._database.begin() as connection:
                connection.execute(delete(JobFileRow).where(JobFileRow.job_id == removed_id))
                connection.execute(delete(JobRow).where(JobRow.id == removed_id, JobRow.deleted.is_not(None)))
        return len(gone)

    def sweep_batch(self, batch_id: str) -> None:
        """Remove the files of a batch that is no longer in the record."""
        for stored in list(self._blobs.under(f"batches/{batch_id}")):
            self._blobs.delete(stored.key)

    def retire_batches(self, days: int) -> int:
        """Remove batches that ended more than this many days ago, at most 200; 0 days keeps all. Return how many."""
        old = BatchRecords(self._database).ended_before(_now() - timedelta(days=days), _MOST) if days else []
        for batch_id in old:
            if BatchRecords(self._database).remove(batch_id):
                self.sweep_batch(batch_id)
        return len(old)

    def run(self, retention_days: int) -> int:
        """Do all that is due: mark jobs past their retention, remove what is marked, forget old usage.

        This is what a periodic sweep calls. Returns how many jobs were removed.
        """
        self.retire(retention_days)
        self.retire_batches(retention_days)
        oldest = (_now() - timedelta(days=_USAGE_DAYS)).date().isoformat()
        self._change(delete(DailyUsageRow).where(DailyUsageRow.day < oldest))
        self._change(delete(IdempotencyRow).where(IdempotencyRow.created < _now() - timedelta(days=KEPT_DAYS)))
        return self.sweep()

    def _own(self, job_id: str) -> list[str]:
        """Return the keys of files that this job alone has."""
        own_keys = select(JobFileRow.key).where(
            JobFileRow.job_id == job_id, JobFileRow.key.startswith(f"jobs/{job_id}/")
        )
        with self._database.connect() as connection:
            return list(connection.scalars(own_keys))

    def _change(self, statement: Any) -> int:
        with self._database.begin() as connection:
            return cast("CursorResult[Any]", connection.execute(statement)).rowcount


def _marking() -> Any:
    now = _now()
    return (
        update(JobRow)
        .where(JobRow.state.in_(ENDED), JobRow.deleted.is_(None))
        .values(deleted=now, updated=now, spec="{}")
    )


def _now() -> datetime:
    return datetime.now(UTC)
