"""Polling of a service: what changed since the last poll."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Final

from api.command.service.client import Client, ServiceRefused
from api.documents.jobs import JobDocument
from api.documents.prints import PrintDocument, PrintsDocument, RunsDocument
from worker.jobs.records.models import ENDED

__all__ = ["JobPoller", "PollResult"]

#: Most jobs that are polled, and most of these whose printing progress is polled as well.
_MAX_JOBS: Final = 2_000
_MAX_PRINTING: Final = 50


@dataclass(frozen=True, slots=True)
class PollResult:
    """Differences found by a poll: new or changed jobs, those of them with a new state, and ids of removed jobs."""

    changed: tuple[JobDocument, ...] = ()
    state_changes: tuple[JobDocument, ...] = ()
    removed: tuple[str, ...] = ()


@dataclass(slots=True)
class JobPoller:
    """Polls the jobs of one service, including those that ended within ``retention``."""

    client: Client
    retention: timedelta
    jobs: dict[str, JobDocument] = field(default_factory=dict)
    _last_event: dict[str, int] = field(default_factory=dict)
    _finished: set[str] = field(default_factory=set)
    _first_poll: bool = True

    def poll(self, now: datetime, *, full: bool) -> PollResult:
        """Poll the jobs that can have changed; a ``full`` poll reads all jobs and so detects removed ones as well.

        Raises:
            ServiceRefused, ServiceUnreachable: from the client; the state of the poller is unchanged then.
        """
        open_before = {job.id for job in self.jobs.values() if job.state not in ENDED}
        seen: dict[str, JobDocument] = {}
        complete = True
        for job in islice(self.client.jobs(), _MAX_JOBS):
            if job.state in ENDED and job.created < now - self.retention:
                break
            seen[job.id] = job
            if not full and job.id in self.jobs and job.state in ENDED and open_before <= seen.keys():
                complete = False
                break
        changed = tuple(job for job in reversed(seen.values()) if self.jobs.get(job.id) != job)
        before = {job.id: self.jobs[job.id].state if job.id in self.jobs else None for job in changed}
        state_changes = () if self._first_poll else tuple(job for job in changed if before[job.id] != job.state)
        removed = tuple(job_id for job_id in self.jobs if job_id not in seen) if complete else ()
        self.jobs |= seen
        for job_id in removed:
            del self.jobs[job_id]
            self._last_event.pop(job_id, None)
            self._finished.discard(job_id)
        self._first_poll = False
        return PollResult(changed, state_changes, removed)

    def prints(self) -> Iterator[tuple[JobDocument, PrintsDocument, tuple[PrintDocument, ...]]]:
        """Yield the newest jobs with pieces left to print, their progress, and the print events since the last poll.

        Raises:
            ServiceRefused, ServiceUnreachable: from the client.
        """
        for job in self._printable():
            try:
                document = self.client.prints(job.id)
            except ServiceRefused as refused:
                if not refused.is_client_error or refused.retryable:
                    raise
                self._finished.add(job.id)  # without runs or removed: later polls would return the same
                continue
            newest = max((event.number for event in document.events), default=0)
            last = self._last_event.get(job.id)
            unseen = () if last is None else tuple(event for event in reversed(document.events) if event.number > last)
            self._last_event[job.id] = newest
            if document.done:
                self._finished.add(job.id)
            yield job, document, unseen

    def runs(self) -> Iterator[tuple[JobDocument, RunsDocument]]:
        """Yield the same jobs with their remaining runs, oldest first.

        Raises:
            ServiceRefused, ServiceUnreachable: from the client.
        """
        for job in self._printable():
            try:
                document = self.client.runs(job.id)
            except ServiceRefused as refused:
                if not refused.is_client_error or refused.retryable:
                    raise
                continue
            if not document.done:
                yield job, document

    def _printable(self) -> list[JobDocument]:
        succeeded = [job for job in self.jobs.values() if job.state == "succeeded" and job.id not in self._finished]
        return sorted(succeeded, key=lambda job: job.id)[-_MAX_PRINTING:]
