"""The command line: serve, demo, submit, plan, prints, printed, catalogue, keys."""

import signal
from types import FrameType

import typer

from api.command import catalogue, demo, keys, plan, prints, serve, submit

__all__ = ["app", "main"]

app = typer.Typer(
    name="drawerwright",
    help="From a drawer's tape readings to checked printable parts.",
    epilog="Exit codes: 0 done, 1 the job failed, 2 something in the command or the spec is wrong, 3 no service.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
for command in (serve.serve, demo.demo, submit.submit, plan.plan, prints.prints, prints.printed, catalogue.catalogue):
    app.command()(command)
app.add_typer(keys.app)


def main() -> None:
    """Run the command line."""
    signal.signal(signal.SIGTERM, _end)  # what a command started must be put away
    app()


def _end(number: int, _frame: FrameType | None) -> None:
    raise SystemExit(128 + number)  # as a shell would say it
