"""The orphan sweep: removes files that no record names.

Files come before the record that names them, so one without a record may be on its way there. What belongs to a job is
looked at only after the job's end, which is final; a part's files only under the claim that whoever builds it would
have to take; and neither before a safe age. One pass does a bounded piece of the work and the next goes on behind it.
"""

import logging
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from obstore.exceptions import BaseError as StoreError
from sqlalchemy import Engine, select
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.blobs import Blobs
from worker.jobs.claims import PartClaims
from worker.jobs.clock import machine_time
from worker.jobs.job import ENDED
from worker.jobs.parts import part_key
from worker.jobs.tables import JobFileRow, JobRow, PartRow

__all__ = ["FAULTS", "Place", "Sweep"]

_log = logging.getLogger(__name__)

#: Jobs, and shares of the parts by the first two digits of their digests, looked through in one pass.
_JOBS: Final = 200
_SHARES: Final = 16
_ALL_SHARES: Final = 256

#: Keys asked for in one statement.
_KEYS: Final = 400


@dataclass(frozen=True, slots=True)
class Place:
    """How far the sweep got: the last job looked through, and the next share of the parts."""

    job: str = ""
    share: int = 0

    @classmethod
    def read(cls, text: str | None) -> "Place":
        """Read what `write` wrote; what cannot be read is the beginning."""
        job, _, share = (text or "").partition(" ")
        return cls(job, int(share) % _ALL_SHARES) if share.isdecimal() else cls()

    def write(self) -> str:
        """Write the place down."""
        return f"{self.job} {self.share}"


class Sweep:
    """Looks through a store for files that a record does not name."""

    def __init__(self, database: Engine, blobs: Blobs, safe_seconds: float) -> None:
        """Sweep this store; leave alone what is younger than so many seconds."""
        self._database = database
        self._blobs = blobs
        self._safe = timedelta(seconds=safe_seconds)

    def run(self, place: Place) -> tuple[Place, int]:
        """Do one pass from this place; return the next one's, and how many files were removed.

        Raises:
            DBAPIError, BaseError of the store: when one is away; the next pass does it again.
        """
        before = machine_time() - self._safe
        removed = self._blobs.sweep_unfinished(before)
        jobs = sorted(one for one in self._blobs.folders("jobs") if one > place.job)
        for one in jobs[:_JOBS]:
            removed += self._job(one, before)
        for number in range(place.share, place.share + _SHARES):
            removed += self._share(number % _ALL_SHARES, before)
        PartClaims(self._database).tidy()
        following = jobs[_JOBS - 1] if len(jobs) > _JOBS else ""
        if removed:
            _log.info("%d files that no record names were removed.", removed)
        return Place(following, (place.share + _SHARES) % _ALL_SHARES), removed

    def _job(self, job_id: str, before: datetime) -> int:
        old = self._old(f"jobs/{job_id}", before)
        if not old:
            return 0
        with self._database.connect() as connection:
            state = connection.scalar(select(JobRow.state).where(JobRow.id == job_id))
        if state is not None and state not in ENDED:
            return 0
        orphans = set(old) - self._of_jobs(old)
        return self._remove(orphans)

    def _share(self, number: int, before: datetime) -> int:
        old = self._old(f"parts/{number:02x}", before)
        removed = 0
        for digest, keys in _by_digest(set(old) - self._of_jobs(old)).items():
            orphans = keys - self._of_parts(digest)
            claims = PartClaims(self._database)
            if not orphans or not claims.take(digest):
                continue
            try:  # again, under the claim: somebody may just have kept the part
                now = {one.key for one in self._blobs.under(f"parts/{number:02x}/{digest}") if one.modified < before}
                removed += self._remove((orphans & now) - self._of_jobs(orphans) - self._of_parts(digest))
            finally:
                claims.drop(digest)
        return removed

    def _old(self, prefix: str, before: datetime) -> list[str]:
        return [one.key for one in self._blobs.under(prefix) if one.modified < before]

    def _of_jobs(self, keys: Iterable[str]) -> set[str]:
        """Return those of the keys that jobs name."""
        found: set[str] = set()
        with self._database.connect() as connection:
            for some in _pieces(list(keys)):
                found.update(connection.scalars(select(JobFileRow.key).where(JobFileRow.key.in_(some))))
        return found

    def _of_parts(self, digest: str) -> set[str]:
        """Return the keys that the records of a part name."""
        with self._database.connect() as connection:
            records: list[dict[str, Any]] = list(
                connection.scalars(select(PartRow.record).where(PartRow.digest == digest))
            )
        files = [one for record in records for one in record.get("files", ())]
        return {part_key(digest, one["suffix"], one["sha256"]) for one in files}

    def _remove(self, keys: Collection[str]) -> int:
        for key in keys:
            self._blobs.delete(key)
        return len(keys)


#: What may be away while a sweep goes on.
FAULTS: Final = (SQLAlchemyError, StoreError, OSError)


def _by_digest(keys: Iterable[str]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for key in keys:
        steps = key.split("/")
        if len(steps) == 4:  # noqa: PLR2004 - parts/12/1234.../file
            found.setdefault(steps[2], set()).add(key)
    return found


def _pieces(keys: list[str]) -> Iterator[list[str]]:
    for start in range(0, len(keys), _KEYS):
        yield keys[start : start + _KEYS]
