"""The MQTT publisher: polls a service and publishes its jobs, silhouettes, events, and print queue."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from api.command.service.client import ServiceRefused, ServiceUnreachable
from api.documents.jobs import JobDocument
from api.documents.silhouettes import SilhouetteDocument, SilhouetteOverview, event_of
from api.mqtt.batch_poller import BatchPoller
from api.mqtt.broker_address import Topics
from api.mqtt.connection import OFFLINE, ONLINE, Connection
from api.mqtt.discovery import Discovery, failures_of
from api.mqtt.job_poller import JobPoller
from api.mqtt.queue_document import queue_document
from api.mqtt.silhouette_poller import SilhouettePoller
from worker.jobs.records.models import ENDED

__all__ = ["Publisher"]

#: Seconds between two polls of the printing progress, of all jobs, and of the queue, whose dates move with the clock.
_PRINTS_INTERVAL: Final = 10.0
_FULL_INTERVAL: Final = 300.0
_QUEUE_INTERVAL: Final = 900.0

#: Message expiry in seconds of a state that will change, and the interval of its republication: a broker drops the
#: retained state within an hour if the publisher is killed.
_STATE_EXPIRY: Final = 3_600
_REPUBLISH_INTERVAL: Final = 1_200.0

#: Message expiry in seconds of an event.
_EVENT_EXPIRY: Final = 3_600

#: Upper limit in seconds of the backoff while the service does not answer.
_MAX_BACKOFF: Final = 30.0


@dataclass(slots=True)
class Publisher:
    """Publishes what one service does to one broker, polling ``every`` seconds; ``say`` prints a message.

    With ``discovery`` the print queue is announced to home automation hubs too.
    """

    poller: JobPoller
    batch_poller: BatchPoller
    silhouette_poller: SilhouettePoller
    connection: Connection
    topics: Topics
    every: float
    say: Callable[[str], None]
    discovery: Discovery | None = None
    _due: dict[str, float] = field(default_factory=dict)
    _failures: int = 0
    _republish: bool = False

    def run(self) -> None:
        """Publish until interrupted.

        Raises:
            ServiceRefused: if the service does not permit reading.
        """
        while True:
            pause = self.every
            try:
                self.step(datetime.now(UTC))
                if self._failures:
                    self.say("Reconnected to the service.")
                self._failures = 0
            except ServiceUnreachable as error:
                pause = self._record_failure(str(error))
            except ServiceRefused as refused:
                if refused.is_client_error and not refused.retryable:
                    raise
                pause = max(self._record_failure(str(refused)), refused.retry_after or 0.0)
            time.sleep(pause)

    def poll_prints_soon(self) -> None:
        """Poll the printing progress at the next step, as an event was just recorded; any thread may call it."""
        self._due.pop("prints", None)

    def step(self, now: datetime) -> None:
        """Poll once and publish the changes."""
        if self.connection.take_reconnected() or self._republish:
            self._republish = False
            for job in self.poller.jobs.values():
                self._publish_state(job, now)
            for silhouette in self.silhouette_poller.recent.values():
                self._publish_silhouette_state(silhouette)
            self._due.clear()
            if self.discovery is not None:
                self.discovery.repeat()
        changes = self.poller.poll(now, full=self._is_due("all", _FULL_INTERVAL))
        self.connection.publish_status(ONLINE)
        for job_id in changes.removed:
            self.connection.publish_state(self.topics.state(job_id), None, seconds=0)
        republish = self._is_due("republish", _REPUBLISH_INTERVAL)
        lasting = [job for job in self.poller.jobs.values() if republish and job.state not in ENDED]
        for job in {job.id: job for job in (*lasting, *changes.changed)}.values():
            self._publish_state(job, now)
        if self.discovery is not None:
            for job in changes.changed:
                self.discovery.note_failures(failures_of(job, ()))
        for job in changes.state_changes:
            self._publish_event(f"job.{job.state}", job, now)
        self._publish_batches(now)
        self._publish_silhouettes(now)
        self._publish_prints(
            now, changed=bool(changes.removed) or any(job.state in ("succeeded", "failed") for job in changes.changed)
        )

    def _publish_batches(self, now: datetime) -> None:
        for batch in self.batch_poller.poll(now):
            document = {
                "type": "batch.ended",
                "timestamp": batch.finished,
                "data": batch.model_dump(mode="json", exclude={"entries"}),
            }
            topic, user = self.topics.batch_event(batch.id), (("type", "batch.ended"), ("batch", batch.id))
            self.connection.publish_event(topic, document, seconds=_EVENT_EXPIRY, user=user)

    def _publish_silhouettes(self, now: datetime) -> None:
        for silhouette in self.silhouette_poller.poll(now):
            self._publish_silhouette_state(silhouette)
            kind = f"silhouette.{event_of(silhouette)}"
            document = {"type": kind, "timestamp": silhouette.updated, "data": _overview(silhouette)}
            topic, user = self.topics.silhouette_event(silhouette.id), (("type", kind), ("silhouette", silhouette.id))
            self.connection.publish_event(topic, document, seconds=_EVENT_EXPIRY, user=user)

    def _publish_silhouette_state(self, silhouette: SilhouetteDocument) -> None:
        topic = self.topics.silhouette_state(silhouette.id)
        self.connection.publish_state(topic, _overview(silhouette), seconds=_STATE_EXPIRY)

    def _publish_prints(self, now: datetime, *, changed: bool) -> None:
        if changed or self._is_due("prints", _PRINTS_INTERVAL):
            for job, progress, events in self.poller.prints():
                if self.discovery is not None:
                    self.discovery.note_failures(failures_of(job, progress.events))
                changed = changed or bool(events)
                for event in events:
                    self._publish_event("job.printed", job, event.at, printed=event.model_dump(mode="json"))
        again = self._is_due("queue", _QUEUE_INTERVAL)
        if again or changed:
            document = queue_document(self.poller.runs(), now)
            self.connection.publish_state(self.topics.queue, document, seconds=_STATE_EXPIRY)
            if self.discovery is not None:
                self.discovery.update(document, again=again)

    def _publish_state(self, job: JobDocument, now: datetime) -> None:
        seconds = _STATE_EXPIRY
        if job.state in ENDED:
            seconds = int((job.created + self.poller.retention - now + timedelta(seconds=1)).total_seconds())
        self.connection.publish_state(self.topics.state(job.id), job.model_dump(mode="json"), seconds=seconds)

    def _publish_event(self, kind: str, job: JobDocument, when: datetime, **more: Any) -> None:
        """Publish an event in the form of the service's webhook messages."""
        document = {"type": kind, "timestamp": when, "data": {**job.model_dump(mode="json"), **more}}
        user = (("type", kind), ("job", job.id))
        self.connection.publish_event(self.topics.event(job.id), document, seconds=_EVENT_EXPIRY, user=user)

    def _record_failure(self, why: str) -> float:
        if not self._failures:
            self.say(f"{why} Retrying.")
        self._republish = self.connection.take_reconnected() or self._republish
        self.connection.publish_status(OFFLINE)
        self._failures += 1
        return min(_MAX_BACKOFF, self.every * 2.0 ** min(self._failures, 10))

    def _is_due(self, what: str, seconds: float) -> bool:
        """Return whether this many seconds have passed since the named task was last due."""
        now = time.monotonic()
        if now < self._due.get(what, 0.0):
            return False
        self._due[what] = now + seconds
        return True


def _overview(silhouette: SilhouetteDocument) -> dict[str, Any]:
    """Return a silhouette without its outline, as webhooks have it."""
    return silhouette.model_dump(mode="json", include=set(SilhouetteOverview.model_fields))
