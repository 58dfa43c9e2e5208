"""Filters for listing jobs."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func

from worker.jobs.database.tables import JobRow
from worker.jobs.records.models import JobState

__all__ = ["JobFilters"]


@dataclass(frozen=True, slots=True)
class JobFilters:
    """Conditions on listed jobs; None or an empty tuple sets none."""

    states: tuple[JobState, ...] = ()
    #: A part of the name, case-insensitive.
    name: str | None = None
    created_after: datetime | None = None
    created_before: datetime | None = None

    def conditions(self) -> Iterator[Any]:
        """Yield the conditions on rows of jobs."""
        if self.states:
            yield JobRow.state.in_(self.states)
        if self.name is not None:
            part = "".join(f"/{sign}" if sign in "/%_" else sign for sign in self.name)
            # case folding by the database on both sides: SQLite folds ASCII only
            yield func.lower(JobRow.name).like(func.lower(f"%{part}%"), escape="/")
        if self.created_after is not None:
            yield JobRow.created > self.created_after
        if self.created_before is not None:
            yield JobRow.created < self.created_before
