"""The lease on a running job: renews it while the job runs, and interrupts the attempt when it must stop."""

import logging
from collections.abc import Callable
from threading import Event, Thread
from time import monotonic
from typing import Final, Self

from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.execution.interruption import Interruption, StopReason
from worker.jobs.records.jobs import JobClaim, JobRecords
from worker.jobs.records.models import Progress

_log = logging.getLogger(__name__)

#: Seconds between two checks: a cancelled job stops within about this time.
_POLL_SECONDS: Final = 0.5


class JobLease:
    """Renews a claim in a background thread, and interrupts the attempt when it must stop.

    It must stop when the job was cancelled or taken over, when the attempt reaches its time limit, and when the worker
    shuts down and its grace period is over.
    """

    def __init__(
        self,
        records: JobRecords,
        claim: JobClaim,
        seconds: float,
        *,
        time_limit: float = float("inf"),
        grace_seconds: float = 0.0,
        closing: Callable[[], bool] = lambda: False,
        beat: Callable[[], None] = lambda: None,
    ) -> None:
        """Prepare to renew a claim whose lease has just begun.

        Args:
            records: the job records.
            claim: the claim.
            seconds: the lease's length.
            time_limit: seconds that the attempt may take.
            grace_seconds: seconds that the attempt gets once the worker shuts down.
            closing: returns whether the worker shuts down.
            beat: records a heartbeat of the worker, whenever the lease is renewed.
        """
        self.interruption = Interruption()
        #: Whether renewing the lease has failed, so that its loss does not count as an attempt of the job.
        self.renewal_failed = False
        self._records = records
        self._claim = claim
        self._seconds = seconds
        self._deadline = monotonic() + time_limit
        self._grace_seconds = grace_seconds
        self._closing = closing
        self._beat = beat
        self._released = Event()
        self._thread = Thread(target=self._watch, name=f"lease of {claim.job_id}", daemon=True)

    def __enter__(self) -> Self:
        """Start renewing the lease."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop renewing it."""
        self._released.set()
        self._thread.join()

    def lost(self) -> bool:
        """Return whether the claim no longer holds, as of the last check.

        Raises:
            Interrupted: if the attempt must stop for another reason.
        """
        if self.interruption.reason is StopReason.LEASE_LOST:
            return True
        self.interruption.check()
        return False

    def report(self, progress: Progress) -> None:
        """Record progress."""
        if not self._records.report(self._claim, progress):
            self.interruption.request(StopReason.LEASE_LOST)

    def _watch(self) -> None:
        renewed = monotonic()
        pause = min(_POLL_SECONDS, self._seconds / 3.0)
        while not self._released.wait(pause):
            now = monotonic()
            reason = self._reason(now)
            try:
                if now - renewed >= self._seconds / 3.0:
                    holds = self._records.extend(self._claim, lease_seconds=self._seconds)
                    renewed = now
                    self._beat()
                else:
                    holds = self._records.holds(self._claim)
                reason = reason if holds else StopReason.LEASE_LOST
            except SQLAlchemyError as error:  # the next check retries; if all fail, the lease expires
                self.renewal_failed = True
                _log.warning("Cannot renew the lease of job %s: %s", self._claim.job_id, type(error).__name__)
            if reason is not None and not self._released.is_set():
                self.interruption.request(reason)

    def _reason(self, now: float) -> StopReason | None:
        """Return why the attempt must stop, other than for the loss of its lease; None if it may go on."""
        if self._closing():
            self._deadline = min(self._deadline, now + self._grace_seconds)
            return StopReason.SHUTDOWN if now >= self._deadline else None
        return StopReason.TIMEOUT if now >= self._deadline else None
