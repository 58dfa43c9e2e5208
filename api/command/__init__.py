"""The command line: the service itself, what one asks of it, and what is shown without it."""

import signal
from importlib.metadata import version
from types import FrameType
from typing import Annotated, Final

import typer

from api.command import backup, batch, catalogue, demo, fetch, jobs, keys, mqtt, plan, prints, serve, submit

__all__ = ["app", "main"]

_CODES: Final = (
    "Exit codes: 0 done; 1 the job failed, or what it made could not be kept; 2 something in the command, the settings "
    "or the spec is wrong; 3 no service; 130 ended by Ctrl-C, and a job that runs in a service goes on."
)

app = typer.Typer(
    name="drawerwright",
    help="From a drawer's tape readings to checked printable parts.",
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
    jobs.remove,
    prints.prints,
    prints.printed,
    catalogue.catalogue,
    mqtt.mqtt,
    backup.backup,
    backup.restore,
):
    app.command(epilog=_CODES)(command)
app.add_typer(keys.app)


def _show_version(wanted: bool) -> None:  # noqa: FBT001 - the parser's form
    if wanted:
        typer.echo(version("drawerwright"))
        raise typer.Exit


@app.callback()
def program(
    *,
    _version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    """From a drawer's tape readings to checked printable parts."""


def main() -> None:
    """Run the command line."""
    signal.signal(signal.SIGTERM, _end)  # what a command started must be put away
    app(prog_name="drawerwright")  # also when it was started as a module: completion asks for it by this name


def _end(number: int, _frame: FrameType | None) -> None:
    raise SystemExit(128 + number)  # as a shell would say it
