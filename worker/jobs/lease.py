"""The lease on a job: signs of life while it is built, and the news that it is not ours any more."""

import logging
from threading import Event, Thread
from typing import Self

from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.job import Progress
from worker.jobs.records import Claim, Records

_log = logging.getLogger(__name__)


class Lease:
    """Extends a claim in the background until it is left; `lost` says that the job was cancelled or taken over."""

    def __init__(self, records: Records, claim: Claim, seconds: float) -> None:
        """Keep the claim, whose lease was just given for this long."""
        self._records = records
        self._claim = claim
        self._seconds = seconds
        self._lost = Event()
        self._left = Event()
        self._thread = Thread(target=self._beat, name=f"lease of {claim.job_id}", daemon=True)

    def __enter__(self) -> Self:
        """Begin to give signs of life."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self._left.set()
        self._thread.join()

    def lost(self) -> bool:
        """Say whether the claim no longer holds, as far as is known."""
        return self._lost.is_set()

    def report(self, progress: Progress) -> None:
        """Write progress."""
        if not self._records.report(self._claim, progress):
            self._lost.set()

    def _beat(self) -> None:
        while not self._left.wait(self._seconds / 3.0):
            try:
                if not self._records.extend(self._claim, lease_seconds=self._seconds):
                    self._lost.set()
                    return
            except SQLAlchemyError as error:  # the next beat tries again; in the end the lease runs out
                _log.warning("No sign of life for job %s: %s", self._claim.job_id, type(error).__name__)
