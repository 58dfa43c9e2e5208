"""Quotas: checks an owner's usage when a job is added."""

from datetime import datetime, timedelta

from sqlalchemy import Connection, func, select

from worker.jobs.common.errors import QuotaReached
from worker.jobs.common.principal import Quotas
from worker.jobs.database.connection import upsert
from worker.jobs.database.tables import BatchRow, DailyUsageRow, JobRow, SilhouetteRow
from worker.jobs.records.models import ENDED
from worker.spec import Spec
from worker.spec.limits import cells_of

__all__ = ["enforce_quotas", "expected_bytes"]

#: Bytes of results for each cell of the drawers: the examples take 51,000 to 104,000, the bundle included.
_BYTES_PER_CELL = 100_000

#: Retry-After, in seconds, for a key with too many active jobs.
_SOON = 10

_WAIT = "Wait until active jobs have ended; their results may take less than expected."

_MAKE_ROOM = "Delete ended jobs or batches: DELETE /v1/jobs/{id}/files or /v1/batches/{id}/files."


def expected_bytes(spec: Spec) -> int:
    """Return the bytes that the results of a spec are expected to take."""
    cells = sum(drawer.copies * cells_of(drawer, spec.grid.pitch) for drawer in spec.drawers)
    return cells * _BYTES_PER_CELL


def enforce_quotas(connection: Connection, owner: str, quotas: Quotas, now: datetime, expected: int = 0) -> None:
    """Count a new job and check the owner's quotas, in the transaction that adds the job.

    The row of daily usage is written first: its lock serialises the submissions of one owner, so that no two of them
    take the last place.

    Active jobs take the bytes that are expected of them, as the new one does with ``expected``.

    Raises:
        QuotaReached: if a quota is used up; the transaction must be rolled back.
    """
    today = _count(connection, owner, now)
    if quotas.daily and today > quotas.daily:
        midnight = (now + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
        raise _refused(
            "The daily quota of jobs is used up.", today - 1,
            f"{quotas.daily} jobs a day (UTC)", "Try again tomorrow.", round((midnight - now).total_seconds()) + 1,
        )  # fmt: skip
    if quotas.waiting:
        query = select(func.count()).where(JobRow.owner == owner, JobRow.state.not_in(ENDED))
        if (waiting := connection.scalar(query) or 0) >= quotas.waiting:
            raise _refused(
                "The quota of active jobs is used up.", waiting,
                f"{quotas.waiting} jobs queued or running", "Wait until one has ended, or cancel one.", _SOON,
            )  # fmt: skip
    if quotas.bytes:
        of_jobs = select(func.sum(JobRow.bytes)).where(JobRow.owner == owner, JobRow.deleted.is_(None))
        of_batches = select(func.sum(BatchRow.bytes)).where(BatchRow.owner == owner)
        of_silhouettes = select(func.sum(SilhouetteRow.bytes)).where(SilhouetteRow.owner == owner)
        kept = sum(int(connection.scalar(total) or 0) for total in (of_jobs, of_batches, of_silhouettes))
        if kept >= quotas.bytes:
            raise _refused(
                "The storage quota is used up.", kept,
                f"{quotas.bytes} bytes", _MAKE_ROOM, None,
            )  # fmt: skip
        active = (JobRow.owner == owner, JobRow.state.not_in(ENDED))
        coming = int(connection.scalar(select(func.sum(JobRow.expected_bytes)).where(*active)) or 0)
        if kept + coming + expected > quotas.bytes:
            raise _refused(
                "The storage quota does not suffice for the job and those under way.", kept + coming + expected,
                f"{quotas.bytes} bytes, stored or expected", _MAKE_ROOM if not coming else _WAIT,
                _SOON if coming else None,
            )  # fmt: skip


def _count(connection: Connection, owner: str, now: datetime) -> int:
    """Count the new job; return the number of jobs of this day."""
    day = now.date().isoformat()
    values = upsert(connection, DailyUsageRow).values(owner=owner, day=day, jobs=1)
    key = [DailyUsageRow.owner, DailyUsageRow.day]
    one_more = values.on_conflict_do_update(index_elements=key, set_={"jobs": DailyUsageRow.jobs + 1})
    return int(connection.scalar(one_more.returning(DailyUsageRow.jobs)) or 0)


def _refused(message: str, value: int, limit: str, remedy: str, wait: int | None) -> QuotaReached:
    error = QuotaReached(message, value=value, limit=limit, remedy=remedy)
    error.wait = wait
    return error
