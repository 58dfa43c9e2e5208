"""The lease on a job: signs of life while it is built, and the news that the attempt is to stop."""

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

#: Seconds between two looks: a cancelled job stops within this time and the time that the news takes to arrive.
_LOOK: Final = 0.5


class JobLease:
    """Extends a claim in the background until it is left, and asks the attempt to stop where there is a reason.

    Reasons are: the job was cancelled or taken over; the attempt takes too long; the worker ends and the time of grace
    is over.
    """

    def __init__(
        self,
        records: JobRecords,
        claim: JobClaim,
        seconds: float,
        *,
        most: float = float("inf"),
        grace: float = 0.0,
        closing: Callable[[], bool] = lambda: False,
    ) -> None:
        """Keep the claim, whose lease was just given for this long.

        Args:
            records: has the claim.
            claim: the claim.
            seconds: the lease's length.
            most: seconds that the attempt may take.
            grace: seconds that the attempt gets once the worker ends.
            closing: whether the worker ends.
        """
        self.interruption = Interruption()
        self._records = records
        self._claim = claim
        self._seconds = seconds
        self._until = monotonic() + most
        self._grace = grace
        self._closing = closing
        self._left = Event()
        self._thread = Thread(target=self._watch, name=f"lease of {claim.job_id}", daemon=True)

    def __enter__(self) -> Self:
        """Begin to give signs of life."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self._left.set()
        self._thread.join()

    def lost(self) -> bool:
        """Say whether the claim no longer holds, as far as is known.

        Raises:
            Interrupted: when the attempt is to stop for another reason.
        """
        if self.interruption.reason is StopReason.LOST:
            return True
        self.interruption.check()
        return False

    def report(self, progress: Progress) -> None:
        """Write progress."""
        if not self._records.report(self._claim, progress):
            self.interruption.ask(StopReason.LOST)

    def _watch(self) -> None:
        extended = monotonic()
        pause = min(_LOOK, self._seconds / 3.0)
        while not self._left.wait(pause):
            now = monotonic()
            reason = self._reason(now)
            try:
                if now - extended >= self._seconds / 3.0:
                    holds = self._records.extend(self._claim, lease_seconds=self._seconds)
                    extended = now
                else:
                    holds = self._records.holds(self._claim)
                reason = reason if holds else StopReason.LOST
            except SQLAlchemyError as error:  # the next look tries again; in the end the lease runs out
                _log.warning("No sign of life for job %s: %s", self._claim.job_id, type(error).__name__)
            if reason is not None and not self._left.is_set():
                self.interruption.ask(reason)

    def _reason(self, now: float) -> StopReason | None:
        """Return why the attempt is to stop, beside the loss of the claim."""
        if self._closing():
            self._until = min(self._until, now + self._grace)
            return StopReason.HANDED_BACK if now >= self._until else None
        return StopReason.TOO_LONG if now >= self._until else None
