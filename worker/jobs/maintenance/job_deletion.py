"""Deletion of jobs in three steps that can be interrupted and resumed.

First the row is marked, which makes the job invisible; then its own files are deleted, and its rows last. Files of
parts are shared between jobs: the orphan sweep removes them once no row refers to them.
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

#: Maximum number of jobs marked, and deleted, in one call.
_MOST: Final = 200

#: Days for which daily usage is kept.
_USAGE_DAYS: Final = 31


class JobDeletion:
    """Deletes jobs from the database and their files from the object store."""

    def __init__(self, database: Engine, blobs: ObjectStore) -> None:
        """Use this database and object store."""
        self._database = database
        self._blobs = blobs

    def mark(self, job_id: str, *, revision: int | None = None) -> bool:
        """Mark an ended job as deleted, if it has this revision; return whether this call did."""
        same = () if revision is None else (JobRow.revision == revision,)
        return self._change(_marking().where(JobRow.id == job_id, *same)) == 1

    def retire(self, days: int) -> int:
        """Mark up to 200 jobs that ended more than ``days`` days ago (0 keeps all); return how many."""
        if not days:
            return 0
        old = JobRow.finished < _now() - timedelta(days=days)
        chosen = select(JobRow.id).where(old, JobRow.deleted.is_(None), JobRow.state.in_(ENDED)).limit(_MOST)
        return self._change(_marking().where(JobRow.id.in_(chosen.scalar_subquery())))

    def sweep(self, job_id: str | None = None) -> int:
        """Delete the files, then the rows, of this marked job or of up to 200; return how many jobs.

        It can be interrupted and repeated, also by several processes at once.

        Raises:
            DBAPIError, obstore BaseError: if the database or store is unavailable; marked jobs stay marked.
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
        """Delete the files of a batch whose row was deleted."""
        for stored in list(self._blobs.under(f"batches/{batch_id}")):
            self._blobs.delete(stored.key)

    def sweep_silhouette(self, silhouette_id: str) -> None:
        """Delete the files of a silhouette whose row was deleted."""
        for stored in list(self._blobs.under(f"silhouettes/{silhouette_id}")):
            self._blobs.delete(stored.key)

    def retire_batches(self, days: int) -> int:
        """Delete up to 200 batches that ended more than ``days`` days ago (0 keeps all); return how many."""
        old = BatchRecords(self._database).ended_before(_now() - timedelta(days=days), _MOST) if days else []
        for batch_id in old:
            if BatchRecords(self._database).remove(batch_id):
                self.sweep_batch(batch_id)
        return len(old)

    def run(self, retention_days: int) -> int:
        """Do all due deletions: jobs and batches past their retention, old usage and idempotency keys.

        The maintenance scheduler calls this. Returns the number of deleted jobs.
        """
        self.retire(retention_days)
        self.retire_batches(retention_days)
        oldest = (_now() - timedelta(days=_USAGE_DAYS)).date().isoformat()
        self._change(delete(DailyUsageRow).where(DailyUsageRow.day < oldest))
        self._change(delete(IdempotencyRow).where(IdempotencyRow.created < _now() - timedelta(days=KEPT_DAYS)))
        return self.sweep()

    def _own(self, job_id: str) -> list[str]:
        """Return the keys of the files that belong to this job alone."""
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
