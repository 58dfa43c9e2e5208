"""``drawerwright prints`` and ``drawerwright printed``: show and record a job's printing progress."""

import time
from enum import Enum
from typing import TYPE_CHECKING, Annotated, Final

import orjson
import typer

from api.command.exit_codes import ending, print_json, print_line
from api.command.options import Job, Machine, Url, Watch, opened
from api.command.remote.job_run import left_running
from api.command.service.client import Client
from api.command.terminal.tables import say, table
from worker.spec.errors import PrintRefused

if TYPE_CHECKING:  # at run time they bring the layout along
    from api.documents.prints import PrintDocument, PrintsDocument

__all__ = ["printed", "prints"]

#: Seconds between two polls of the printing progress.
_POLL_SECONDS: Final = 5.0


class _Outcome(Enum):
    """Outcomes of printing as the API names them."""

    PRINTED = "printed"
    FAILED = "failed"
    PLACED = "placed"


def prints(job: Job, *, watch: Watch = False, url: Url = None, machine: Machine = False) -> None:
    """Show which parts of a job are printed, what is left, and the latest print events."""
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
    run: Annotated[int | None, typer.Option(min=1, help="Number of the print run.", show_default=False)] = None,
    mark: Annotated[str | None, typer.Option(help="Mark of the pieces, instead of a run.", show_default=False)] = None,
    count: Annotated[int | None, typer.Option(min=1, help="Number of pieces of the mark. Default: 1.")] = None,
    failed: Annotated[bool, typer.Option("--failed", help="The print failed: plan these pieces again.")] = False,
    placed: Annotated[bool, typer.Option("--placed", help="The pieces are in the drawer.")] = False,
    clearance: Annotated[
        float | None,
        typer.Option(help="Clearance in mm that the coupon shows.", show_default=False),
    ] = None,
    printer: Annotated[
        str | None, typer.Option(help="Printer of the run or of the coupon.", show_default=False)
    ] = None,
    hours: Annotated[
        float | None, typer.Option(min=0.001, help="Measured print time of the run, in hours.", show_default=False)
    ] = None,
    withdraw: Annotated[
        int | None, typer.Option(min=1, help="Number of an event that was recorded by mistake.", show_default=False)
    ] = None,
    text: Annotated[str | None, typer.Option("--note", help="Free-text note.", show_default=False)] = None,
    name: Annotated[
        str | None, typer.Option("--id", help="Event id; an event sent twice with one id is recorded once.")
    ] = None,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Record that a run, or pieces of one mark, were printed, failed, or were placed in the drawer.

    An event that was recorded by mistake is withdrawn with --withdraw.
    """
    with ending(machine=machine):
        if failed and placed:
            raise PrintRefused("--failed and --placed are mutually exclusive.", remedy="Give only one of them.")
        measured = clearance is not None and run is None and mark is None and withdraw is None
        if (run is None) == (mark is None) and not measured and withdraw is None:
            raise PrintRefused("Give either --run or --mark.", remedy="For example --run 3, or --mark T4 --count 2.")
        outcome = _Outcome.FAILED if failed else _Outcome.PLACED if placed else _Outcome.PRINTED
        event = {
            "outcome": "measured" if measured else outcome.value if withdraw is None else "withdrawn",
            "event": withdraw, "run": run, "mark": mark, "count": count,
            "clearance": clearance, "printer": printer, "note": text, "id": name,
            "seconds": None if hours is None else hours * 3600.0,
        }  # fmt: skip
        with opened(url) as client:
            document = client.record(
                job, orjson.dumps({key: value for key, value in event.items() if value is not None})
            )
        if machine:
            print_json(document.model_dump(mode="json"))
        else:
            say(f"Recorded as event {document.number}: {_describe(document)}.")
            say(_left(document))


def _watch(client: Client, document: "PrintsDocument", *, machine: bool) -> None:
    """Show the printing progress, then each new event, until everything is printed."""
    if machine:
        print_line(document.model_dump(mode="json"))
    else:
        _show(document)
    with left_running("Printing", f"drawerwright prints {document.job} --watch"):
        while not document.done:
            time.sleep(_POLL_SECONDS)
            before, document = document, client.prints(document.job)
            last = max((event.number for event in before.events), default=0)
            unseen = [event for event in reversed(document.events) if event.number > last]
            if machine and (unseen or document.done):  # the last event and `done` can arrive in two polls
                print_line(document.model_dump(mode="json"))
            for event in unseen if not machine else ():
                say(f"{event.number}  {event.at:%Y-%m-%d %H:%M}  {_describe(event)}; {_left(event)}")


def _left(document: "PrintsDocument | PrintDocument") -> str:
    return f"{document.pieces_left} pieces in {document.runs_left} runs left to print."


def _show(document: "PrintsDocument") -> None:
    titles = ("mark", "kind", "name", "needed", "printed", "placed", "failed", "left")
    table(titles, [[str(getattr(mark, title)) for title in titles] for mark in document.marks])
    runs = [
        [
            f"{run.number}",
            run.state if run.planned else f"{run.state}, repacked",
            f"{run.pieces}",
            ", ".join(f"{count} x {mark}" for mark, count in run.failed.items()),
        ]
        for run in document.runs
    ]
    table(("run", "state", "pieces", "failed"), runs)
    if document.files.state == "failed":
        say(f"Files of repacked runs are missing: {document.files.problem}")
    for filament in document.filament:
        spools = " and ".join(f"{grams:.0f} g" for grams in filament.spools) or "0 g"
        say(
            f"{filament.material} {filament.colour or ''}".rstrip()
            + f": {filament.used:.0f} g used (about {filament.used_for_failed:.0f} g of that for failed pieces), "
            f"{filament.waste:.0f} g wasted, "
            f"{filament.needed:.0f} g still needed, {spools} left on the spools."
        )
    events = [
        [f"{event.number}", f"{event.at:%Y-%m-%d %H:%M}", _describe(event), event.note or ""]
        for event in document.events
    ]
    if events:
        table(("event", "at (UTC)", "what", "note"), events)
    if document.refit is not None:
        say(
            f"The coupon shows a clearance of {document.clearance:g} mm, and the parts are made with another. "
            f"Submit the spec at {document.refit}."
        )
    say("Everything is printed." if document.done else _left(document))


def _describe(event: "PrintDocument") -> str:
    """Return a one-line description of a print event, for example ``run 3 printed, except 1 x T4``."""
    if event.outcome == "measured":
        return f"coupon measured: clearance {event.clearance:g} mm"
    if event.outcome == "withdrawn":
        return f"event {event.event} withdrawn"
    what = f"run {event.run}" if event.run is not None else f"{event.count} x {event.mark}"
    except_for = ", ".join(f"{count} x {mark}" for mark, count in event.failed.items())
    return f"{what} {event.outcome}" + (f", except {except_for}" if except_for else "")
