"""The broker's address and the topic names."""

from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from worker.jobs.common.errors import SettingsError

__all__ = ["BrokerAddress", "Topics"]

#: Ports as registered with IANA (mqtt, secure-mqtt).
_PORTS: Final = {"mqtt": 1883, "mqtts": 8883}

#: Most bytes of the topic prefix; a whole topic may have 65,535 (MQTT 5, 1.5.4).
_MAX_PREFIX_BYTES: Final = 1_000


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """Host and port of a broker, and whether to connect with TLS."""

    host: str
    port: int
    tls: bool

    @classmethod
    def parse(cls, url: str) -> "BrokerAddress":
        """Parse an address such as ``mqtts://host:8883``.

        Raises:
            SettingsError: if it is invalid, or holds a password, which other users could read in the process list.
        """
        limit = "mqtts://host:8883 or mqtt://host:1883"
        try:
            parts = urlsplit(url)
            host, port = parts.hostname, parts.port
        except ValueError:
            host, port = None, None
            parts = urlsplit("")
        if parts.username is not None or parts.password is not None:
            remedy = "Set DRAWERWRIGHT_MQTT_USERNAME and _PASSWORD, or put both into the configuration file."
            raise SettingsError("The broker's address contains a user name or password.", limit=limit, remedy=remedy)
        if not host or parts.scheme not in _PORTS or parts.path.strip("/") or parts.query or parts.fragment:
            raise SettingsError(
                "The broker's address is invalid.", value=url, limit=limit, remedy="Set it with --broker."
            )
        return cls(host, port or _PORTS[parts.scheme], parts.scheme == "mqtts")


@dataclass(frozen=True, slots=True)
class Topics:
    """Names of all topics below one prefix."""

    root: str

    @classmethod
    def below(cls, root: str) -> "Topics":
        """Return the topics with the prefix ``root``.

        Raises:
            SettingsError: if the prefix is invalid (MQTT 5, 4.7: no wildcards, no NUL; ``$`` is reserved for brokers).
        """
        clean = root.strip("/")
        printable = all(sign.isprintable() for sign in clean)
        if (
            not clean
            or not printable
            or clean.startswith("$")
            or {"+", "#"} & set(clean)
            or len(root.encode()) > _MAX_PREFIX_BYTES
        ):
            raise SettingsError(
                "The topic prefix is invalid.",
                value=root,
                limit=f"levels separated by /, without + and #, not starting with $, at most {_MAX_PREFIX_BYTES} bytes",
                remedy="Set it with --topic.",
            )
        return cls(clean)

    @property
    def status(self) -> str:
        """Topic of the status: ``online`` or ``offline``."""
        return f"{self.root}/status"

    @property
    def queue(self) -> str:
        """Topic of the print queue."""
        return f"{self.root}/queue"

    @property
    def where(self) -> str:
        """Topic of requests where a thing lies."""
        return f"{self.root}/where"

    @property
    def record(self) -> str:
        """Topic of requests to record a run as printed."""
        return f"{self.root}/record"

    def value(self, name: str) -> str:
        """Topic of a single value, as plain text."""
        return f"{self.root}/values/{name}"

    def state(self, job_id: str) -> str:
        """Topic of a job's state."""
        return f"{self.root}/jobs/{job_id}/state"

    def event(self, job_id: str) -> str:
        """Topic of a job's events."""
        return f"{self.root}/jobs/{job_id}/event"

    def batch_event(self, batch_id: str) -> str:
        """Topic of a batch's events."""
        return f"{self.root}/batches/{batch_id}/event"

    def silhouette_state(self, silhouette_id: str) -> str:
        """Topic of a silhouette's state."""
        return f"{self.root}/silhouettes/{silhouette_id}/state"

    def silhouette_event(self, silhouette_id: str) -> str:
        """Topic of a silhouette's events."""
        return f"{self.root}/silhouettes/{silhouette_id}/event"
