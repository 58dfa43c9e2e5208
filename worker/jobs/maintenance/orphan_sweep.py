"""The orphan sweep: deletes stored files that no row refers to.

Files are written before the row that refers to them, so an orphan may belong to work in progress. Files of a job, a
batch or a silhouette are therefore swept only after its end, files of a part only under its lock, and none before a
minimum age. Each pass does a bounded amount of work, and the next one resumes there.
"""

import logging
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, TypeAlias

from obstore.exceptions import BaseError as StoreError
from sqlalchemy import Engine, select
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import (
    BatchFileRow,
    BatchRow,
    JobFileRow,
    JobRow,
    PartRow,
    SilhouetteFileRow,
    SilhouetteRow,
)
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.part_cache import part_key
from worker.jobs.records.models import ENDED
from worker.jobs.records.part_locks import PartLocks
from worker.jobs.records.silhouettes import SILHOUETTE_ENDED

__all__ = ["STORAGE_ERRORS", "OrphanSweep", "SweepPosition"]

_log = logging.getLogger(__name__)

#: Jobs, batches, silhouettes and shards of the parts (by the first two digits of their digest) swept in one pass.
_JOBS: Final = 200
_BATCHES: Final = 200
_SILHOUETTES: Final = 200
_SHARDS: Final = 16
_ALL_SHARDS: Final = 256

#: Rows that refer to files.
_FileRow: TypeAlias = JobFileRow | BatchFileRow | SilhouetteFileRow

#: Keys per statement.
_KEYS: Final = 400


@dataclass(frozen=True, slots=True)
class SweepPosition:
    """Cursor of the sweep: the last job, batch and silhouette that were swept, and the next shard of the parts."""

    job: str = ""
    share: int = 0
    batch: str = ""
    silhouette: str = ""

    @classmethod
    def read(cls, text: str | None) -> "SweepPosition":
        """Parse what `write` returned; anything else is the start."""
        job, share, batch, silhouette = [*(text or "").split(" "), "", "", ""][:4]
        return cls(job, int(share) % _ALL_SHARDS, batch, silhouette) if share.isdecimal() else cls()

    def write(self) -> str:
        """Return the position as text."""
        return f"{self.job} {self.share} {self.batch} {self.silhouette}"


class OrphanSweep:
    """Deletes the orphaned files of an object store."""

    def __init__(self, database: Engine, blobs: ObjectStore, safe_seconds: float) -> None:
        """Sweep this store; files younger than ``safe_seconds`` are kept."""
        self._database = database
        self._blobs = blobs
        self._safe = timedelta(seconds=safe_seconds)

    def run(self, place: SweepPosition) -> tuple[SweepPosition, int]:
        """Do one pass from this position; return the next position and the number of deleted files.

        Raises:
            DBAPIError, obstore BaseError: if the database or store is unavailable; the next pass repeats this one.
        """
        before = utc_now() - self._safe
        removed = self._blobs.sweep_unfinished(before)
        job, of_jobs = self._ended("jobs", place.job, _JOBS, before)
        batch, of_batches = self._ended("batches", place.batch, _BATCHES, before)
        silhouette, of_silhouettes = self._ended("silhouettes", place.silhouette, _SILHOUETTES, before)
        removed += of_jobs + of_batches + of_silhouettes
        for number in range(place.share, place.share + _SHARDS):
            removed += self._share(number % _ALL_SHARDS, before)
        PartLocks(self._database).delete_expired()
        if removed:
            _log.info("Deleted %d orphaned files.", removed)
        return SweepPosition(job, (place.share + _SHARDS) % _ALL_SHARDS, batch, silhouette), removed

    def _ended(self, folder: str, last: str, most: int, before: datetime) -> tuple[str, int]:
        """Sweep a folder after ``last``; return the new last one and the number of deleted files."""
        identities = sorted(identity for identity in self._blobs.folders(folder) if identity > last)
        removed = sum(self._of_one(folder, identity, before) for identity in identities[:most])
        return identities[most - 1] if len(identities) > most else "", removed

    def _of_one(self, folder: str, identity: str, before: datetime) -> int:
        old = self._old(f"{folder}/{identity}", before)
        if not old:
            return 0
        row, ends, files = _OWNERS[folder]
        with self._database.connect() as connection:
            state = connection.scalar(select(row.state).where(row.id == identity))
        if state is not None and state not in ends:
            return 0
        return self._remove(set(old) - self._named(old, files))

    def _share(self, number: int, before: datetime) -> int:
        old = self._old(f"parts/{number:02x}", before)
        removed = 0
        for digest, keys in _by_digest(set(old) - self._named(old)).items():
            orphans = keys - self._of_parts(digest)
            locks = PartLocks(self._database)
            if not orphans or not locks.acquire(digest):
                continue
            try:  # check again under the lock: the part may just have been stored
                now = {
                    stored.key
                    for stored in self._blobs.under(f"parts/{number:02x}/{digest}")
                    if stored.modified < before
                }
                removed += self._remove((orphans & now) - self._named(orphans) - self._of_parts(digest))
            finally:
                locks.release(digest)
        return removed

    def _old(self, prefix: str, before: datetime) -> list[str]:
        return [stored.key for stored in self._blobs.under(prefix) if stored.modified < before]

    def _named(self, keys: Iterable[str], files: "type[_FileRow]" = JobFileRow) -> set[str]:
        """Return the keys that files of jobs (or batches) refer to."""
        named: set[str] = set()
        with self._database.connect() as connection:
            for some in _pieces(list(keys)):
                named.update(connection.scalars(select(files.key).where(files.key.in_(some))))
        return named

    def _of_parts(self, digest: str) -> set[str]:
        """Return the keys that the rows of a part refer to."""
        with self._database.connect() as connection:
            records: list[dict[str, Any]] = list(
                connection.scalars(select(PartRow.record).where(PartRow.digest == digest))
            )
        files = [file for record in records for file in record.get("files", ())]
        return {part_key(digest, file["suffix"], file["sha256"]) for file in files}

    def _remove(self, keys: Collection[str]) -> int:
        for key in keys:
            self._blobs.delete(key)
        return len(keys)


#: By folder: the table of its owners, their final states, and the table of their files.
_OWNERS: Final[dict[str, tuple[type[JobRow | BatchRow | SilhouetteRow], Collection[str], type[_FileRow]]]] = {
    "jobs": (JobRow, ENDED, JobFileRow),
    "batches": (BatchRow, ("ended",), BatchFileRow),
    "silhouettes": (SilhouetteRow, SILHOUETTE_ENDED, SilhouetteFileRow),
}

#: Errors of an unavailable database or object store.
STORAGE_ERRORS: Final = (SQLAlchemyError, StoreError, OSError)


def _by_digest(keys: Iterable[str]) -> dict[str, set[str]]:
    groups: dict[str, set[str]] = {}
    for key in keys:
        steps = key.split("/")
        if len(steps) == 4:  # noqa: PLR2004 - parts/12/1234.../file
            groups.setdefault(steps[2], set()).add(key)
    return groups


def _pieces(keys: list[str]) -> Iterator[list[str]]:
    for start in range(0, len(keys), _KEYS):
        yield keys[start : start + _KEYS]
