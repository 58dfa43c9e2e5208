"""Options and arguments that several commands share."""

import sys
from pathlib import Path
from typing import Annotated, Final, TypeAlias

import typer

from api.command.service.client import Client
from worker.jobs.common.settings import Settings

__all__ = ["File", "Job", "Machine", "Out", "Url", "Watch", "default_url", "is_open", "opened", "spec_bytes"]

File: TypeAlias = Annotated[
    str, typer.Argument(metavar="FILE", help="The spec as JSON; - reads it from standard input.", show_default=False)
]
Job: TypeAlias = Annotated[str, typer.Argument(metavar="JOB", help="The job's id.", show_default=False)]
Out: TypeAlias = Annotated[
    Path | None, typer.Option("--out", metavar="FOLDER", help="Where the files go; left out, ./out or what is set.")
]
Url: TypeAlias = Annotated[
    str | None, typer.Option("--url", help="The service's address; left out, what is set, or the one of `serve` here.")
]
Watch: TypeAlias = Annotated[
    bool, typer.Option("--watch", help="Go on showing until all has ended. Ctrl-C leaves it running.")
]
Machine: TypeAlias = Annotated[bool, typer.Option("--json", help="Print JSON for a program instead of tables.")]


def spec_bytes(file: str) -> bytes:
    """Return what the file, or standard input, holds.

    Raises:
        BadParameter: when it cannot be read.
    """
    if file == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(file).read_bytes()
    except OSError as error:
        raise typer.BadParameter(f"{file} cannot be read: {error.strerror or error}", param_hint="FILE") from None


def opened(url: str | None, settings: Settings | None = None) -> Client:
    """Return a client of the service at this address, or of the one that is set.

    Raises:
        SettingsError: when the settings cannot be used.
        ServiceUnreachable: when the address is none.
    """
    settings = Settings.read() if settings is None else settings
    return Client(url or settings.url or default_url(settings), settings.key)


#: Every address of this machine, and how it reaches itself there.
_WILDCARDS: Final = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # noqa: S104 - compared, not bound


def is_open(settings: Settings) -> bool:
    """Return whether `serve` listens on every address of this machine with these settings."""
    return settings.host in _WILDCARDS


def default_url(settings: Settings) -> str:
    """Return where `serve` listens with these settings, as seen from this machine."""
    host = _WILDCARDS.get(settings.host, settings.host)
    return f"http://{f'[{host}]' if ':' in host else host}:{settings.port}"
