"""A connection to a broker: it comes back by itself, and its last will says that we are gone."""

import ssl
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Event
from typing import Any, Final

import orjson
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from api.mqtt.broker_address import BrokerAddress, Topics
from worker.jobs.common.errors import SettingsError
from worker.spec.manifest.manifest import JSON_TYPE

__all__ = ["OFFLINE", "ONLINE", "Connection", "trusting"]

ONLINE: Final = "online"
OFFLINE: Final = "offline"

#: Seconds between two signs of life; a broker gives up after one and a half times that (MQTT 5, 3.1.2.10).
_KEEPALIVE: Final = 30

#: Seconds before another try: the first, and the longest, each twice the one before.
_SHORTEST: Final = 1
_LONGEST: Final = 60

#: Seconds for the broker's answer, and for what is under way when we end.
_PATIENCE: Final = 10.0
_FAREWELL: Final = 5.0

#: Events kept while there is no connection.
_MOST: Final = 1_000

#: Answers that another try does not better (MQTT 5, 3.2.2.2): version, name or password, not authorised, banned,
#: method, topic, retaining, quality of service.
_FINAL: Final = frozenset({0x84, 0x86, 0x87, 0x8A, 0x8C, 0x90, 0x9A, 0x9B})

_AT_LEAST_ONCE: Final = 1


def trusting(ca_file: str) -> ssl.SSLContext:
    """Return what a TLS connection is checked by: these certificates, or the usual ones.

    Raises:
        SettingsError: when the file holds none.
    """
    try:
        return ssl.create_default_context(cafile=ca_file or None)
    except (OSError, ssl.SSLError) as error:
        raise SettingsError(f"{Path(ca_file)} holds no certificates: {error}.", value=ca_file) from None


class Connection:
    """Publishes, each message at least once."""

    def __init__(self, address: BrokerAddress, topics: Topics, say: Callable[[str], None]) -> None:
        """Be ready to connect; ``say`` is told when the connection comes and goes."""
        self._address = address
        self._topics = topics
        self._say = say
        self._answer = Event()
        self._fresh = Event()
        self._refusal: ReasonCode | None = None
        self._status: str | None = None
        client = Client(CallbackAPIVersion.VERSION2, client_id="", protocol=MQTTProtocolVersion.MQTTv5)
        client.max_queued_messages_set(_MOST)
        client.reconnect_delay_set(_SHORTEST, _LONGEST)
        client.will_set(topics.status, OFFLINE, _AT_LEAST_ONCE, retain=True)
        client.on_connect = self._connected
        client.on_disconnect = self._disconnected
        self._client = client

    def open(self, username: str = "", password: str = "", tls: ssl.SSLContext | None = None) -> None:
        """Connect, for as long as it takes.

        Raises:
            SettingsError: when the broker refuses us, or is not who it should be.
        """
        if username or password:
            self._client.username_pw_set(username or None, password or None)
        if tls is not None:
            self._client.tls_set_context(tls)
        pause, told = float(_SHORTEST), False
        where = f"{self._address.host}:{self._address.port}"
        while True:
            try:
                self._client.connect(self._address.host, self._address.port, _KEEPALIVE, clean_start=True)
                break
            except ssl.SSLCertVerificationError as error:
                remedy = "Name the file of the certificates that it is signed by: --ca-file"
                raise SettingsError(
                    f"The broker is not trusted: {error.verify_message}.", value=where, remedy=remedy
                ) from None
            except OSError as error:
                if not told:
                    self._say(f"No broker answers at {where}: {error}. Trying on.")
                told = True
            time.sleep(pause)
            pause = min(float(_LONGEST), 2.0 * pause)
        self._client.loop_start()
        while not self._answer.wait(_PATIENCE):
            self._say(f"{where} does not answer as a broker of MQTT 5 does. Trying on.")
        if self._refusal is not None:
            self._client.disconnect()
            self._client.loop_stop()
            remedy = "Look at name and password, and at what the broker allows."
            raise SettingsError(f"The broker refuses: {self._refusal}.", value=where, remedy=remedy)

    @property
    def fresh(self) -> bool:
        """Whether the connection is a new one, to whose broker nothing was told yet; asked once, it is no more."""
        if not self._fresh.is_set():
            return False
        self._fresh.clear()
        self._status = None
        return True

    def status(self, status: str) -> None:
        """Say whether there is a service, if that is not what was said last."""
        if status != self._status and self._client.is_connected():
            self._client.publish(self._topics.status, status, _AT_LEAST_ONCE, retain=True)
            self._status = status

    def keep(self, topic: str, document: Mapping[str, Any] | None, *, seconds: int) -> None:
        """Put a state in place of the one before, for this long; None takes it away.

        Without a connection it is left out: with a new one every state that there is then is told anew.
        """
        if document is None or self._client.is_connected():
            self._publish(topic, document, seconds=seconds, retain=True, user=())

    def tell(self, topic: str, document: Mapping[str, Any], *, seconds: int, user: tuple[tuple[str, str], ...]) -> None:
        """Tell what happened, now or, for as long as it is worth telling, as soon as there is a connection."""
        self._publish(topic, document, seconds=seconds, retain=False, user=user)

    def close(self) -> None:
        """Say that we go, and go; the last will is not needed then."""
        if self._client.is_connected():
            try:
                self._client.publish(self._topics.status, OFFLINE, _AT_LEAST_ONCE, retain=True).wait_for_publish(
                    _FAREWELL
                )
            except (RuntimeError, ValueError):
                self._say("The broker could not be told that we go.")
        self._client.disconnect()
        self._client.loop_stop()

    def _publish(
        self,
        topic: str,
        document: Mapping[str, Any] | None,
        *,
        seconds: int,
        retain: bool,
        user: tuple[tuple[str, str], ...],
    ) -> MQTTMessageInfo:
        if document is None:  # an empty message takes a retained one away (MQTT 5, 3.3.1.3)
            return self._client.publish(topic, b"", _AT_LEAST_ONCE, retain=True)
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call] # of the library
        properties.PayloadFormatIndicator = 1  # UTF-8
        properties.ContentType = JSON_TYPE
        properties.MessageExpiryInterval = max(1, seconds)
        if user:
            properties.UserProperty = list(user)
        data = orjson.dumps(document, option=orjson.OPT_UTC_Z)
        return self._client.publish(topic, data, _AT_LEAST_ONCE, retain, properties)

    def _connected(
        self, _client: Client, _data: Any, _flags: ConnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            if reason.value in _FINAL and not self._answer.is_set():
                self._refusal = reason
                self._answer.set()
            self._say(f"The broker refuses: {reason}.")
            return
        self._fresh.set()
        self._answer.set()
        self._say(f"Connected to {self._address.host}:{self._address.port}.")

    def _disconnected(
        self, _client: Client, _data: Any, _flags: DisconnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            self._say(f"The connection to the broker is lost ({reason}). Trying on.")
