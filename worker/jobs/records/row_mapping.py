"""Maps rows to jobs and stored files, and stored files to rows."""

from collections.abc import Sequence
from typing import Any, Final, cast

from sqlalchemy.orm import InstrumentedAttribute

from worker.jobs.database.tables import BatchFileRow, JobFileRow, JobRow, SilhouetteFileRow
from worker.jobs.records.models import Job, JobState, Progress, StoredFile

__all__ = ["JOB_COLUMNS", "file_columns", "file_values", "job_of", "tags_of", "tags_text"]

#: The columns that `job_of` reads.
JOB_COLUMNS: Final = (
    JobRow.id,
    JobRow.name,
    JobRow.state,
    JobRow.created,
    JobRow.updated,
    JobRow.started,
    JobRow.finished,
    JobRow.attempts,
    JobRow.progress_done,
    JobRow.progress_total,
    JobRow.progress_now,
    JobRow.problem,
    JobRow.revision,
    JobRow.notes,
    JobRow.tags,
)


def job_of(row: Any) -> Job:
    """Return the job of a row with `JOB_COLUMNS`."""
    return Job(
        id=row.id,
        name=row.name,
        state=cast("JobState", row.state),
        created=row.created,
        updated=row.updated,
        started=row.started,
        finished=row.finished,
        attempts=row.attempts,
        progress=Progress(row.progress_done, row.progress_total, row.progress_now),
        problem=row.problem,
        revision=row.revision,
        notes=row.notes,
        tags=tags_of(row.tags),
    )


def tags_of(text: str) -> tuple[str, ...]:
    """Return the tags that `tags_text` made a text of."""
    return tuple(text.split("\n")[1:-1])


def tags_text(tags: Sequence[str]) -> str:
    """Return tags as they are stored: each between line feeds."""
    return "".join(f"\n{tag}" for tag in tags) + "\n" if tags else ""


def file_columns(table: type[JobFileRow | BatchFileRow | SilhouetteFileRow]) -> tuple[InstrumentedAttribute[Any], ...]:
    """Return the columns of a `StoredFile` in this table."""
    return tuple(getattr(table, name) for name in StoredFile.__slots__)


def file_values(file: StoredFile) -> dict[str, Any]:
    """Return the values of a file for these columns."""
    return {name: getattr(file, name) for name in StoredFile.__slots__}
