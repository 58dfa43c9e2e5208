"""``drawerwright prints`` and ``drawerwright printed``: what of a job is printed, and word of more."""

from enum import Enum
from typing import Annotated, Any, Final, TypeAlias

import orjson
import typer
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.command.client import Client
from api.command.ending import ending, print_json
from api.command.options import Machine, Url, default_url
from api.printdocuments import PrintDocument, PrintsDocument
from worker.jobs.settings import Settings
from worker.spec.errors import PrintRefused

__all__ = ["printed", "prints"]

_results: Final = Console(highlight=False)

_Job: TypeAlias = Annotated[str, typer.Argument(metavar="JOB", help="The job's id.", show_default=False)]


class _Outcome(Enum):
    """What became of pieces, as the command line's parser takes it."""

    PRINTED = "printed"
    FAILED = "failed"
    PLACED = "placed"


def prints(job: _Job, *, url: Url = None, machine: Machine = False) -> None:
    """Show what of a job is printed, what is left, and what was recorded last."""
    with ending(machine=machine), _client(url) as client:
        document = client.prints(job)
        if machine:
            print_json(document.model_dump(mode="json"))
        else:
            _show(document)


def printed(
    job: _Job,
    *,
    run: Annotated[int | None, typer.Option(min=1, help="A run, by its number.", show_default=False)] = None,
    mark: Annotated[str | None, typer.Option(help="Or pieces of this mark.", show_default=False)] = None,
    count: Annotated[int | None, typer.Option(min=1, help="How many pieces of the mark; left out, one.")] = None,
    failed: Annotated[bool, typer.Option("--failed", help="They failed: they have to be printed again.")] = False,
    placed: Annotated[bool, typer.Option("--placed", help="They are in the drawer.")] = False,
    text: Annotated[str | None, typer.Option("--note", help="For people.", show_default=False)] = None,
    name: Annotated[str | None, typer.Option("--id", help="Sent twice under one id, it counts once.")] = None,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Record that a run, or pieces of a mark, were printed, failed or were put into the drawer."""
    with ending(machine=machine):
        if failed and placed:
            raise PrintRefused("A piece that failed is not placed.", remedy="Give --failed or --placed, not both.")
        if (run is None) == (mark is None):
            raise PrintRefused("Say which run or which mark it is.", remedy="As in --run 3, or --mark T4 --count 2.")
        outcome = _Outcome.FAILED if failed else _Outcome.PLACED if placed else _Outcome.PRINTED
        said = {"outcome": outcome.value, "run": run, "mark": mark, "count": count, "note": text, "id": name}
        with _client(url) as client:
            document = client.record(job, orjson.dumps({key: one for key, one in said.items() if one is not None}))
        if machine:
            print_json(document.model_dump(mode="json"))
        else:
            _say(f"Recorded as event {document.number}: {_told(document)}.")
            _say(f"{document.pieces_left} pieces in {document.runs_left} runs are left.")


def _client(url: str | None) -> Client:
    settings = Settings.read()
    return Client(url or default_url(settings), settings.key)


def _show(document: PrintsDocument) -> None:
    titles = ("mark", "kind", "name", "needed", "printed", "placed", "failed", "left")
    _table(titles, [[str(getattr(one, title)) for title in titles] for one in document.marks])
    runs = [
        [
            f"{one.number}",
            one.state if one.planned else f"{one.state}, packed afresh",
            f"{one.pieces}",
            ", ".join(f"{count} x {mark}" for mark, count in one.failed.items()),
        ]
        for one in document.runs
    ]
    _table(("run", "state", "pieces", "failed"), runs)
    for one in document.filament:
        spools = " and ".join(f"{grams:.0f} g" for grams in one.spools) or "nothing"
        _say(
            f"{one.material} {one.colour or ''}".rstrip() + f": {one.used:.0f} g used, {one.used_for_failed:.0f} g of "
            f"them assumed for failed pieces; {one.needed:.0f} g to come, {spools} on the spools."
        )
    events = [[f"{one.number}", f"{one.at:%Y-%m-%d %H:%M}", _told(one), one.note or ""] for one in document.events]
    if events:
        _table(("event", "at (UTC)", "what", "note"), events)
    left = f"{document.pieces_left} pieces in {document.runs_left} runs are left."
    _say("All is printed." if document.done else left)


def _told(event: PrintDocument) -> str:
    """Return an event in a few words."""
    what = f"run {event.run}" if event.run is not None else f"{event.count} x {event.mark}"
    but = ", ".join(f"{count} x {mark}" for mark, count in event.failed.items())
    return f"{what} {event.outcome}" + (f", but not {but}" if but else "")


def _table(titles: tuple[str, ...], rows: list[list[Any]]) -> None:
    table = Table(box=SIMPLE_HEAD, header_style="bold")
    for title in titles:
        table.add_column(title, overflow="fold")
    for row in rows:
        table.add_row(*(_plain(cell) for cell in row))
    _results.print(table)


def _say(text: str) -> None:
    _results.print(_plain(text), soft_wrap=True)


def _plain(text: str) -> Text:
    """Return the text without what a terminal would obey."""
    return Text("".join(sign if sign.isprintable() else "\ufffd" for sign in text))
