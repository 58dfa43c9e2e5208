"""Requests over MQTT 5: answers questions such as where a thing lies, and records runs as printed.

An answer is published on the response topic of its request.
"""

import logging
import queue
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from threading import Thread
from typing import Any, Final

import orjson

from api.command.service.client import Client, ServiceRefused, ServiceUnreachable
from api.mqtt.broker_address import Topics
from api.mqtt.connection import Connection, IncomingRequest
from worker.spec.primitives.names import ID_PATTERN

__all__ = ["Responder", "query_of", "run_of"]

_log = logging.getLogger(__name__)

#: Most requests that wait; further ones are dropped, as requesters have long given up by then.
_MAX_WAITING: Final = 100

#: Longest request in bytes, and most things in an answer.
_MAX_BYTES: Final = 1_024
_MAX_THINGS: Final = 5

#: Message expiry in seconds of an answer.
_EXPIRY: Final = 60


@dataclass(slots=True)
class Responder:
    """Answers requests one after another in a thread of its own.

    With ``recorded`` requests to record a run as printed are answered too; it is called after each that was recorded.
    """

    client: Client
    connection: Connection
    topics: Topics
    recorded: Callable[[], None] | None = None
    _waiting: "queue.Queue[IncomingRequest | None]" = field(default_factory=lambda: queue.Queue(_MAX_WAITING))
    _thread: Thread | None = None

    def start(self) -> None:
        """Subscribe to the topics of requests, and answer them from now on."""
        self.connection.subscribe(self.topics.where, self._receive)
        if self.recorded is not None:
            self.connection.subscribe(self.topics.record, self._receive)
        self._thread = Thread(target=self._run, name="mqtt-responder", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop after the request that is being answered."""
        while True:
            try:
                self._waiting.put_nowait(None)
                break
            except queue.Full:
                self._waiting.get_nowait()
        if self._thread is not None:
            self._thread.join()

    def _receive(self, request: IncomingRequest) -> None:
        try:
            self._waiting.put_nowait(request)
        except queue.Full:
            _log.warning("Too many requests are waiting; one on %s was dropped.", request.topic)

    def _run(self) -> None:
        while (request := self._waiting.get()) is not None:
            if request.topic == self.topics.record:
                document = self._record(request.payload)
            elif request.response_topic is not None:
                document = _answer(request.payload, self._where)
            else:
                continue  # nobody would hear the answer
            self.connection.respond(request, document, seconds=_EXPIRY)

    def _record(self, payload: bytes) -> Mapping[str, Any]:
        """Record a run as printed; the same run is recorded once, however often the request arrives."""
        named = run_of(payload)
        if named is None:
            problem = {"title": "The request names no run.", "limit": '{"job": "ID", "run": 3}'}
            return {"problem": problem}
        job_id, run = named
        event = {"outcome": "printed", "run": run, "id": f"mqtt-{job_id}-{run}"}
        try:
            document = self.client.record(job_id, orjson.dumps(event))
        except ServiceRefused as refused:
            _log.warning("Run %d of job %s was not recorded as printed: %s", run, job_id, refused)
            return {"problem": refused.problem}
        except ServiceUnreachable as error:
            _log.warning("Run %d of job %s was not recorded as printed: %s", run, job_id, error)
            return {"problem": {"title": "The service does not answer.", "detail": str(error)}}
        if self.recorded is not None:
            self.recorded()
        return {"printed": document.model_dump(mode="json")}

    def _where(self, query: str) -> Mapping[str, Any]:
        things = self.client.search(query, _MAX_THINGS)
        sentences = [thing.match.sentence for thing in things if thing.match is not None]
        sentence = sentences[0] if sentences else f"Nothing matches {query}."
        return {"sentence": sentence, "things": [thing.model_dump(mode="json") for thing in things]}


def query_of(payload: bytes) -> str | None:
    """Return the query of a request: plain text, or the field `q` of a JSON object; None if it has none."""
    if len(payload) > _MAX_BYTES:
        return None
    try:
        document: Any = orjson.loads(payload)
    except orjson.JSONDecodeError:
        document = payload.decode(errors="replace")
    if isinstance(document, dict):
        document = document.get("q")
    text = str(document).strip() if isinstance(document, str | int | float) else ""
    return text[:200] or None


def run_of(payload: bytes) -> tuple[str, int] | None:
    """Return the id of the job and the number of the run that a request names; None if it names none."""
    if len(payload) > _MAX_BYTES:
        return None
    try:
        document: Any = orjson.loads(payload)
    except orjson.JSONDecodeError:
        return None
    if not isinstance(document, dict):
        return None
    job_id, run = document.get("job"), document.get("run")
    if not isinstance(job_id, str) or not re.fullmatch(ID_PATTERN, job_id) or type(run) is not int or run < 1:
        return None
    return job_id, run


def _answer(payload: bytes, where: Callable[[str], Mapping[str, Any]]) -> Mapping[str, Any]:
    """Return the answer to a request, or the problem with it."""
    query = query_of(payload)
    if query is None:
        return {
            "problem": {"title": "The request has no query.", "limit": f'text or {{"q": text}}, {_MAX_BYTES} bytes'}
        }
    try:
        return where(query)
    except ServiceRefused as refused:
        return {"problem": refused.problem}
    except ServiceUnreachable as error:
        return {"problem": {"title": "The service does not answer.", "detail": str(error)}}
