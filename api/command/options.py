"""Options and arguments that several commands share."""

import sys
from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from worker.jobs.settings import Settings

__all__ = ["File", "Machine", "Out", "Url", "default_url", "spec_bytes"]

File: TypeAlias = Annotated[
    str, typer.Argument(metavar="FILE", help="The spec as JSON; - reads it from standard input.", show_default=False)
]
Out: TypeAlias = Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where the files go.")]
Url: TypeAlias = Annotated[
    str | None, typer.Option("--url", help="The service's address; left out, the one that `serve` has here.")
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


def default_url(settings: Settings) -> str:
    """Return where `serve` listens with these settings, as seen from this machine."""
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(settings.host, settings.host)  # noqa: S104 - compared, not bound
    return f"http://{f'[{host}]' if ':' in host else host}:{settings.port}"
