"""Discovery: messages by which a home automation hub finds the print queue, with its values as plain text.

The form is a convention of such hubs: a retained JSON document on `PREFIX/COMPONENT/NODE/OBJECT/config` describes one
sensor or button, and names the topics of its state or command. Its test holds it to a JSON Schema of our own.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Any, Final

import orjson

from api.documents.jobs import JobDocument
from api.documents.prints import PrintDocument
from api.mqtt.broker_address import Topics
from api.mqtt.connection import OFFLINE, ONLINE, Connection

__all__ = ["Discovery", "Failure", "failures_of"]

#: Payload that stands for an unknown value (the hubs' convention).
_UNKNOWN: Final = "None"

#: Most characters of a state that hubs keep.
_MOST_CHARACTERS: Final = 255

#: Message expiry in seconds of a value; `Publisher` publishes values again before.
_EXPIRY: Final = 3_600

#: What a hub shows: object id, name, unit, device class, state class and icon; None leaves a field out.
_SENSORS: Final[tuple[tuple[str, str, str | None, str | None, str | None, str | None], ...]] = (
    ("runs_left", "Runs left", None, None, "measurement", "mdi:printer-3d"),
    ("next_run", "Next run", None, None, None, "mdi:printer-3d-nozzle"),
    ("next_start", "Next run starts", None, "timestamp", None, None),
    ("filament_left", "Filament left for the next run", "g", "weight", "measurement", None),
    ("last_failure", "Last failure", None, None, None, "mdi:printer-3d-nozzle-alert"),
)
_BUTTON: Final = "run_printed"


@dataclass(frozen=True, slots=True)
class Failure:
    """A failed print or job."""

    at: datetime
    text: str


@dataclass(slots=True)
class Discovery:
    """Announces the print queue below ``prefix``, and publishes its values.

    With ``button`` a button is announced that records the next run as printed: its message names the job and the run,
    so that a press that arrives twice, or late, records no other run.
    """

    connection: Connection
    topics: Topics
    prefix: str
    button: bool = False
    _announced: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    _values: dict[str, str] = field(default_factory=dict)
    _failure: Failure | None = None

    @property
    def node(self) -> str:
        """The id of the device: of the topics' prefix, with letters, digits, hyphens and underscores only."""
        root = self.topics.root
        plain = re.sub(r"[^A-Za-z0-9_-]", "_", root)
        return plain if plain == root else f"{plain}_{sha256(root.encode()).hexdigest()[:6]}"

    def repeat(self) -> None:
        """Publish everything again at the next update, as after a reconnect."""
        self._announced.clear()
        self._values.clear()

    def note_failures(self, failures: Iterable[Failure]) -> None:
        """Remember the latest failure."""
        before = () if self._failure is None else (self._failure,)
        self._failure = max((*before, *failures), key=lambda failure: failure.at, default=None)

    def update(self, queue: Mapping[str, Any], *, again: bool = False) -> None:
        """Publish what has changed.

        Args:
            queue: the print queue, as `queue_document` returns it.
            again: publish all values, before they expire.
        """
        upcoming = queue["next"]
        for topic, config in self._configs(upcoming):
            if self._announced.get(topic) != config:
                self.connection.publish_state(topic, config, seconds=None)
                self._announced[topic] = config
        for name, text in self._texts(queue, upcoming):
            if again or self._values.get(name) != text:
                self.connection.publish_state(self.topics.value(name), text[:_MOST_CHARACTERS], seconds=_EXPIRY)
                self._values[name] = text

    def remove(self) -> None:
        """Delete the announcements from the broker, so that hubs forget the device."""
        for topic, _ in self._configs(None):
            self.connection.publish_state(topic, None, seconds=0)

    def _texts(self, queue: Mapping[str, Any], upcoming: Mapping[str, Any] | None) -> Iterable[tuple[str, str]]:
        yield "runs_left", str(queue["runs_left"])
        yield "next_run", _UNKNOWN if upcoming is None else f"{upcoming['name']}, run {upcoming['run']}"
        begin = None if upcoming is None else upcoming["begin"]
        yield "next_start", _UNKNOWN if begin is None else begin.isoformat()
        left = None if upcoming is None else _filament_left(queue, upcoming)
        yield "filament_left", _UNKNOWN if left is None else f"{left:g}"
        yield "last_failure", _UNKNOWN if self._failure is None else self._failure.text
        if self.button:
            yield _BUTTON, OFFLINE if upcoming is None else ONLINE

    def _configs(self, upcoming: Mapping[str, Any] | None) -> Iterable[tuple[str, Mapping[str, Any]]]:
        """Yield the topics of announcements with their documents."""
        available = {"topic": self.topics.status, "payload_available": ONLINE, "payload_not_available": OFFLINE}
        for name, label, unit, kind, statistic, icon in _SENSORS:
            more = {"unit_of_measurement": unit, "device_class": kind, "state_class": statistic, "icon": icon}
            yield (
                self._topic("sensor", name),
                self._common(name, label)
                | {"state_topic": self.topics.value(name), "availability": [available]}
                | {key: value for key, value in more.items() if value is not None},
            )
        if self.button:
            press = {} if upcoming is None else {"job": upcoming["job"], "run": upcoming["run"]}
            ready = available | {"topic": self.topics.value(_BUTTON)}
            yield (
                self._topic("button", _BUTTON),
                self._common(_BUTTON, "Run printed")
                | {"command_topic": self.topics.record, "payload_press": orjson.dumps(press).decode(), "qos": 1}
                | {"availability": [available, ready], "availability_mode": "all", "icon": "mdi:check"},
            )

    def _topic(self, component: str, name: str) -> str:
        return f"{self.prefix}/{component}/{self.node}/{name}/config"

    def _common(self, name: str, label: str) -> dict[str, Any]:
        device = {"identifiers": [self.node], "name": "Drawerwright"}
        return {"name": label, "unique_id": f"{self.node}_{name}", "object_id": f"{self.node}_{name}", "device": device}


def failures_of(job: JobDocument, events: Iterable[PrintDocument]) -> Iterable[Failure]:
    """Yield the failures of a job: its own, and those of its print events."""
    if job.state == "failed" and job.problem is not None:
        yield Failure(job.finished or job.created, f"{job.name}: {job.problem.detail or job.problem.title}")
    for event in events:
        what = f"run {event.run}" if event.run is not None else f"{event.mark}"
        note = "" if event.note is None else f": {event.note}"
        if event.outcome == "failed":
            yield Failure(event.at, f"{job.name}, {what} failed{note}")
        elif event.failed:
            marks = ", ".join(f"{count} x {mark}" for mark, count in event.failed.items())
            yield Failure(event.at, f"{job.name}, {what}, {marks} failed{note}")


def _filament_left(queue: Mapping[str, Any], upcoming: Mapping[str, Any]) -> float | None:
    """Return the grams that are left of the filament of the next run, None if its job does not know."""
    job = next(job for job in queue["jobs"] if job["job"] == upcoming["job"])
    same = (upcoming["material"], upcoming["colour"])
    return next((entry["left"] for entry in job["filament"] if (entry["material"], entry["colour"]) == same), None)
