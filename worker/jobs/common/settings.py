"""Settings from environment variables and the configuration file. No other module reads the environment."""

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
    """Return the platform's folder for application data."""
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "Drawerwright"
    home = os.environ.get("XDG_DATA_HOME", "")  # XDG Base Directory Specification: a relative path is ignored
    return (Path(home) if home.startswith("/") else Path.home() / ".local" / "share") / "drawerwright"


def _configuration() -> Path | None:
    """Return the path of the configuration file, or None if the user has no home folder."""
    home = os.environ.get("XDG_CONFIG_HOME", "")  # XDG Base Directory Specification, as above
    try:
        folder = Path(home) if home.startswith("/") else Path.home() / ".config"
    except RuntimeError:
        return None
    return folder / "drawerwright" / "config.toml"


class Settings(BaseSettings):
    """Settings of the service and the command line; each field is an environment variable ``DRAWERWRIGHT_...``."""

    model_config = SettingsConfigDict(env_prefix=_PREFIX, frozen=True, extra="forbid", env_ignore_empty=True)

    data_dir: Annotated[Path, AfterValidator(lambda path: path.expanduser().absolute())] = Field(
        default_factory=_data_home, description="Folder of the database, the results and the logs."
    )
    database_url: str = Field(default="", repr=False, description="SQLAlchemy URL; empty: a SQLite file in data_dir.")
    blob_url: str = Field(default="", description="s3://bucket/prefix or file:///folder; empty: a folder in data_dir.")
    s3_endpoint: str = Field(default="", description="URL of an S3-compatible store; empty: the default endpoint.")
    s3_region: str = Field(default="us-east-1", description="Region of the bucket.")
    s3_access_key: str = Field(default="", repr=False, description="Access key; empty: the default credentials.")
    s3_secret_key: SecretStr = Field(default=SecretStr(""), description="Secret of s3_access_key.")
    broker_url: str = Field(default="", repr=False, description="redis://...; empty: `serve` starts its own broker.")
    host: str = Field(default="127.0.0.1", description="Address that `serve` listens on.")
    port: int = Field(default=8765, ge=0, le=65535, description="Port that `serve` listens on.")
    concurrency: int = Field(
        default_factory=lambda: min(2, os.cpu_count() or 1), ge=1, le=64, description="Jobs that run concurrently."
    )
    attempts: int = Field(
        default=3, ge=1, le=10, description="Attempts at a job before it fails; outages do not count."
    )
    job_seconds: int = Field(default=900, ge=1, le=86_400, description="Time limit of one attempt at a job in seconds.")
    lease_seconds: float = Field(
        default=15.0,
        ge=1.0,
        le=600.0,
        description="Seconds without a heartbeat before another worker may take over a job.",
    )
    kiosk_idle_minutes: float = Field(
        default=0.0, ge=0.0, le=1440.0, description="Minutes without input before the kiosk page resets; 0: never."
    )
    grace_seconds: float = Field(
        default=2.0, ge=0.0, le=600.0, description="Seconds that a worker gives its running jobs at shutdown."
    )
    job_memory: int = Field(
        default_factory=lambda: 2 * 1024**3 if sys.maxsize > 2**32 else 0,
        ge=0,
        description="Memory limit of one job in bytes; 0: no limit. Linux only.",
    )
    sweep_seconds: float = Field(default=600.0, ge=1.0, le=86_400.0, description="Seconds between two orphan sweeps.")
    orphan_seconds: float = Field(
        default=86_400.0, ge=0.0, description="Minimum age in seconds at which an orphaned file is removed."
    )
    planners: int = Field(default=2, ge=1, le=64, description="Plans that are made concurrently.")
    plan_seconds: float = Field(default=10.0, ge=0.1, le=3_600.0, description="Time limit of a plan in seconds.")
    largest_body: int = Field(default=2_000_000, ge=1_000, description="Maximum size of a spec in bytes.")
    largest_batch: int = Field(default=50_000_000, ge=1_000, description="Maximum size of a batch in bytes.")
    largest_upload: int = Field(
        default=40_000_000, ge=1_000, description="Maximum size of the files of one silhouette in bytes."
    )
    body_seconds: float = Field(
        default=30.0, ge=0.1, le=3_600.0, description="Seconds within which a request must have arrived."
    )
    most_cells: int = Field(
        default=25_000, ge=1, le=1_000_000, description="Maximum number of cells in all drawers of one spec."
    )
    open_loopback: Literal["until-keys", "always", "never"] = Field(
        default="until-keys",
        description="When requests from this machine need no API key: until keys exist, always, or never.",
    )
    allowed_hosts: str = Field(
        default="",
        description="Host names besides localhost that a service without API keys accepts; comma-separated.",
    )
    cors_origins: str = Field(
        default="",
        description="Origins whose pages may use the service, such as https://home.example; comma-separated.",
    )
    requests_per_minute: int = Field(
        default=3_000,
        ge=0,
        le=10_000_000,
        description="Requests per minute of one API key or address; 0: no limit.",
    )
    failures_per_minute: int = Field(
        default=60,
        ge=0,
        le=10_000_000,
        description="Requests without a valid API key per minute and address; valid keys still work. 0: no limit.",
    )
    trusted_proxies: str = Field(
        default="",
        description="Networks of proxies whose Forwarded or X-Forwarded-For header is trusted; comma-separated.",
    )
    jobs_waiting: int = Field(default=50, ge=0, description="Queued and running jobs of one API key; 0: no limit.")
    jobs_a_day: int = Field(default=1_000, ge=0, description="Jobs of one API key per day (UTC); 0: no limit.")
    most_bytes: int = Field(
        default=20_000_000_000, ge=0, description="Stored results of one API key in bytes; 0: no limit."
    )
    retention_days: int = Field(
        default=0, ge=0, le=36_500, description="Days for which an ended job is kept; 0: for ever."
    )
    public_url: str = Field(
        default="",
        pattern=r"^(https?://[A-Za-z0-9._~:/\[\]-]+[^/])?$",
        description="Public URL of the service, for links in webhook messages; empty: links are paths.",
    )
    webhook_networks: str = Field(
        default="",
        description="Private networks that webhooks may call, such as 192.168.0.0/16; comma-separated.",
    )
    webhook_ports: str = Field(default="", description="Ports that webhooks may call, comma-separated; empty: any.")
    metrics_networks: str = Field(
        default="",
        description="Networks that may read /metrics without a key, such as 127.0.0.0/8; comma-separated.",
    )
    log_format: Literal["text", "json"] = Field(default="text", description="Format of the log: plain text or JSON.")
    otel_endpoint: str = Field(
        default="", description="OTLP endpoint for traces, such as http://localhost:4318; empty: no tracing."
    )
    key: SecretStr = Field(default=SecretStr(""), description="API key that the command line sends.")
    url: str = Field(default="", description="URL of the service for the command line; empty: that of `serve`.")
    out: Path = Field(default=Path("out"), description="Folder for downloaded files.")
    mqtt_broker: str = Field(default="", description="For `drawerwright mqtt`: mqtts://host:8883 or mqtt://host:1883.")
    mqtt_topic: str = Field(default="drawerwright", description="Prefix of all MQTT topics.")
    mqtt_discovery: str = Field(
        default="", description="Prefix below which hubs look for announcements; empty: nothing is announced."
    )
    mqtt_username: str = Field(default="", description="User name for the MQTT broker.")
    mqtt_password: SecretStr = Field(default=SecretStr(""), description="Password for the MQTT broker.")
    mqtt_ca_file: str = Field(default="", description="CA certificates for the MQTT broker; empty: the system's.")

    @classmethod
    def read(cls, **given: Any) -> "Settings":
        """Return the settings: ``given`` first, then the environment, then the configuration file, then the defaults.

        Raises:
            SettingsError: if a setting is invalid; the message names the variable or the line of the file.
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
        """The URL of the database."""
        return self.database_url or f"sqlite:///{self.data_dir / 'jobs.sqlite3'}"

    @property
    def blobs(self) -> str:
        """The URL of the object store."""
        return self.blob_url or (self.data_dir / "blobs").as_uri()

    @property
    def embedded(self) -> bool:
        """Whether `serve` starts the broker and a worker itself."""
        return not self.broker_url

    @property
    def socket(self) -> Path:
        """The socket of the embedded broker: in the data folder, or in a temporary folder if that path is too long."""
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
        """Return the environment variables that give another process the same settings."""
        values = {}
        for name in type(self).model_fields:
            value = getattr(self, name)
            values[_PREFIX + name.upper()] = value.get_secret_value() if isinstance(value, SecretStr) else str(value)
        return values
