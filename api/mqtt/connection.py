"""A connection to an MQTT 5 broker that reconnects by itself and has a last will of ``offline``."""

import ssl
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Any, Final

import orjson
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from api.mqtt.broker_address import BrokerAddress, Topics
from worker.jobs.common.errors import SettingsError
from worker.spec.manifest import JSON_TYPE

__all__ = ["OFFLINE", "ONLINE", "Connection", "IncomingRequest", "tls_context"]

ONLINE: Final = "online"
OFFLINE: Final = "offline"

#: Keep-alive interval in seconds; a broker closes the connection after 1.5 times that (MQTT 5, 3.1.2.10).
_KEEPALIVE: Final = 30

#: First and longest delay in seconds before a reconnect; each is twice the one before.
_MIN_BACKOFF: Final = 1
_MAX_BACKOFF: Final = 60

#: Seconds to wait for the broker's CONNACK, and for messages in flight at the end.
_CONNECT_TIMEOUT: Final = 10.0
_CLOSE_TIMEOUT: Final = 5.0

#: Most events queued while there is no connection.
_MAX_QUEUED: Final = 1_000

#: Reason codes for which a retry is useless (MQTT 5, 3.2.2.2): protocol version, user name or password, not
#: authorised, banned, authentication method, topic name, retain and QoS not supported.
_PERMANENT: Final = frozenset({0x84, 0x86, 0x87, 0x8A, 0x8C, 0x90, 0x9A, 0x9B})

_AT_LEAST_ONCE: Final = 1


def tls_context(ca_file: str) -> ssl.SSLContext:
    """Return a TLS context that trusts the certificates of a PEM file, or those of the system if the name is empty.

    Raises:
        SettingsError: if the file holds no certificates.
    """
    try:
        return ssl.create_default_context(cafile=ca_file or None)
    except (OSError, ssl.SSLError) as error:
        raise SettingsError(f"{Path(ca_file)} holds no certificates: {error}.", value=ca_file) from None


@dataclass(frozen=True, slots=True)
class IncomingRequest:
    """A message on a subscribed topic, with the response topic and correlation data of MQTT 5 (4.10), if it has any."""

    topic: str
    payload: bytes
    response_topic: str | None
    correlation: bytes | None


class Connection:
    """Publishes messages with QoS 1 (at least once), and receives those of subscribed topics."""

    def __init__(self, address: BrokerAddress, topics: Topics, say: Callable[[str], None]) -> None:
        """Prepare a connection; ``say`` is called with a message when it is established, refused or lost."""
        self._address = address
        self._topics = topics
        self._say = say
        self._answer = Event()
        self._reconnected = Event()
        self._refusal: ReasonCode | None = None
        self._status: str | None = None
        self._subscriptions: dict[str, Callable[[IncomingRequest], None]] = {}
        client = Client(CallbackAPIVersion.VERSION2, client_id="", protocol=MQTTProtocolVersion.MQTTv5)
        client.max_queued_messages_set(_MAX_QUEUED)
        client.reconnect_delay_set(_MIN_BACKOFF, _MAX_BACKOFF)
        client.will_set(topics.status, OFFLINE, _AT_LEAST_ONCE, retain=True)
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        client.on_message = self._received
        self._client = client

    def open(self, username: str = "", password: str = "", tls: ssl.SSLContext | None = None) -> None:
        """Connect, retrying until the broker answers.

        Raises:
            SettingsError: if the broker refuses the connection or its certificate is not trusted.
        """
        if username or password:
            self._client.username_pw_set(username or None, password or None)
        if tls is not None:
            self._client.tls_set_context(tls)
        pause, reported = float(_MIN_BACKOFF), False
        where = f"{self._address.host}:{self._address.port}"
        while True:
            try:
                self._client.connect(self._address.host, self._address.port, _KEEPALIVE, clean_start=True)
                break
            except ssl.SSLCertVerificationError as error:
                remedy = "Give the CA certificate that signed the broker's certificate with --ca-file."
                raise SettingsError(
                    f"The broker's certificate is not trusted: {error.verify_message}.", value=where, remedy=remedy
                ) from None
            except OSError as error:
                if not reported:
                    self._say(f"No broker answers at {where}: {error}. Retrying.")
                reported = True
            time.sleep(pause)
            pause = min(float(_MAX_BACKOFF), 2.0 * pause)
        self._client.loop_start()
        while not self._answer.wait(_CONNECT_TIMEOUT):
            self._say(f"{where} does not respond as an MQTT 5 broker. Retrying.")
        if self._refusal is not None:
            self._client.disconnect()
            self._client.loop_stop()
            remedy = "Check the user name, the password and the broker's access rules."
            raise SettingsError(f"The broker refuses the connection: {self._refusal}.", value=where, remedy=remedy)

    def take_reconnected(self) -> bool:
        """Return whether the connection was established since the last call, so that all states must be published."""
        if not self._reconnected.is_set():
            return False
        self._reconnected.clear()
        self._status = None
        return True

    def publish_status(self, status: str) -> None:
        """Publish whether the service is reachable, if that changed."""
        if status != self._status and self._client.is_connected():
            self._client.publish(self._topics.status, status, _AT_LEAST_ONCE, retain=True)
            self._status = status

    def publish_state(self, topic: str, document: Mapping[str, Any] | str | None, *, seconds: int | None) -> None:
        """Publish a retained state, as JSON or plain text, that expires after ``seconds``; None deletes it.

        Without a connection the call does nothing: after a reconnect all current states are published.
        """
        if document is None or self._client.is_connected():
            self._publish(topic, document, seconds=seconds, retain=True, user=())

    def publish_event(
        self, topic: str, document: Mapping[str, Any], *, seconds: int, user: tuple[tuple[str, str], ...]
    ) -> None:
        """Publish an event that is not retained; without a connection it is queued until it expires."""
        self._publish(topic, document, seconds=seconds, retain=False, user=user)

    def subscribe(self, topic: str, receive: Callable[[IncomingRequest], None]) -> None:
        """Call ``receive`` with each message of a topic, now and after every reconnect; it must return at once."""
        self._subscriptions[topic] = receive
        if self._client.is_connected():
            self._client.subscribe(topic, _AT_LEAST_ONCE)

    def respond(self, request: IncomingRequest, document: Mapping[str, Any], *, seconds: int) -> None:
        """Publish the response to a request that has a response topic."""
        if request.response_topic is not None:
            self._publish(
                request.response_topic,
                document,
                seconds=seconds,
                retain=False,
                user=(),
                correlation=request.correlation,
            )

    def close(self) -> None:
        """Publish ``offline`` and disconnect cleanly, so that the broker does not send the last will."""
        if self._client.is_connected():
            try:
                self._client.publish(self._topics.status, OFFLINE, _AT_LEAST_ONCE, retain=True).wait_for_publish(
                    _CLOSE_TIMEOUT
                )
            except (RuntimeError, ValueError):
                self._say("Could not publish `offline` before disconnecting.")
        self._client.disconnect()
        self._client.loop_stop()

    def _publish(
        self,
        topic: str,
        document: Mapping[str, Any] | str | None,
        *,
        seconds: int | None,
        retain: bool,
        user: tuple[tuple[str, str], ...],
        correlation: bytes | None = None,
    ) -> MQTTMessageInfo:
        if document is None:  # an empty payload deletes the retained message (MQTT 5, 3.3.1.3)
            return self._client.publish(topic, b"", _AT_LEAST_ONCE, retain=True)
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call] # of the library
        properties.PayloadFormatIndicator = 1  # UTF-8
        properties.ContentType = "text/plain" if isinstance(document, str) else JSON_TYPE
        if seconds is not None:
            properties.MessageExpiryInterval = max(1, seconds)
        if user:
            properties.UserProperty = list(user)
        if correlation is not None:
            properties.CorrelationData = correlation
        data = document.encode() if isinstance(document, str) else orjson.dumps(document, option=orjson.OPT_UTC_Z)
        return self._client.publish(topic, data, _AT_LEAST_ONCE, retain, properties)

    def _connected(
        self, _client: Client, _data: Any, _flags: ConnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            if reason.value in _PERMANENT and not self._answer.is_set():
                self._refusal = reason
                self._answer.set()
            self._say(f"The broker refuses the connection: {reason}.")
            return
        for topic in self._subscriptions:
            self._client.subscribe(topic, _AT_LEAST_ONCE)
        self._reconnected.set()
        self._answer.set()
        self._say(f"Connected to {self._address.host}:{self._address.port}.")

    def _disconnected(
        self, _client: Client, _data: Any, _flags: DisconnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            self._say(f"Lost the connection to the broker ({reason}). Reconnecting.")

    def _received(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        receive = self._subscriptions.get(message.topic)
        if receive is None or message.retain:  # an old request is not one of now
            return
        response_topic = getattr(message.properties, "ResponseTopic", None)
        correlation = getattr(message.properties, "CorrelationData", None)
        receive(IncomingRequest(message.topic, bytes(message.payload), response_topic or None, correlation))
