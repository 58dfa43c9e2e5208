"""Helpers: idle workers build parts of a large job for the worker that runs it.

The attempt at the job builds its parts from the first on. Helpers get the others in ranges, from the last on, and keep
what they build in the part cache, where the attempt looks before each part. The attempt never depends on them: a
message or a helper that is lost costs time and nothing else.
"""

import logging
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Final, TypeAlias

from obstore.exceptions import BaseError as StoreError
from pydantic import TypeAdapter

from worker.jobs.common.errors import BlobMissing
from worker.jobs.execution.pipeline import build_part, part_limits
from worker.jobs.execution.shared_part_cache import SharedPartCache
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.part_cache import BuiltPart, StoredPartCache
from worker.jobs.records.jobs import JobRecords
from worker.layout.model.plan import Plan
from worker.layout.model.shapes import Part
from worker.solids import digest
from worker.spec import Spec
from worker.spec.errors import CheckFailed

__all__ = ["HelpRequest", "SendHelpRequests", "build_for_job"]

_log = logging.getLogger(__name__)

#: Fewest missing parts for which help is requested, and fewest for one helper.
_MIN_PARTS: Final = 8
_MIN_RANGE: Final = 4

#: Publishes requests: the job, the key of the stored order, and for each helper its first and last part.
SendHelpRequests: TypeAlias = Callable[[str, str, Sequence[tuple[int, int]]], None]


@dataclass(frozen=True, slots=True)
class _Order:
    """What helpers need: the spec for its printers, and the parts without the trays that they come from."""

    spec: Spec
    parts: tuple[Part, ...]


_ORDER: Final = TypeAdapter(_Order)


class HelpRequest:
    """One attempt's request for help to other workers."""

    def __init__(
        self, records: JobRecords, blobs: ObjectStore, job_id: str, helpers: int, ask: SendHelpRequests
    ) -> None:
        """Request help from at most ``helpers`` workers, through ``ask``."""
        self._records = records
        self._blobs = blobs
        self._job_id = job_id
        self._helpers = helpers
        self._ask = ask
        self._key: str | None = None

    def publish(self, spec: Spec, plan: Plan) -> None:
        """Request help when many parts of the plan are not in the cache.

        Raises:
            DBAPIError, obstore BaseError: when the database or the object store is unavailable.
        """
        cached = self._records.cached_parts([digest(part.shape) for part in plan.parts])
        missing = [part for part in plan.parts if (digest(part.shape), part_limits(spec, part)) not in cached]
        ranges = min(self._helpers, len(missing) // _MIN_RANGE)
        if len(missing) < _MIN_PARTS or ranges == 0:
            return
        data = _ORDER.dump_json(_Order(spec, tuple(replace(part, tray=None) for part in missing)))
        self._key = f"jobs/{self._job_id}/{sha256(data).hexdigest()[:16]}-order.json"
        self._blobs.put(self._key, data)
        starts = [len(missing) * number // ranges for number in range(ranges + 1)]
        self._ask(self._job_id, self._key, [(starts[at], starts[at + 1] - 1) for at in reversed(range(ranges))])

    def close(self) -> None:
        """Delete the stored order; what cannot be deleted now is left to the orphan sweep."""
        if self._key is not None:
            with suppress(StoreError, OSError):
                self._blobs.delete(self._key)


def build_for_job(
    records: JobRecords, blobs: ObjectStore, job_id: str, key: str, ends: tuple[int, int], *, stop: Callable[[], bool]
) -> int:
    """Build parts of a job that another process runs, from the last of the range to the first; return how many.

    It ends with the job, when ``stop`` returns true, or when a part fails its checks: the attempt will fail on it.
    """
    if not _is_running(records, job_id):
        return 0
    try:
        order = _ORDER.validate_json(blobs.get(key))
    except BlobMissing:  # the job has just ended
        return 0
    count = 0
    with SharedPartCache(StoredPartCache(records, blobs), records.part_locks()) as store:
        for part in reversed(order.parts[ends[0] : ends[1] + 1]):
            if stop() or not _is_running(records, job_id):
                break
            if store.missing(digest(part.shape), part_limits(order.spec, part)):
                try:
                    build_part(part, order.spec.printer_of(part.kind), _LockedPart(store))
                except CheckFailed as error:
                    _log.warning("Job %s: %s", job_id, error)
                    break
                count += 1
    return count


class _LockedPart:
    """The cache for one part that is missing and locked."""

    def __init__(self, store: SharedPartCache) -> None:
        self._store = store

    def find(self, digest: str, limits: str) -> BuiltPart | None:  # noqa: ARG002 - the protocol's signature
        """Return None: `SharedPartCache.missing` has looked."""
        return None

    def keep(self, part: BuiltPart) -> None:
        """Keep the part."""
        self._store.keep(part)


def _is_running(records: JobRecords, job_id: str) -> bool:
    job = records.job(job_id)
    return job is not None and job.state == "running"
