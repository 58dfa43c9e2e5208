"""Fan-out: workers with nothing to do help with a large job.

The attempt at the job builds its parts from the first on. Helpers get the others in pieces, beginning at the other end,
and put what they build into the store that the attempt looks into before each part. The attempt never needs them:
messages and helpers that are lost cost time and nothing else.
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

#: Fewest parts to be built for which help is asked, and fewest for one helper.
_LEAST: Final = 8
_PIECE: Final = 4

#: Sends one message: the job, the key of what is to be built, and the first and the last of these parts.
SendHelpRequests: TypeAlias = Callable[[str, str, Sequence[tuple[int, int]]], None]


@dataclass(frozen=True, slots=True)
class _Order:
    """What helpers need: the spec for its printers, and the parts, without what they were made from."""

    spec: Spec
    parts: tuple[Part, ...]


_ORDER: Final = TypeAdapter(_Order)


class HelpRequest:
    """One attempt's call for help."""

    def __init__(
        self, records: JobRecords, blobs: ObjectStore, job_id: str, helpers: int, ask: SendHelpRequests
    ) -> None:
        """Ask at most so many helpers."""
        self._records = records
        self._blobs = blobs
        self._job_id = job_id
        self._helpers = helpers
        self._ask = ask
        self._key: str | None = None

    def call(self, spec: Spec, plan: Plan) -> None:
        """Ask for help where many parts of the plan are not there yet.

        Raises:
            DBAPIError, BaseError of the store: when one is away.
        """
        known = self._records.known_parts([digest(part.shape) for part in plan.parts])
        missing = [part for part in plan.parts if (digest(part.shape), part_limits(spec, part)) not in known]
        pieces = min(self._helpers, len(missing) // _PIECE)
        if len(missing) < _LEAST or pieces == 0:
            return
        data = _ORDER.dump_json(_Order(spec, tuple(replace(part, tray=None) for part in missing)))
        self._key = f"jobs/{self._job_id}/{sha256(data).hexdigest()[:16]}-order.json"
        self._blobs.put(self._key, data)
        ends = [len(missing) * number // pieces for number in range(pieces + 1)]
        self._ask(self._job_id, self._key, [(ends[at], ends[at + 1] - 1) for at in reversed(range(pieces))])

    def close(self) -> None:
        """Remove what was only for the helpers; what cannot be removed is the sweep's."""
        if self._key is not None:
            with suppress(StoreError, OSError):
                self._blobs.delete(self._key)


def build_for_job(
    records: JobRecords, blobs: ObjectStore, job_id: str, key: str, ends: tuple[int, int], *, stop: Callable[[], bool]
) -> int:
    """Build parts of a job that somebody else is at, from the last of these to the first; return how many.

    It ends when the job does, when ``stop`` says so, or when a part does not pass: the attempt finds out itself.
    """
    if not _runs(records, job_id):
        return 0
    try:
        order = _ORDER.validate_json(blobs.get(key))
    except BlobMissing:  # the job has just ended
        return 0
    count = 0
    with SharedPartCache(StoredPartCache(records, blobs), records.part_claims()) as store:
        for part in reversed(order.parts[ends[0] : ends[1] + 1]):
            if stop() or not _runs(records, job_id):
                break
            if store.missing(digest(part.shape), part_limits(order.spec, part)):
                try:
                    build_part(part, order.spec.printer_of(part.kind), _Claimed(store))
                except CheckFailed as error:
                    _log.warning("Job %s: %s", job_id, error)
                    break
                count += 1
    return count


class _Claimed:
    """The store for a part that was not there and is claimed."""

    def __init__(self, store: SharedPartCache) -> None:
        self._store = store

    def find(self, digest: str, limits: str) -> BuiltPart | None:  # noqa: ARG002 - the form of a store
        """Return None: it was looked for."""
        return None

    def keep(self, part: BuiltPart) -> None:
        """Keep the part."""
        self._store.keep(part)


def _runs(records: JobRecords, job_id: str) -> bool:
    job = records.job(job_id)
    return job is not None and job.state == "running"
