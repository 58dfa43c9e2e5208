"""``drawerwright household``: export, import and report on the household."""

import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import Machine, Url, opened, spec_bytes
from api.command.terminal.display import note
from api.command.terminal.tables import say, table

__all__ = ["app"]

#: Most things that are listed as used rarely.
_MOST_RARE: Final = 10

app = typer.Typer(
    name="household", help="Export or import all drawers, things and pieces; see what to tidy.", no_args_is_help=True
)


@app.command(name="export")
def export_household(
    file: Annotated[
        str, typer.Argument(metavar="FILE", help="File to write; - writes standard output.", show_default=False)
    ] = "-",
    *,
    url: Url = None,
) -> None:
    """Write all drawers, things and pieces to one JSON file. Jobs and their files are not part of it."""
    with ending(machine=False), opened(url) as client:
        document, _ = client.whole("/v1/household")
        if file == "-":
            sys.stdout.buffer.write(document + b"\n")
            return
        Path(file).write_bytes(document + b"\n")
        note(f"Written to {file}.")


@app.command(name="import")
def import_household(
    file: Annotated[str, typer.Argument(metavar="FILE", help="File of `household export`; - reads standard input.")],
    *,
    new_ids: Annotated[
        bool, typer.Option("--new-ids", help="Give every entry a new id, such as for a copy on the same service.")
    ] = False,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Add all drawers, things and pieces of a file to the household, or nothing if one of their ids is taken."""
    document = spec_bytes(file)
    with ending(machine=machine), opened(url) as client:
        counts = client.import_household(document, new_ids=new_ids)
        if machine:
            print_json(counts)
        else:
            say(f"{counts['drawers']} drawers, {counts['things']} things and {counts['pieces']} pieces were added.")


@app.command()
def report(
    *,
    drawer: Annotated[str | None, typer.Option(metavar="ID", help="Report on this drawer only.")] = None,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Show free floor, things that take much of it and are used rarely, and things in several drawers."""
    with ending(machine=machine), opened(url) as client:
        document = client.household_report(drawer)
    if machine:
        print_json(document.model_dump(mode="json"))
        return
    rows = [
        [own.name, *("-" if count is None else f"{count:g}" for count in (own.used, own.free)), f"{len(own.things)}"]
        for own in document.drawers
    ]
    table(("drawer", "cells used", "cells free", "things"), rows)
    for sentence in [use.sentence for use in document.rare[:_MOST_RARE]] + [
        duplicate.sentence for duplicate in document.duplicates
    ]:
        say(sentence)
    if not document.rare and not document.duplicates:
        say("Nothing rarely used takes a cell or more, and nothing is in several drawers.")
