"""Options and arguments that several commands share."""

import sys
from pathlib import Path
from typing import Annotated, Final, TypeAlias

import typer

from api.command.service.client import Client
from worker.jobs.common.settings import Settings

__all__ = ["File", "Job", "Machine", "Out", "Url", "Watch", "default_url", "is_open", "opened", "spec_bytes"]

File: TypeAlias = Annotated[
    str, typer.Argument(metavar="FILE", help="Spec in JSON; - reads standard input.", show_default=False)
]
Job: TypeAlias = Annotated[str, typer.Argument(metavar="JOB", help="Id of the job.", show_default=False)]
Out: TypeAlias = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Folder for the files. Default: DRAWERWRIGHT_OUT or ./out."),
]
Url: TypeAlias = Annotated[
    str | None,
    typer.Option("--url", help="Address of the service. Default: DRAWERWRIGHT_URL, or the local `serve`."),
]
Watch: TypeAlias = Annotated[
    bool,
    typer.Option("--watch", help="Keep showing changes until everything has ended; Ctrl-C stops only the display."),
]
Machine: TypeAlias = Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")]


def spec_bytes(file: str) -> bytes:
    """Return the content of a file, or of standard input for ``-``.

    Raises:
        BadParameter: if the file cannot be read.
    """
    if file == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(file).read_bytes()
    except OSError as error:
        raise typer.BadParameter(f"cannot read {file}: {error.strerror or error}", param_hint="FILE") from None


def opened(url: str | None, settings: Settings | None = None) -> Client:
    """Return a client of the service at this address, by default of the configured service.

    Raises:
        SettingsError: if a setting is invalid.
        ServiceUnreachable: if the address is not a URL.
    """
    settings = Settings.read() if settings is None else settings
    return Client(url or settings.url or default_url(settings), settings.key)


#: Wildcard addresses to listen on, each with the loopback address that reaches it.
_WILDCARDS: Final = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # noqa: S104 - compared, not bound


def is_open(settings: Settings) -> bool:
    """Return whether ``serve`` listens on every address of this machine with these settings."""
    return settings.host in _WILDCARDS


def default_url(settings: Settings) -> str:
    """Return the URL of ``serve`` with these settings, as seen from this machine."""
    host = _WILDCARDS.get(settings.host, settings.host)
    return f"http://{f'[{host}]' if ':' in host else host}:{settings.port}"
