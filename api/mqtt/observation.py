"""What changed in a service since the last look."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Final

from api.command.service.client import Client, ServiceRefused
from api.documents.jobs import JobDocument
from api.documents.prints import PrintDocument, PrintsDocument, RunsDocument
from worker.jobs.records.models import ENDED

__all__ = ["Looked", "Observer"]

#: Jobs that are watched, and of these the ones whose printing is.
_MOST: Final = 2_000
_PRINTED: Final = 50


@dataclass(frozen=True, slots=True)
class Looked:
    """What a look brought: jobs that are new or changed, jobs that are gone, and whether each change is an event."""

    changed: tuple[JobDocument, ...] = ()
    happened: tuple[JobDocument, ...] = ()
    gone: tuple[str, ...] = ()


@dataclass(slots=True)
class Observer:
    """Looks at the jobs of one service, as far back as ``keep``."""

    client: Client
    keep: timedelta
    jobs: dict[str, JobDocument] = field(default_factory=dict)
    _last: dict[str, int] = field(default_factory=dict)
    _settled: set[str] = field(default_factory=set)
    _first: bool = True

    def look(self, now: datetime, *, thorough: bool) -> Looked:
        """Look at jobs: at those that can have changed or, when ``thorough``, at all, and so find removed ones too.

        Raises:
            ServiceRefused, ServiceUnreachable: as the client does; nothing is forgotten then.
        """
        open_before = {job.id for job in self.jobs.values() if job.state not in ENDED}
        seen: dict[str, JobDocument] = {}
        complete = True
        for job in islice(self.client.jobs(), _MOST):
            if job.state in ENDED and job.created < now - self.keep:
                break
            seen[job.id] = job
            if not thorough and job.id in self.jobs and job.state in ENDED and open_before <= seen.keys():
                complete = False
                break
        changed = tuple(job for job in reversed(seen.values()) if self.jobs.get(job.id) != job)
        before = {job.id: self.jobs[job.id].state if job.id in self.jobs else None for job in changed}
        happened = () if self._first else tuple(job for job in changed if before[job.id] != job.state)
        gone = tuple(one for one in self.jobs if one not in seen) if complete else ()
        self.jobs |= seen
        for one in gone:
            del self.jobs[one]
            self._last.pop(one, None)
            self._settled.discard(one)
        self._first = False
        return Looked(changed, happened, gone)

    def prints(self) -> Iterator[tuple[JobDocument, PrintsDocument, tuple[PrintDocument, ...]]]:
        """Give the printing of the newest jobs that are not printed yet, each with the events since the last look.

        Raises:
            ServiceRefused, ServiceUnreachable: as the client does.
        """
        for job in self._printable():
            try:
                document = self.client.prints(job.id)
            except ServiceRefused as refused:
                if not refused.callers_fault or refused.passing:
                    raise
                self._settled.add(job.id)  # it has no runs, or is gone: no later look will tell more
                continue
            newest = max((event.number for event in document.events), default=0)
            known = self._last.get(job.id)
            fresh = () if known is None else tuple(one for one in reversed(document.events) if one.number > known)
            self._last[job.id] = newest
            if document.done:
                self._settled.add(job.id)
            yield job, document, fresh

    def runs(self) -> Iterator[tuple[JobDocument, RunsDocument]]:
        """Give what remains of these jobs, oldest first.

        Raises:
            ServiceRefused, ServiceUnreachable: as the client does.
        """
        for job in self._printable():
            try:
                document = self.client.runs(job.id)
            except ServiceRefused as refused:
                if not refused.callers_fault or refused.passing:
                    raise
                continue
            if not document.done:
                yield job, document

    def _printable(self) -> list[JobDocument]:
        found = [job for job in self.jobs.values() if job.state == "succeeded" and job.id not in self._settled]
        return sorted(found, key=lambda job: job.id)[-_PRINTED:]
