"""Building: one attempt at one job, from the claim to its end in the record. Every way in which it can go is here."""

import logging
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from enum import Enum, auto
from typing import Protocol

from billiard.exceptions import SoftTimeLimitExceeded
from obstore.exceptions import BaseError as StoreError
from sqlalchemy.exc import DBAPIError

from worker.jobs.common.errors import InternalError, JobCancelled, JobTooLarge, JobTooLong
from worker.jobs.common.settings import Settings
from worker.jobs.execution.helpers import HelpRequest, SendHelpRequests
from worker.jobs.execution.interruption import Interrupted, StopReason
from worker.jobs.execution.job_lease import JobLease
from worker.jobs.execution.pipeline import JobResult, run_pipeline
from worker.jobs.execution.shared_part_cache import SharedPartCache
from worker.jobs.execution.transient_errors import TRANSIENT_ERRORS
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.part_cache import PartCache, StoredPartCache
from worker.jobs.files.stored_files import store_file
from worker.jobs.observability.tracing import StepSpans
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.jobs import JobClaim, JobRecords
from worker.jobs.records.models import BUNDLE_NAME, MANIFEST_NAME, Progress, StoredFile
from worker.layout.model.plan import Plan
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError
from worker.spec.manifest import JSON_TYPE, ZIP_TYPE

_log = logging.getLogger(__name__)


class JobOutcome(Enum):
    """How an attempt went."""

    SUCCEEDED = auto()
    FAILED = auto()
    #: Cancelled or taken over while it ran.
    LOST = auto()
    #: Put back into the queue.
    RELEASED = auto()
    #: Put back because this worker ends; it was no attempt.
    HANDED_BACK = auto()
    #: As above, and this very process was told to end.
    TERMINATED = auto()
    #: Nothing to do: the job has ended, or somebody else has it.
    NOT_OURS = auto()


class Pipeline(Protocol):
    """`run_pipeline`, or what stands in for it."""

    def __call__(
        self,
        spec: Spec,
        *,
        part_store: PartCache,
        now: datetime,
        identity: str | None,
        prebuild: Callable[[Spec, Plan], None],
        report: Callable[[Progress], None],
        cancelled: Callable[[], bool],
    ) -> JobResult:
        """Build the job's parts."""


@dataclass(frozen=True, slots=True)
class JobRunner:
    """What an attempt needs."""

    settings: Settings
    records: JobRecords
    blobs: ObjectStore
    pipeline: Pipeline = run_pipeline
    #: Whether this worker ends.
    closing: Callable[[], bool] = lambda: False
    #: Asks other workers for help; left out, an attempt builds all by itself.
    ask: SendHelpRequests = lambda *_: None

    def build(self, job_id: str) -> JobOutcome:
        """Make one attempt at the job, if it is to be had."""
        settings, records = self.settings, self.records
        claim = records.claim(job_id, lease_seconds=settings.lease_seconds, attempts=settings.attempts)
        if claim is None:
            given_up = self._given_up(records.cause(job_id) or "its process was lost")
            if records.give_up(
                job_id,
                attempts=settings.attempts,
                problem=stored_problem(given_up),
                lease_seconds=settings.lease_seconds,
            ):
                _log.error("Job %s was given up.", job_id)
                return JobOutcome.FAILED
            return JobOutcome.NOT_OURS
        _log.info("Job %s, attempt %d.", job_id, claim.attempt)
        if claim.lost_after >= settings.job_seconds:  # it took too long and had to be killed; so would the next
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
            most=settings.job_seconds,
            grace=settings.grace_seconds,
            closing=self.closing,
        )
        try:
            with lease:
                result = self._run(claim, lease)
                files = self._store(claim, result)
            return JobOutcome.SUCCEEDED if self.records.succeed(claim, files) else JobOutcome.LOST
        except JobCancelled:
            return JobOutcome.LOST
        except Interrupted as stop:
            if stop.reason is StopReason.TOO_LONG:
                return self._end(claim, JobTooLong(limit=f"{settings.job_seconds} s"))
            if stop.reason is StopReason.LOST or not self.records.release(claim, counted=False):
                return JobOutcome.LOST
            return JobOutcome.TERMINATED if lease.interruption.terminated else JobOutcome.HANDED_BACK
        except Exception as error:  # noqa: BLE001 - whatever it is, the record says how the job ended
            return self._end(claim, error)

    def _run(self, claim: JobClaim, lease: JobLease) -> JobResult:
        """Run the pipeline so that it can be interrupted wherever it computes."""
        interruption = lease.interruption

        steps = StepSpans()

        def report(progress: Progress) -> None:
            steps.at(progress.now)
            with interruption:
                lease.report(progress)

        fanout = HelpRequest(self.records, self.blobs, claim.job_id, self.settings.helpers, self.ask)

        def prebuild(spec: Spec, plan: Plan) -> None:
            with interruption:
                fanout.call(spec, plan)

        stored = StoredPartCache(self.records, self.blobs)
        # in the job's name: the next attempt does not wait for parts that a lost one was at
        shared = SharedPartCache(stored, self.records.part_claims(claim.job_id), interruption)
        with closing(fanout), closing(steps), shared, interruption.armed():
            return self.pipeline(
                Spec.model_validate_json(claim.spec),
                part_store=shared,
                now=claim.created,
                identity=claim.job_id,
                prebuild=prebuild,
                report=report,
                cancelled=lease.lost,
            )

    def _end(self, claim: JobClaim, error: Exception) -> JobOutcome:
        """End the attempt that this stopped: the job has failed, or may be tried again."""
        expected = isinstance(error, DrawerwrightError | MemoryError)
        _log.warning("Job %s, attempt %d: %r", claim.job_id, claim.attempt, error, exc_info=None if expected else error)
        told: DrawerwrightError = InternalError()
        if isinstance(error, TRANSIENT_ERRORS):
            cause = _cause(error)
            if claim.attempt < self.settings.attempts:
                return JobOutcome.RELEASED if self.records.release(claim, cause) else JobOutcome.LOST
            told = self._given_up(cause)
        elif isinstance(error, DrawerwrightError):
            told = error
        elif isinstance(error, SoftTimeLimitExceeded):
            told = JobTooLong(limit=f"{self.settings.job_seconds} s")
        elif isinstance(error, MemoryError):
            error.__traceback__ = None  # its frames hold what filled the memory
            limit = f"{self.settings.job_memory} bytes" if self.settings.job_memory else None
            told = JobTooLarge(limit=limit, remedy="Ask for fewer drawers, or simpler parts, in one job.")
        return JobOutcome.FAILED if self.records.fail(claim, stored_problem(told)) else JobOutcome.LOST

    def _given_up(self, cause: str) -> InternalError:
        tries = self.settings.attempts
        return InternalError(f"The job was started {tries} times and never came to an end. The last time, {cause}.")

    def _store(self, claim: JobClaim, result: JobResult) -> list[StoredFile]:
        """Store what belongs to this job alone; return all its files."""
        made = [(one.entry.file.name, one.entry.file.media_type, one.data) for one in result.documents]
        made += [(MANIFEST_NAME, JSON_TYPE, result.manifest), (BUNDLE_NAME, ZIP_TYPE, result.bundle)]
        own = [store_file(self.blobs, f"jobs/{claim.job_id}", *one) for one in made]
        return [*result.files, *own]


def _cause(error: Exception) -> str:
    """Say what was away, and nothing of what it was told: a statement or an address may hold secrets."""
    if isinstance(error, DBAPIError):
        return f"the record could not be used ({type(error).__name__})"
    if isinstance(error, StoreError):
        return f"the store of files could not be used ({type(error).__name__})"
    said = error.strerror if isinstance(error, OSError) else None
    return f"a file or a connection could not be used ({said or type(error).__name__})"
