"""Settings: the only place that reads the environment."""

import os
import sys
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, Final, Literal
from urllib.parse import quote

from pydantic import AfterValidator, Field, SecretStr, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from worker.jobs.common.config_file import read_config_file
from worker.jobs.common.errors import SettingsError

__all__ = ["Settings"]

#: Longest path of a Unix socket: 104 bytes on macOS, 108 on Linux, the closing zero included (sys/un.h).
_LONGEST_SOCKET: Final = 100

_PREFIX: Final = "DRAWERWRIGHT_"


def _data_home() -> Path:
    """Return where this platform keeps an application's data."""
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "Drawerwright"
    home = os.environ.get("XDG_DATA_HOME", "")  # XDG Base Directory Specification: a relative path is ignored
    return (Path(home) if home.startswith("/") else Path.home() / ".local" / "share") / "drawerwright"


def _configuration() -> Path | None:
    """Return where a person keeps the settings of the command line, or None where nobody is at home."""
    home = os.environ.get("XDG_CONFIG_HOME", "")  # XDG Base Directory Specification, as above
    try:
        folder = Path(home) if home.startswith("/") else Path.home() / ".config"
    except RuntimeError:
        return None
    return folder / "drawerwright" / "config.toml"


class Settings(BaseSettings):
    """Where things are and how much may be asked; each field is a variable ``DRAWERWRIGHT_...``."""

    model_config = SettingsConfigDict(env_prefix=_PREFIX, frozen=True, extra="forbid", env_ignore_empty=True)

    data_dir: Annotated[Path, AfterValidator(lambda path: path.expanduser().absolute())] = Field(
        default_factory=_data_home, description="Folder of the record, the results and the logs."
    )
    database_url: str = Field(default="", repr=False, description="SQLAlchemy URL; empty: a SQLite file in data_dir.")
    blob_url: str = Field(default="", description="s3://bucket/prefix or file:///folder; empty: a folder in data_dir.")
    s3_endpoint: str = Field(default="", description="URL of an S3-compatible store that is not the default one.")
    s3_region: str = Field(default="us-east-1", description="Region of the bucket.")
    s3_access_key: str = Field(default="", repr=False, description="Empty: the store's usual sources of credentials.")
    s3_secret_key: SecretStr = Field(default=SecretStr(""), description="Belongs to s3_access_key.")
    broker_url: str = Field(default="", repr=False, description="redis://...; empty: `serve` starts its own broker.")
    host: str = Field(default="127.0.0.1", description="Address that `serve` listens on.")
    port: int = Field(default=8765, ge=0, le=65535, description="Port that `serve` listens on.")
    concurrency: int = Field(
        default_factory=lambda: min(2, os.cpu_count() or 1), ge=1, le=64, description="Jobs that run at the same time."
    )
    attempts: int = Field(default=3, ge=1, le=10, description="Times that a job is started before it has failed.")
    job_seconds: int = Field(default=900, ge=1, le=86_400, description="Seconds that one attempt of a job may take.")
    lease_seconds: float = Field(
        default=15.0,
        ge=1.0,
        le=600.0,
        description="Seconds without a sign of life before another worker may take over.",
    )
    kiosk_idle_minutes: float = Field(
        default=0.0, ge=0.0, le=1440.0, description="Minutes without a touch before the page is put back; 0: never."
    )
    grace_seconds: float = Field(
        default=2.0, ge=0.0, le=600.0, description="Seconds that a worker told to end gives the jobs it is at."
    )
    job_memory: int = Field(
        default_factory=lambda: 2 * 1024**3 if sys.maxsize > 2**32 else 0,
        ge=0,
        description="Bytes of data that a process building a job may have; 0 sets no limit. Only Linux keeps it.",
    )
    sweep_seconds: float = Field(
        default=600.0, ge=1.0, le=86_400.0, description="Seconds between two looks for files that no record names."
    )
    orphan_seconds: float = Field(
        default=86_400.0, ge=0.0, description="Seconds for which a file that no record names is left alone."
    )
    helpers: int = Field(
        default=8, ge=0, le=64, description="Workers that are asked to help with one large job; 0: none."
    )
    largest_body: int = Field(default=2_000_000, ge=1_000, description="Bytes of a spec.")
    largest_batch: int = Field(default=50_000_000, ge=1_000, description="Bytes of all specs of a batch.")
    body_seconds: float = Field(
        default=30.0, ge=0.1, le=3_600.0, description="Seconds in which a request must be there."
    )
    most_cells: int = Field(
        default=25_000, ge=1, le=1_000_000, description="Cells that all drawers of one spec may have together."
    )
    open_loopback: Literal["until-keys", "always", "never"] = Field(
        default="until-keys",
        description="Whether this machine needs no key: until there are keys, always, or never.",
    )
    allowed_hosts: str = Field(
        default="", description="Names, apart from localhost, that an open service answers to; commas between them."
    )
    requests_per_minute: int = Field(
        default=3_000, ge=0, le=10_000_000, description="Requests of one key, or of one address without; 0: no limit."
    )
    jobs_waiting: int = Field(
        default=50, ge=0, description="Jobs that one key may have queued or running; 0: no limit."
    )
    jobs_a_day: int = Field(
        default=1_000, ge=0, description="Jobs that one key may submit in a day (UTC); 0: no limit."
    )
    most_bytes: int = Field(
        default=20_000_000_000, ge=0, description="Bytes of results that one key may keep; 0: no limit."
    )
    retention_days: int = Field(
        default=0, ge=0, le=36_500, description="Days after its end that a job is kept; 0: for ever."
    )
    public_url: str = Field(
        default="",
        pattern=r"^(https?://[A-Za-z0-9._~:/\[\]-]+[^/])?$",
        description="Address of the service as its callers know it, for the links in messages; empty: links are paths.",
    )
    webhook_networks: str = Field(
        default="",
        description="Networks that messages may go to beside the world, such as 192.168.0.0/16; commas between them.",
    )
    webhook_ports: str = Field(default="", description="Ports that messages may go to, with commas; empty: any.")
    metrics_networks: str = Field(
        default="", description="Networks that read /metrics without a key, such as 127.0.0.0/8; commas between them."
    )
    log_format: Literal["text", "json"] = Field(default="text", description="Lines of the log: for people, or JSON.")
    otel_endpoint: str = Field(
        default="", description="Where OpenTelemetry spans go, such as http://localhost:4318; empty: nowhere."
    )
    key: SecretStr = Field(default=SecretStr(""), description="The key that the command line sends to a service.")
    url: str = Field(default="", description="The service that the command line asks; empty: the one that `serve` has.")
    out: Path = Field(default=Path("out"), description="Folder that the command line puts files into.")
    mqtt_broker: str = Field(default="", description="mqtts://host:8883 or mqtt://host:1883, for `drawerwright mqtt`.")
    mqtt_topic: str = Field(default="drawerwright", description="What all topics begin with.")
    mqtt_username: str = Field(default="", description="For the MQTT broker.")
    mqtt_password: SecretStr = Field(default=SecretStr(""), description="For the MQTT broker.")
    mqtt_ca_file: str = Field(
        default="", description="Certificates that the MQTT broker's is signed by; empty: the usual."
    )

    @classmethod
    def read(cls, **given: Any) -> "Settings":
        """Return the settings of the environment and, where it has none, of the configuration file, with these instead.

        Raises:
            SettingsError: names the first variable, or line of the file, that cannot be used.
        """
        path = _configuration()
        from_environment = {name.upper() for name, value in os.environ.items() if value}
        from_file = {} if path is None else read_config_file(path)
        kept = {name: value for name, value in from_file.items() if _PREFIX + name.upper() not in from_environment}
        try:
            return cls(**{**kept, **given})
        except ValidationError as error:
            first = error.errors(include_url=False, include_input=False)[0]
            name = str(first["loc"][0]) if first["loc"] else ""
            if name in kept and name not in given:
                raise SettingsError(f"{name} in {path} cannot be used: {first['msg']}.", limit=first["msg"]) from None
            variable = _PREFIX + "_".join(str(step) for step in first["loc"]).upper()
            raise SettingsError(f"{variable} cannot be used: {first['msg']}.", limit=first["msg"]) from None

    @property
    def database(self) -> str:
        """The URL of the record."""
        return self.database_url or f"sqlite:///{self.data_dir / 'jobs.sqlite3'}"

    @property
    def blobs(self) -> str:
        """The URL of the store of files."""
        return self.blob_url or (self.data_dir / "blobs").as_uri()

    @property
    def embedded(self) -> bool:
        """Whether `serve` starts the broker and a worker itself."""
        return not self.broker_url

    @property
    def socket(self) -> Path:
        """The socket of the embedded broker: in the data folder, or a short one that belongs to that folder."""
        inside = self.data_dir / "broker" / "broker.sock"
        if len(os.fsencode(inside)) <= _LONGEST_SOCKET:
            return inside
        name = sha256(os.fsencode(self.data_dir)).hexdigest()[:12]
        return Path(tempfile.gettempdir()) / f"drawerwright-{os.getuid()}-{name}" / "broker.sock"

    @property
    def broker(self) -> str:
        """The URL of the broker."""
        return self.broker_url or f"redis+socket://{quote(str(self.socket))}"

    def environment(self) -> dict[str, str]:
        """Return the variables that give another process these same settings."""
        values = {}
        for name in type(self).model_fields:
            value = getattr(self, name)
            values[_PREFIX + name.upper()] = value.get_secret_value() if isinstance(value, SecretStr) else str(value)
        return values
