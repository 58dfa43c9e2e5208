"""The maintenance scheduler: periodic work that one process, the leader, does for all."""

import logging
import time
from collections.abc import Callable
from threading import Lock
from typing import Final

from sqlalchemy import Engine

from worker.jobs.common.settings import Settings
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.jobs.maintenance.leader_lease import LeaderLease
from worker.jobs.maintenance.orphan_sweep import STORAGE_ERRORS, OrphanSweep, SweepPosition

__all__ = ["MaintenanceScheduler"]

_log = logging.getLogger(__name__)

#: The name of the leader lease.
_NAME: Final = "maintenance"

#: Minimum length of the lease in seconds; the leader renews it every five.
_MIN_LEASE_SECONDS: Final = 6.0


class MaintenanceScheduler:
    """Does the maintenance if its process is the leader: republishes waiting jobs, purges deleted jobs and orphans."""

    def __init__(self, settings: Settings, database: Engine, blobs: ObjectStore, requeue: Callable[[], int]) -> None:
        """Maintain this database and store; ``requeue`` republishes waiting jobs and returns their number."""
        self._settings = settings
        self._lease = LeaderLease(database, _NAME, max(settings.lease_seconds, _MIN_LEASE_SECONDS))
        self._deletion = JobDeletion(database, blobs)
        self._sweep = OrphanSweep(database, blobs, settings.orphan_seconds)
        self._requeue = requeue
        self._lock = Lock()
        self._resigned = False
        self._next = 0.0

    def run(self) -> int | None:
        """Do due maintenance if this process is the leader; return the number of republished jobs, otherwise None.

        Raises:
            BrokerUnavailable: if the broker does not respond; all other maintenance was done.
            DBAPIError: if the database is unavailable.
        """
        with self._lock:  # a run that began before `resign` must not acquire the lease again
            if self._resigned or not self._lease.acquire():
                return None
        try:
            return self._requeue()
        finally:
            if time.monotonic() >= self._next:
                self._next = time.monotonic() + self._settings.sweep_seconds
                self._sweep_once()

    def resign(self) -> None:
        """Release the lease and do no more maintenance in this process."""
        with self._lock:
            self._resigned = True
            self._lease.release()

    def _sweep_once(self) -> None:
        try:
            self._deletion.run(self._settings.retention_days)
            position, _ = self._sweep.run(SweepPosition.read(self._lease.cursor()))
            self._lease.save_cursor(position.write())
        except STORAGE_ERRORS as error:
            _log.warning("The orphan sweep was interrupted and resumes later: %s", type(error).__name__)
