"""Upkeep: what somebody has to do from time to time for all, and one leader does."""

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

#: The name of the right to do it.
_NAME: Final = "upkeep"

#: Seconds for which a leader may be silent at least: it looks in every five.
_SILENCE: Final = 6.0


class MaintenanceScheduler:
    """One process's part in it: jobs that wait are sent again, removed jobs and orphaned files go."""

    def __init__(self, settings: Settings, database: Engine, blobs: ObjectStore, requeue: Callable[[], int]) -> None:
        """Use these; ``requeue`` sends jobs again and returns how many."""
        self._settings = settings
        self._leader = LeaderLease(database, _NAME, max(settings.lease_seconds, _SILENCE))
        self._deletion = JobDeletion(database, blobs)
        self._sweep = OrphanSweep(database, blobs, settings.orphan_seconds)
        self._requeue = requeue
        self._lock = Lock()
        self._resigned = False
        self._next = 0.0

    def run(self) -> int | None:
        """Do what is due, if this process leads; return how many jobs were sent again, or None when another leads.

        Raises:
            BrokerUnavailable: when the broker does not answer; all else was done.
            DBAPIError: when the record is away.
        """
        with self._lock:  # a look that began before the end shall not take again what was just given up
            if self._resigned or not self._leader.leads():
                return None
        try:
            return self._requeue()
        finally:
            if time.monotonic() >= self._next:
                self._next = time.monotonic() + self._settings.sweep_seconds
                self._sweep_once()

    def resign(self) -> None:
        """Leave the upkeep to others at once, and for good."""
        with self._lock:
            self._resigned = True
            self._leader.resign()

    def _sweep_once(self) -> None:
        try:
            self._deletion.run(self._settings.retention_days)
            place, _ = self._sweep.run(SweepPosition.read(self._leader.place()))
            self._leader.note(place.write())
        except STORAGE_ERRORS as error:
            _log.warning("The sweep goes on later: %s", type(error).__name__)
