"""Listing: which jobs of many are meant."""

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
    """What a job must be to be listed. None asks for nothing."""

    states: tuple[JobState, ...] = ()
    #: Part of its name; capitals do not matter.
    name: str | None = None
    created_after: datetime | None = None
    created_before: datetime | None = None

    def conditions(self) -> Iterator[Any]:
        """Yield the conditions on rows of jobs."""
        if self.states:
            yield JobRow.state.in_(self.states)
        if self.name is not None:
            part = "".join(f"/{sign}" if sign in "/%_" else sign for sign in self.name)
            # capitals by the database's own rules on both sides: SQLite knows those of ASCII only
            yield func.lower(JobRow.name).like(func.lower(f"%{part}%"), escape="/")
        if self.created_after is not None:
            yield JobRow.created > self.created_after
        if self.created_before is not None:
            yield JobRow.created < self.created_before
