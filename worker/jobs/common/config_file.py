"""The configuration file: a user's settings for the command line, in TOML."""

import stat
import tomllib
from pathlib import Path
from typing import Any, Final

from worker.jobs.common.errors import SettingsError

__all__ = ["FIELDS", "read_config_file"]

#: Settings that the file accepts. All others configure a service and come from its environment.
FIELDS: Final = (
    "url",
    "key",
    "out",
    "data_dir",
    "host",
    "port",
    "mqtt_broker",
    "mqtt_topic",
    "mqtt_username",
    "mqtt_password",
    "mqtt_ca_file",
)

_SECRETS: Final = frozenset({"key", "mqtt_password"})

#: Maximum size of the file in bytes.
_LARGEST: Final = 64 * 1024


def read_config_file(path: Path) -> dict[str, Any]:
    """Return the settings in the file by field name; an empty mapping if the file does not exist.

    Raises:
        SettingsError: if it cannot be read, has an unknown setting, or holds a secret and is readable by other users.
    """
    try:
        with path.open("rb") as file:
            mode = path.stat().st_mode
            text = file.read(_LARGEST + 1)
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except OSError as error:
        raise SettingsError(f"{path} cannot be read: {error.strerror}.") from None
    if len(text) > _LARGEST:
        raise SettingsError(f"{path} is too large.", limit=f"{_LARGEST} bytes")
    try:
        values = tomllib.loads(text.decode())
    except ValueError as error:
        raise SettingsError(
            f"{path} is not valid TOML: {error}.", remedy='Write lines such as: url = "http://shop:8765"'
        ) from None
    for name in values:
        if name not in FIELDS:
            raise SettingsError(f"{path} has an unknown setting, {name}.", value=name, limit=", ".join(FIELDS))
    secrets = _SECRETS & values.keys()
    if secrets and mode & (stat.S_IRWXG | stat.S_IRWXO):
        name = min(secrets)
        raise SettingsError(f"{path} holds {name} and is readable by other users.", remedy=f"Run: chmod 600 {path}")
    return values
