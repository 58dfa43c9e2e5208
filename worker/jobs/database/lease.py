"""Leases: rows that one holder has at a time, until it releases them or they expire.

Two kinds of rows carry a lease. A row of a lease table (part locks, leader leases) exists for the lease alone:
`acquire` inserts it or takes it over in one statement. A row of work (jobs, batches, silhouettes) has a claim token
beside its lease: `is_free` is the condition and `claim_values` the columns of the update that claims it.
"""

import secrets
from typing import Any, TypeAlias

from sqlalchemy import ColumnElement, Connection, and_, or_
from sqlalchemy.orm import InstrumentedAttribute

from worker.jobs.database.connection import upsert
from worker.jobs.database.db_clock import DatabaseClock
from worker.jobs.database.tables import BatchRow, JobRow, SilhouetteRow

#: Rows of work.
WorkRow: TypeAlias = JobRow | BatchRow | SilhouetteRow

__all__ = ["acquire", "claim_values", "is_free"]


def acquire(
    connection: Connection,
    clock: DatabaseClock,
    key: InstrumentedAttribute[str],
    name: str,
    *,
    holder: str,
    seconds: float,
) -> bool:
    """Acquire or renew a lease in one statement; return whether ``holder`` has it now.

    Args:
        connection: in a transaction.
        clock: of the same database.
        key: the column of the lease table that names what is leased.
        name: what is leased.
        holder: who acquires it; the same holder renews its own lease.
        seconds: the lease's length.
    """
    table: Any = key.class_  # of `LeaderLeaseRow` or `PartLockRow`
    lease = {"holder": holder, "lease": clock.at(seconds)}
    free = or_(table.holder == holder, table.holder.is_(None), clock.expired(table.lease, seconds))
    statement = (
        upsert(connection, table)
        .values({key.key: name, **lease})
        .on_conflict_do_update(index_elements=[key], set_=lease, where=free)
        .returning(table.holder)
    )
    return bool(connection.scalar(statement) == holder)


def is_free(clock: DatabaseClock, table: type[WorkRow], seconds: float) -> ColumnElement[bool]:
    """Return the condition that nobody holds a row of work: no claim was made, or its lease has expired."""
    return or_(table.claim.is_(None), and_(table.claim.is_not(None), clock.expired(table.lease, seconds)))


def claim_values(clock: DatabaseClock, table: type[WorkRow], seconds: float) -> tuple[str, dict[str, Any]]:
    """Return a new claim token, and the columns that claim a row of work for another attempt."""
    token = secrets.token_hex(16)
    return token, {"claim": token, "lease": clock.at(seconds), "attempts": table.attempts + 1}
