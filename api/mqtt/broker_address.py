"""Where the broker is, and what all topics begin with."""

from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from worker.jobs.common.errors import SettingsError

__all__ = ["BrokerAddress", "Topics"]

#: Ports as registered with IANA (mqtt, secure-mqtt).
_PORTS: Final = {"mqtt": 1883, "mqtts": 8883}

#: Bytes of a topic's beginning; the whole may have 65,535 (MQTT 5, 1.5.4).
_LONGEST: Final = 1_000


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """A broker: host, port, and whether the connection is by TLS."""

    host: str
    port: int
    tls: bool

    @classmethod
    def parse(cls, url: str) -> "BrokerAddress":
        """Read an address such as ``mqtts://host:8883``.

        Raises:
            SettingsError: when it is none, or carries a password, which others could read in the list of processes.
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
            raise SettingsError("The broker's address holds a name or a password.", limit=limit, remedy=remedy)
        if not host or parts.scheme not in _PORTS or parts.path.strip("/") or parts.query or parts.fragment:
            raise SettingsError("The broker has no usable address.", value=url, limit=limit)
        return cls(host, port or _PORTS[parts.scheme], parts.scheme == "mqtts")


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics."""

    root: str

    @classmethod
    def below(cls, root: str) -> "Topics":
        """Return the topics that begin with this.

        Raises:
            SettingsError: when no topic may (MQTT 5, 4.7: no wildcards, no NUL; ``$`` belongs to brokers).
        """
        clean = root.strip("/")
        printable = all(sign.isprintable() for sign in clean)
        if (
            not clean
            or not printable
            or clean.startswith("$")
            or {"+", "#"} & set(clean)
            or len(root.encode()) > _LONGEST
        ):
            raise SettingsError(
                "No topic can begin so.", value=root, limit="levels with / between them, without + and #"
            )
        return cls(clean)

    @property
    def status(self) -> str:
        """Whether there is a service and we see it: online or offline."""
        return f"{self.root}/status"

    @property
    def queue(self) -> str:
        """What is to be printed."""
        return f"{self.root}/queue"

    def state(self, job_id: str) -> str:
        """How far a job is."""
        return f"{self.root}/jobs/{job_id}/state"

    def event(self, job_id: str) -> str:
        """What just happened to a job."""
        return f"{self.root}/jobs/{job_id}/event"
