"""The publisher: looks at a service again and again, and tells a broker what it sees."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from api.command.service.client import ServiceRefused, ServiceUnreachable
from api.documents.jobs import JobDocument
from api.mqtt.broker_address import Topics
from api.mqtt.connection import OFFLINE, ONLINE, Connection
from api.mqtt.observation import Observer
from api.mqtt.queue_document import queue_document
from worker.jobs.records.models import ENDED

__all__ = ["Publisher"]

#: Seconds between two looks at what is printed, at all jobs, and at the dates of the queue, which move by themselves.
_PRINTS: Final = 10.0
_ALL: Final = 300.0
_DATES: Final = 900.0

#: Seconds that a state lasts which is to change, and after which it is said anew: who reads it after we were killed
#: should not take it for the present for long.
_LASTS: Final = 3_600
_AGAIN: Final = 1_200.0

#: Seconds that an event is worth telling late.
_NEWS: Final = 3_600

#: Seconds before another look at a service that does not answer, at most.
_PATIENCE: Final = 30.0


@dataclass(slots=True)
class Publisher:
    """Tells one broker of one service."""

    observer: Observer
    connection: Connection
    topics: Topics
    every: float
    say: Callable[[str], None]
    _due: dict[str, float] = field(default_factory=dict)
    _failures: int = 0
    _anew: bool = False

    def run(self) -> None:
        """Go on until interrupted.

        Raises:
            ServiceRefused: when the service does not let us read.
        """
        while True:
            pause = self.every
            try:
                self.step(datetime.now(UTC))
                if self._failures:
                    self.say("The service answers again.")
                self._failures = 0
            except ServiceUnreachable as error:
                pause = self._missed(str(error))
            except ServiceRefused as refused:
                if refused.callers_fault and not refused.passing:
                    raise
                pause = max(self._missed(str(refused)), refused.retry_after or 0.0)
            time.sleep(pause)

    def step(self, now: datetime) -> None:
        """Look once, and tell."""
        if self.connection.fresh or self._anew:
            self._anew = False
            for job in self.observer.jobs.values():
                self._keep(job, now)
            self._due.clear()
        looked = self.observer.look(now, thorough=self._is_due("all", _ALL))
        self.connection.status(ONLINE)
        for one in looked.gone:
            self.connection.keep(self.topics.state(one), None, seconds=0)
        again = self._is_due("again", _AGAIN)
        lasting = [job for job in self.observer.jobs.values() if again and job.state not in ENDED]
        for job in {job.id: job for job in (*lasting, *looked.changed)}.values():
            self._keep(job, now)
        for job in looked.happened:
            self._tell(f"job.{job.state}", job, now)
        self._printing(now, changed=bool(looked.gone) or any(job.state == "succeeded" for job in looked.changed))

    def _printing(self, now: datetime, *, changed: bool) -> None:
        if changed or self._is_due("prints", _PRINTS):
            for job, _, events in self.observer.prints():
                changed = changed or bool(events)
                for event in events:
                    self._tell("job.printed", job, event.at, printed=event.model_dump(mode="json"))
        if self._is_due("dates", _DATES) or changed:
            document = queue_document(self.observer.runs(), now)
            self.connection.keep(self.topics.queue, document, seconds=_LASTS)

    def _keep(self, job: JobDocument, now: datetime) -> None:
        seconds = _LASTS
        if job.state in ENDED:
            seconds = int((job.created + self.observer.keep - now + timedelta(seconds=1)).total_seconds())
        self.connection.keep(self.topics.state(job.id), job.model_dump(mode="json"), seconds=seconds)

    def _tell(self, kind: str, job: JobDocument, when: datetime, **more: Any) -> None:
        """Tell of an event, in the form of the service's messages to webhooks."""
        document = {"type": kind, "timestamp": when, "data": {**job.model_dump(mode="json"), **more}}
        user = (("type", kind), ("job", job.id))
        self.connection.tell(self.topics.event(job.id), document, seconds=_NEWS, user=user)

    def _missed(self, why: str) -> float:
        if not self._failures:
            self.say(f"{why} Trying on.")
        self._anew = self.connection.fresh or self._anew
        self.connection.status(OFFLINE)
        self._failures += 1
        return min(_PATIENCE, self.every * 2.0 ** min(self._failures, 10))

    def _is_due(self, what: str, seconds: float) -> bool:
        """Return whether these seconds have gone by since it was due last."""
        now = time.monotonic()
        if now < self._due.get(what, 0.0):
            return False
        self._due[what] = now + seconds
        return True
