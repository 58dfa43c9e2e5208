"""The ``drawerwright`` command line: run the service, use it, and plan without it."""

import signal
from importlib.metadata import version
from types import FrameType
from typing import Annotated, Final

import typer

from api.command import backup, catalogue, demo, keys, plan, serve, sheet
from api.command.remote import batch, fetch, household, jobs, mqtt, outline, prints, submit, where

__all__ = ["app", "main"]

_CODES: Final = (
    "Exit codes: 0 success; 1 the job failed or its files could not be saved; 2 the command, the settings or the spec "
    "is invalid; 3 no service answered; 130 interrupted with Ctrl-C (a submitted job keeps running)."
)

app = typer.Typer(
    name="drawerwright",
    help="Turn a drawer's measurements into checked, 3D-printable parts.",
    epilog=_CODES,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)
for command in (
    serve.serve,
    demo.demo,
    submit.submit,
    batch.batch,
    plan.plan,
    jobs.jobs,
    jobs.job,
    fetch.fetch,
    jobs.cancel,
    jobs.retry,
    jobs.remove,
    prints.prints,
    prints.printed,
    where.where,
    catalogue.catalogue,
    sheet.sheet,
    outline.outline,
    mqtt.mqtt,
    backup.backup,
    backup.restore,
):
    app.command(epilog=_CODES)(command)
app.add_typer(keys.app)
app.add_typer(household.app)


def _show_version(requested: bool) -> None:  # noqa: FBT001 - the parser's form
    if requested:
        typer.echo(version("drawerwright"))
        raise typer.Exit


@app.callback()
def program(
    *,
    _version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    """Turn a drawer's measurements into checked, 3D-printable parts."""


class CommandInterrupted(KeyboardInterrupt):
    """Ctrl-C.

    Under ``python -m``, CPython ends the process by SIGINT, whatever exit code it chose, if a plain KeyboardInterrupt
    has passed through `exec` of a string, as one does that arrives while a module with dataclasses is imported.
    """


def main() -> None:
    """Run the command line."""
    signal.signal(signal.SIGTERM, _exit_on_signal)  # so that context managers stop the processes a command started
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # a shell starts background jobs without one
        signal.signal(signal.SIGINT, _interrupt)
    app(prog_name="drawerwright")  # shell completion needs this name when the package is run with ``python -m``


def _exit_on_signal(number: int, _frame: FrameType | None) -> None:
    raise SystemExit(128 + number)  # the exit status a shell reports for a process ended by a signal


def _interrupt(_number: int, _frame: FrameType | None) -> None:
    raise CommandInterrupted
