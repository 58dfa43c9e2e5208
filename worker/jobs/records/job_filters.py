"""Filters for listing jobs."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select

from worker.jobs.database.tables import BatchEntryRow, JobRow
from worker.jobs.records.models import JobState

__all__ = ["JobFilters", "contains", "has_tag"]


def contains(column: Any, text: str) -> Any:
    """Return the condition that a column contains this text, case-insensitive."""
    part = "".join(f"/{sign}" if sign in "/%_" else sign for sign in text)
    # case folding by the database on both sides: SQLite folds ASCII only
    return func.lower(column).like(func.lower(f"%{part}%"), escape="/")


def has_tag(column: Any, tag: str) -> Any:
    """Return the condition that a column of tags, as `worker.jobs.records.row_mapping.tags_text` has them, has one."""
    return column.contains(f"\n{tag}\n", autoescape=True)


@dataclass(frozen=True, slots=True)
class JobFilters:
    """Conditions on listed jobs; None or an empty tuple sets none."""

    states: tuple[JobState, ...] = ()
    #: A part of the name, case-insensitive.
    name: str | None = None
    created_after: datetime | None = None
    created_before: datetime | None = None
    #: All of these tags.
    tags: tuple[str, ...] = ()
    #: Id of a batch.
    batch: str | None = None

    def conditions(self) -> Iterator[Any]:
        """Yield the conditions on rows of jobs."""
        if self.states:
            yield JobRow.state.in_(self.states)
        if self.name is not None:
            yield contains(JobRow.name, self.name)
        for tag in self.tags:
            yield has_tag(JobRow.tags, tag)
        if self.batch is not None:
            yield JobRow.id.in_(select(BatchEntryRow.job_id).where(BatchEntryRow.batch_id == self.batch))
        if self.created_after is not None:
            yield JobRow.created > self.created_after
        if self.created_before is not None:
            yield JobRow.created < self.created_before
