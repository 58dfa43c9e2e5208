"""The job runner: makes one attempt at a job, from the claim to the recorded outcome."""

import logging
import time
from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Protocol

from billiard.exceptions import SoftTimeLimitExceeded
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.common.backoff import Backoff
from worker.jobs.common.errors import InternalError, JobCancelled, JobTooLarge, JobTooLong
from worker.jobs.common.settings import Settings
from worker.jobs.execution.interruption import Interrupted, StopReason
from worker.jobs.execution.job_lease import JobLease
from worker.jobs.execution.job_outcome import JobOutcome
from worker.jobs.execution.pipeline import JobResult, run_pipeline
from worker.jobs.execution.shared_part_cache import SharedPartCache
from worker.jobs.execution.transient_errors import TRANSIENT_ERRORS, cause_of, is_outage
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.part_cache import PartCache, StoredPartCache
from worker.jobs.files.stored_files import store_file
from worker.jobs.household.drawer_pages import drawer_pages
from worker.jobs.observability.tracing import StepSpans
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.jobs import JobClaim, JobRecords
from worker.jobs.records.models import BUNDLE_NAME, MANIFEST_NAME, Progress, StoredFile
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError
from worker.spec.manifest import JSON_TYPE, ZIP_TYPE

_log = logging.getLogger(__name__)

#: Delays of a job after an outage; the longest limits how late it starts once the outage is over.
_OUTAGE_BACKOFF: Final = Backoff(first=1.0, factor=2.0, longest=60.0)

#: Pauses between attempts to reach the database during its outage.
_DATABASE_BACKOFF: Final = Backoff(first=0.25, factor=2.0, longest=2.0)


class Pipeline(Protocol):
    """The signature of `run_pipeline`, which tests replace."""

    def __call__(
        self,
        spec: Spec,
        *,
        part_store: PartCache,
        now: datetime,
        identity: str | None,
        report: Callable[[Progress], None],
        cancelled: Callable[[], bool],
        drawer_pages: Mapping[str, str],
    ) -> JobResult:
        """Run a job's spec; see `run_pipeline`."""


@dataclass(frozen=True, slots=True)
class JobRunner:
    """Runs jobs: claims a job, runs the pipeline and records the outcome."""

    settings: Settings
    records: JobRecords
    blobs: ObjectStore
    pipeline: Pipeline = run_pipeline
    #: Returns whether this worker shuts down.
    closing: Callable[[], bool] = lambda: False
    #: Records a heartbeat of this worker.
    beat: Callable[[], None] = lambda: None

    def run(self, job_id: str) -> JobOutcome:
        """Make one attempt at the job if it can be claimed."""
        settings, records = self.settings, self.records
        claim = records.claim(job_id, lease_seconds=settings.lease_seconds, attempts=settings.attempts)
        if claim is None:
            exhausted = self._exhausted(records.cause(job_id) or "its process was lost")
            if records.give_up(
                job_id,
                attempts=settings.attempts,
                problem=stored_problem(exhausted),
                lease_seconds=settings.lease_seconds,
            ):
                _log.error("Job %s failed after its last attempt was lost.", job_id)
                return JobOutcome.FAILED
            return JobOutcome.NOT_CLAIMED
        _log.info("Job %s, attempt %d.", job_id, claim.attempt)
        if claim.outages:
            try:
                self.blobs.check()  # before the job is computed in vain because the store is still unavailable
            except TRANSIENT_ERRORS as error:
                return self._end(claim, error)
        if claim.lost_after >= settings.job_seconds:  # the process was killed at the time limit, as a retry would be
            return self._end(claim, JobTooLong(limit=f"{settings.job_seconds} s"))
        outcome = self._attempt(claim)
        _log.info("Job %s: %s.", job_id, outcome.name.lower())
        return outcome

    def _attempt(self, claim: JobClaim) -> JobOutcome:
        settings = self.settings
        lease = JobLease(
            self.records,
            claim,
            settings.lease_seconds,
            time_limit=settings.job_seconds,
            grace_seconds=settings.grace_seconds,
            closing=self.closing,
            beat=self.beat,
        )
        try:
            with lease:
                result = self._run(claim, lease)
                files = self._store(claim, result)
            return JobOutcome.SUCCEEDED if self.records.succeed(claim, files) else JobOutcome.LEASE_LOST
        except JobCancelled:
            return self._lost(claim, lease)
        except Interrupted as stop:
            if stop.reason is StopReason.TIMEOUT:
                return self._end(claim, JobTooLong(limit=f"{settings.job_seconds} s"))
            if stop.reason is StopReason.LEASE_LOST or not self.records.release(claim, counted=False):
                return self._lost(claim, lease)
            return JobOutcome.TERMINATED if lease.interruption.terminated else JobOutcome.SHUTDOWN
        except Exception as error:  # noqa: BLE001 - whatever it is, the record says how the job ended
            return self._end(claim, error)

    def _run(self, claim: JobClaim, lease: JobLease) -> JobResult:
        """Run the pipeline such that it can be interrupted while it computes."""
        interruption = lease.interruption
        steps = StepSpans()

        def report(progress: Progress) -> None:
            steps.at(progress.now)
            with interruption:
                lease.report(progress)

        stored = StoredPartCache(self.records, self.blobs)
        # the job holds the locks, so a retry does not wait for those of a lost attempt
        shared = SharedPartCache(stored, self.records.part_locks(claim.job_id), interruption)
        with closing(steps), shared, interruption.armed():
            spec = Spec.model_validate_json(claim.spec)
            return self.pipeline(
                spec,
                part_store=shared,
                now=claim.created,
                identity=claim.job_id,
                report=report,
                cancelled=lease.lost,
                drawer_pages=drawer_pages(self.settings.public_url, spec),
            )

    def _end(self, claim: JobClaim, error: Exception) -> JobOutcome:
        """End an attempt that raised this error: defer, retry or fail the job."""
        expected = isinstance(error, DrawerwrightError | MemoryError)
        _log.warning("Job %s, attempt %d: %r", claim.job_id, claim.attempt, error, exc_info=None if expected else error)
        reported: DrawerwrightError = InternalError()
        if is_outage(error):
            return self._defer(claim, cause_of(error))
        if isinstance(error, TRANSIENT_ERRORS):
            cause = cause_of(error)
            if claim.attempt < self.settings.attempts:
                return JobOutcome.RETRY if self.records.release(claim, cause) else JobOutcome.LEASE_LOST
            reported = self._exhausted(cause)
        elif isinstance(error, DrawerwrightError):
            reported = error
        elif isinstance(error, SoftTimeLimitExceeded):
            reported = JobTooLong(limit=f"{self.settings.job_seconds} s")
        elif isinstance(error, MemoryError):
            error.__traceback__ = None  # its frames hold the objects that filled the memory
            limit = f"{self.settings.job_memory} bytes" if self.settings.job_memory else None
            reported = JobTooLarge(limit=limit, remedy="Submit fewer drawers, or simpler parts, in one job.")
        return JobOutcome.FAILED if self.records.fail(claim, stored_problem(reported)) else JobOutcome.LEASE_LOST

    def _defer(self, claim: JobClaim, cause: str) -> JobOutcome:
        """Defer the job after an outage, retrying until the database records it; the attempt does not count."""
        seconds = _OUTAGE_BACKOFF.after(claim.outages + 1)
        checks = 0
        while True:
            try:
                if self.records.defer(claim, cause, seconds):
                    _log.warning("Job %s waits for %.0f s: %s.", claim.job_id, seconds, cause)
                    return JobOutcome.DEFERRED
                self.records.refund(claim.job_id)
            except SQLAlchemyError:
                if self.closing():
                    raise
                checks += 1
                time.sleep(_DATABASE_BACKOFF.after(checks))
            else:
                return JobOutcome.LEASE_LOST

    def _lost(self, claim: JobClaim, lease: JobLease) -> JobOutcome:
        """End an attempt whose lease was lost; it does not count if an outage of the database was the cause."""
        if lease.renewal_failed:
            self.records.refund(claim.job_id)
        return JobOutcome.LEASE_LOST

    def _exhausted(self, cause: str) -> InternalError:
        attempts = self.settings.attempts
        return InternalError(f"The job did not finish in {attempts} attempts. In the last one, {cause}.")

    def _store(self, claim: JobClaim, result: JobResult) -> list[StoredFile]:
        """Store the files that are not parts; return all files of the job."""
        files = [(item.entry.file.name, item.entry.file.media_type, item.data) for item in result.documents]
        files += [(MANIFEST_NAME, JSON_TYPE, result.manifest), (BUNDLE_NAME, ZIP_TYPE, result.bundle)]
        stored = [store_file(self.blobs, f"jobs/{claim.job_id}", *file) for file in files]
        return [*result.files, *stored]
