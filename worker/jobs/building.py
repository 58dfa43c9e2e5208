"""Building: one attempt at one job, from the claim to its end in the record. Every way in which it can go is here."""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto
from hashlib import sha256
from typing import Final, Protocol

from billiard.exceptions import SoftTimeLimitExceeded
from obstore.exceptions import BaseError as StoreError
from sqlalchemy.exc import DBAPIError

from worker.jobs.blobs import Blobs
from worker.jobs.job import BUNDLE_NAME, MANIFEST_NAME, Progress, StoredFile
from worker.jobs.lease import Lease
from worker.jobs.parts import PartStore, StoredParts
from worker.jobs.pipeline import JobResult, run_pipeline
from worker.jobs.records import Claim, Records
from worker.jobs.settings import Settings
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError, InternalError, JobCancelled, JobTooLong
from worker.spec.manifest import JSON_TYPE, ZIP_TYPE

_log = logging.getLogger(__name__)

#: What may go away by itself: the database, the store, the disk.
_PASSING: Final = (DBAPIError, StoreError, OSError)


class Outcome(Enum):
    """How an attempt went."""

    SUCCEEDED = auto()
    FAILED = auto()
    #: Cancelled or taken over while it ran.
    LOST = auto()
    #: Put back into the queue.
    RELEASED = auto()
    #: Nothing to do: the job has ended, or somebody else has it.
    NOT_OURS = auto()


class Pipeline(Protocol):
    """`run_pipeline`, or what stands in for it."""

    def __call__(
        self,
        spec: Spec,
        *,
        part_store: PartStore,
        report: Callable[[Progress], None],
        cancelled: Callable[[], bool],
    ) -> JobResult:
        """Build the job's parts."""


@dataclass(frozen=True, slots=True)
class Workshop:
    """What an attempt needs."""

    settings: Settings
    records: Records
    blobs: Blobs
    pipeline: Pipeline = run_pipeline

    def build(self, job_id: str) -> Outcome:
        """Make one attempt at the job, if it is to be had."""
        settings, records = self.settings, self.records
        claim = records.claim(job_id, lease_seconds=settings.lease_seconds, attempts=settings.attempts)
        if claim is None:
            given_up = InternalError(f"The job was started {settings.attempts} times and never came to an end.")
            if records.give_up(job_id, attempts=settings.attempts, problem=given_up.problem()):
                _log.error("Job %s was given up.", job_id)
                return Outcome.FAILED
            return Outcome.NOT_OURS
        _log.info("Job %s, attempt %d.", job_id, claim.attempt)
        outcome = self._attempt(claim)
        _log.info("Job %s: %s.", job_id, outcome.name.lower())
        return outcome

    def _attempt(self, claim: Claim) -> Outcome:
        try:
            with Lease(self.records, claim, self.settings.lease_seconds) as lease:
                result = self.pipeline(
                    Spec.model_validate_json(claim.spec),
                    part_store=StoredParts(self.records, self.blobs),
                    report=lease.report,
                    cancelled=lease.lost,
                )
                files = self._store(claim, result)
            return Outcome.SUCCEEDED if self.records.succeed(claim, files) else Outcome.LOST
        except JobCancelled:
            return Outcome.LOST
        except Exception as error:  # noqa: BLE001 - whatever it is, the record says how the job ended
            return self._end(claim, error)

    def _end(self, claim: Claim, error: Exception) -> Outcome:
        """End the attempt that this stopped: the job has failed, or may be tried again."""
        expected = isinstance(error, DrawerwrightError)
        _log.warning("Job %s, attempt %d: %r", claim.job_id, claim.attempt, error, exc_info=None if expected else error)
        if isinstance(error, _PASSING) and claim.attempt < self.settings.attempts:
            return Outcome.RELEASED if self.records.release(claim) else Outcome.LOST
        told: DrawerwrightError = InternalError()
        if isinstance(error, DrawerwrightError):
            told = error
        elif isinstance(error, SoftTimeLimitExceeded):
            told = JobTooLong(limit=f"{self.settings.job_seconds} s")
        return Outcome.FAILED if self.records.fail(claim, told.problem()) else Outcome.LOST

    def _store(self, claim: Claim, result: JobResult) -> list[StoredFile]:
        """Store what belongs to this job alone; return all its files."""
        own = [
            self._put(claim.job_id, MANIFEST_NAME, JSON_TYPE, result.manifest),
            self._put(claim.job_id, BUNDLE_NAME, ZIP_TYPE, result.bundle),
        ]
        return [*result.files, *own]

    def _put(self, job_id: str, name: str, media_type: str, data: bytes) -> StoredFile:
        checksum = sha256(data).hexdigest()
        key = f"jobs/{job_id}/{checksum[:16]}-{name}"
        self.blobs.put(key, data)
        return StoredFile(name, media_type, len(data), checksum, key)
