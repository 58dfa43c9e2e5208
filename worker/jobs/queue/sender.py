"""The sender: puts the messages of tasks into the broker's queue, many with one command, over a connection that stays.

A message is what Celery itself sends (a test holds the two equal). Celery's own way makes a client of the broker for
each one, which takes longer than to keep the job.
"""

from base64 import b64encode
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from threading import Lock
from typing import Any, Final
from uuid import uuid4

import orjson
from celery import Celery
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.queue.celery_app import QUEUE

__all__ = ["BROKER_FAULTS", "Sender"]

#: What sending raises when the broker is away.
BROKER_FAULTS: Final[tuple[type[Exception], ...]] = (OperationalError, RedisError, OSError)

#: What comes after the arguments in a message's body: no keywords, nothing to be called later.
_AFTER: Final[tuple[dict[str, None], ...]] = ({}, {"callbacks": None, "errbacks": None, "chain": None, "chord": None})

#: How long a persistent message is kept by the broker, in the words of AMQP: over a restart.
_PERSISTENT: Final = 2


class Sender:
    """Sends tasks by name, each with one identity as its argument. Safe to use from several threads."""

    def __init__(self, app: Celery) -> None:
        """Send to this app's broker, which is not needed yet."""
        self._app = app
        self._lock = Lock()
        self._connection: Any = None
        self._forms: dict[str, Any] = {}

    def send(self, task: str, about: Iterable[tuple[str, Mapping[str, str]]], *, first: bool = False) -> None:
        """Send the task for each of these identities, with these headers: all in one step, or none.

        Those that are to be ``first`` are taken up before all that wait already, in their order.

        Raises:
            BrokerUnavailable: when the broker does not answer; it may have taken them all the same.
        """
        messages = [self._message(task, identity, headers) for identity, headers in about]
        if not messages:
            return
        with self._client() as client:
            # workers take from the right
            if first:
                client.rpush(QUEUE, *reversed(messages))
            else:
                client.lpush(QUEUE, *messages)

    def length(self) -> int:
        """Return how many messages wait.

        Raises:
            BrokerUnavailable: when the broker does not answer.
        """
        with self._client() as client:
            return int(client.llen(QUEUE))

    @contextmanager
    def _client(self) -> Iterator[Any]:
        try:
            with self._lock:
                if self._connection is None:
                    self._connection = self._app.connection_for_write()
                client = self._connection.default_channel.client
            yield client
        except BROKER_FAULTS as error:
            self.close()
            raise BrokerUnavailable(value=type(error).__name__) from error

    def close(self) -> None:
        """Give back the connection; the next message opens another."""
        with self._lock:
            connection, self._connection = self._connection, None
        if connection is not None:
            connection.close()

    def _message(self, task: str, identity: str, headers: Mapping[str, str]) -> bytes:
        """Return a message of protocol 2 of Celery, in the form in which kombu keeps it in a list."""
        if (form := self._forms.get(task)) is None:
            form = self._forms[task] = self._app.amqp.as_task_v2("", task, ignore_result=None)
        name = str(uuid4())
        own = {"id": name, "root_id": name, "argsrepr": repr([identity])}
        properties: dict[str, Any] = {
            **form.properties,
            "correlation_id": name,
            "delivery_mode": _PERSISTENT,
            "delivery_info": {"exchange": "", "routing_key": QUEUE},
            "priority": 0,
            "body_encoding": "base64",
            "delivery_tag": str(uuid4()),
        }
        return orjson.dumps(
            {
                "body": b64encode(orjson.dumps([[identity], *_AFTER])).decode(),
                "content-encoding": "utf-8",
                "content-type": "application/json",
                "headers": {**form.headers, **own, **headers},
                "properties": properties,
            }
        )
