"""Usage: what an owner has asked for so far, held against the quotas of their key."""

from datetime import datetime, timedelta

from sqlalchemy import Connection, func, select

from worker.jobs.common.errors import QuotaReached
from worker.jobs.common.principal import Quotas
from worker.jobs.database.connection import upsert
from worker.jobs.database.tables import BatchRow, DailyUsageRow, JobRow
from worker.jobs.records.models import ENDED

__all__ = ["enforce_quotas"]

#: Seconds after which a key with too many jobs under way may ask again.
_SOON = 10

_MAKE_ROOM = "Remove what has ended: DELETE /v1/jobs/{id}/files or /v1/batches/{id}/files."


def enforce_quotas(connection: Connection, owner: str, quotas: Quotas, now: datetime) -> None:
    """Count one more job of this owner, in the transaction that adds it.

    The day's row is written first: it lets the submissions of one owner pass one by one, so that no two of them take
    the last free place.

    Raises:
        QuotaReached: when there is none; the transaction must not be kept.
    """
    today = _count(connection, owner, now)
    if quotas.daily and today > quotas.daily:
        midnight = (now + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
        raise _refused(
            "The key has submitted as many jobs as it may today.", today - 1,
            f"{quotas.daily} jobs a day (UTC)", "Try again tomorrow.", round((midnight - now).total_seconds()) + 1,
        )  # fmt: skip
    if quotas.waiting:
        query = select(func.count()).where(JobRow.owner == owner, JobRow.state.not_in(ENDED))
        if (waiting := connection.scalar(query) or 0) >= quotas.waiting:
            raise _refused(
                "The key has as many jobs under way as it may.", waiting,
                f"{quotas.waiting} jobs queued or running", "Wait until one has ended, or cancel one.", _SOON,
            )  # fmt: skip
    if quotas.bytes:
        of_jobs = select(func.sum(JobRow.bytes)).where(JobRow.owner == owner, JobRow.deleted.is_(None))
        of_batches = select(func.sum(BatchRow.bytes)).where(BatchRow.owner == owner)
        if (kept := sum(int(connection.scalar(total) or 0) for total in (of_jobs, of_batches))) >= quotas.bytes:
            raise _refused(
                "The key keeps as many results as it may.", kept,
                f"{quotas.bytes} bytes", _MAKE_ROOM, None,
            )  # fmt: skip


def _count(connection: Connection, owner: str, now: datetime) -> int:
    """Return how many jobs of this day the new one makes."""
    day = now.date().isoformat()
    values = upsert(connection, DailyUsageRow).values(owner=owner, day=day, jobs=1)
    key = [DailyUsageRow.owner, DailyUsageRow.day]
    one_more = values.on_conflict_do_update(index_elements=key, set_={"jobs": DailyUsageRow.jobs + 1})
    return int(connection.scalar(one_more.returning(DailyUsageRow.jobs)) or 0)


def _refused(message: str, value: int, limit: str, remedy: str, wait: int | None) -> QuotaReached:
    error = QuotaReached(message, value=value, limit=limit, remedy=remedy)
    error.wait = wait
    return error
