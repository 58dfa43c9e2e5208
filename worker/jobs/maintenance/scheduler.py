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
_NAME: Final = "upkeep"

#: Seconds of the lease at least: the leader renews it every five.
_MIN_LEASE_SECONDS: Final = 6.0


class MaintenanceScheduler:
    """One process's share of maintenance: publishes waiting jobs again, removes deleted jobs and orphaned files."""

    def __init__(self, settings: Settings, database: Engine, blobs: ObjectStore, requeue: Callable[[], int]) -> None:
        """Maintain this database and store; ``requeue`` publishes waiting jobs again and returns how many."""
        self._settings = settings
        self._lease = LeaderLease(database, _NAME, max(settings.lease_seconds, _MIN_LEASE_SECONDS))
        self._deletion = JobDeletion(database, blobs)
        self._sweep = OrphanSweep(database, blobs, settings.orphan_seconds)
        self._requeue = requeue
        self._lock = Lock()
        self._resigned = False
        self._next = 0.0

    def run(self) -> int | None:
        """Do what is due, if this process is the leader; return how many jobs were published again, else None.

        Raises:
            BrokerUnavailable: when the broker does not answer; all else was done.
            DBAPIError: when the database is unavailable.
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
        """Leave maintenance to other processes, at once and for good."""
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
