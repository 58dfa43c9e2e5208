"""``drawerwright prints`` and ``drawerwright printed``: what of a job is printed, and word of more."""

import time
from enum import Enum
from typing import TYPE_CHECKING, Annotated, Final

import orjson
import typer

from api.command.exit_codes import ending, print_json, print_line
from api.command.job_run import left_running
from api.command.options import Job, Machine, Url, Watch, opened
from api.command.service.client import Client
from api.command.terminal.tables import say, table
from worker.spec.errors import PrintRefused

if TYPE_CHECKING:  # at run time they bring the layout along
    from api.documents.prints import PrintDocument, PrintsDocument

__all__ = ["printed", "prints"]

#: Seconds between two looks at what is printed.
_PAUSE: Final = 5.0


class _Outcome(Enum):
    """What became of pieces, as the command line's parser takes it."""

    PRINTED = "printed"
    FAILED = "failed"
    PLACED = "placed"


def prints(job: Job, *, watch: Watch = False, url: Url = None, machine: Machine = False) -> None:
    """Show what of a job is printed, what is left, and what was recorded last."""
    with ending(machine=machine), opened(url) as client:
        document = client.prints(job)
        if watch:
            _watch(client, document, machine=machine)
        elif machine:
            print_json(document.model_dump(mode="json"))
        else:
            _show(document)


def printed(
    job: Job,
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
        with opened(url) as client:
            document = client.record(job, orjson.dumps({key: one for key, one in said.items() if one is not None}))
        if machine:
            print_json(document.model_dump(mode="json"))
        else:
            say(f"Recorded as event {document.number}: {_told(document)}.")
            say(_left(document))


def _watch(client: Client, document: "PrintsDocument", *, machine: bool) -> None:
    """Show what is printed, then each further event, until all is."""
    if machine:
        print_line(document.model_dump(mode="json"))
    else:
        _show(document)
    with left_running("The printing", f"drawerwright prints {document.job} --watch"):
        while not document.done:
            time.sleep(_PAUSE)
            before, document = document, client.prints(document.job)
            last = max((event.number for event in before.events), default=0)
            fresh = [event for event in reversed(document.events) if event.number > last]
            if fresh and machine:
                print_line(document.model_dump(mode="json"))
            for event in fresh if not machine else ():
                say(f"{event.number}  {event.at:%Y-%m-%d %H:%M}  {_told(event)}; {_left(event)}")


def _left(document: "PrintsDocument | PrintDocument") -> str:
    return f"{document.pieces_left} pieces in {document.runs_left} runs are left."


def _show(document: "PrintsDocument") -> None:
    titles = ("mark", "kind", "name", "needed", "printed", "placed", "failed", "left")
    table(titles, [[str(getattr(one, title)) for title in titles] for one in document.marks])
    runs = [
        [
            f"{one.number}",
            one.state if one.planned else f"{one.state}, packed afresh",
            f"{one.pieces}",
            ", ".join(f"{count} x {mark}" for mark, count in one.failed.items()),
        ]
        for one in document.runs
    ]
    table(("run", "state", "pieces", "failed"), runs)
    if document.files.state == "failed":
        say(f"Files of runs that were packed afresh are missing: {document.files.problem}")
    for one in document.filament:
        spools = " and ".join(f"{grams:.0f} g" for grams in one.spools) or "nothing"
        say(
            f"{one.material} {one.colour or ''}".rstrip() + f": {one.used:.0f} g used, {one.used_for_failed:.0f} g of "
            f"them assumed for failed pieces; {one.needed:.0f} g to come, {spools} on the spools."
        )
    events = [[f"{one.number}", f"{one.at:%Y-%m-%d %H:%M}", _told(one), one.note or ""] for one in document.events]
    if events:
        table(("event", "at (UTC)", "what", "note"), events)
    say("All is printed." if document.done else _left(document))


def _told(event: "PrintDocument") -> str:
    """Return an event in a few words."""
    what = f"run {event.run}" if event.run is not None else f"{event.count} x {event.mark}"
    but = ", ".join(f"{count} x {mark}" for mark, count in event.failed.items())
    return f"{what} {event.outcome}" + (f", but not {but}" if but else "")
