"""A batch without its specs: its state, the number of specs in each state, and its JSON document."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal, TypeAlias, cast

from sqlalchemy import Connection, case, func, or_, select

from worker.jobs.database.tables import BatchEntryRow, BatchRow, JobRow
from worker.jobs.records.job_document import absolute

__all__ = ["BATCH_COLUMNS", "BatchState", "BatchSummary", "batch_fields", "batch_summaries"]

BatchState: TypeAlias = Literal["running", "gathering", "ended"]

#: The columns that `batch_summaries` reads.
BATCH_COLUMNS: Final = (
    BatchRow.id,
    BatchRow.name,
    BatchRow.state,
    BatchRow.created,
    BatchRow.finished,
    BatchRow.problem,
)


@dataclass(frozen=True, slots=True)
class BatchSummary:
    """One batch with the number of its specs in each state instead of the specs. Times are UTC."""

    id: str
    name: str
    state: BatchState
    created: datetime
    finished: datetime | None
    problem: dict[str, Any] | None
    counts: dict[str, int]


def batch_summaries(connection: Connection, rows: Sequence[Any]) -> list[BatchSummary]:
    """Return the summaries of rows with `BATCH_COLUMNS`, with the state of their jobs in this transaction."""
    state = case(
        (BatchEntryRow.job_id.is_(None), "refused"),
        (or_(JobRow.state.is_(None), JobRow.deleted.is_not(None)), "removed"),
        else_=JobRow.state,
    ).label("entry_state")
    counted = (
        select(BatchEntryRow.batch_id, state, func.count().label("entries"))
        .outerjoin(JobRow, JobRow.id == BatchEntryRow.job_id)
        .where(BatchEntryRow.batch_id.in_([row.id for row in rows]))
        .group_by(BatchEntryRow.batch_id, state)
    )
    counts: dict[str, dict[str, int]] = {row.id: {} for row in rows}
    for entry in connection.execute(counted):
        counts[entry.batch_id][entry.entry_state] = entry.entries
    return [
        BatchSummary(row.id, row.name, cast("BatchState", row.state), row.created, row.finished, row.problem,
            counts[row.id])
        for row in rows
    ]  # fmt: skip


def batch_fields(batch: BatchSummary, base: str) -> dict[str, Any]:
    """Return the fields of a batch; ``base`` is the service's URL, or empty for relative links."""
    address = f"{base}/v1/batches/{batch.id}"
    ready = batch.state == "ended" and batch.problem is None
    return {
        "id": batch.id,
        "name": batch.name,
        "state": batch.state,
        "created": batch.created,
        "finished": batch.finished,
        "counts": {state: batch.counts.get(state, 0) for state in _STATES},
        "problem": None if batch.problem is None else absolute(base, batch.problem),
        "links": {
            "self": address,
            "manifest": f"{address}/manifest" if ready else None,
            "bundle": f"{address}/bundle.zip" if ready else None,
            "files": f"{address}/files/{{name}}" if ready else None,
        },
    }


_STATES: Final = ("refused", "queued", "running", "succeeded", "failed", "cancelled", "removed")
