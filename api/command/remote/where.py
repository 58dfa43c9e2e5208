"""``drawerwright where``: say where a thing lies."""

from typing import Annotated

import typer

from api.command.exit_codes import FAILED, ending, print_json
from api.command.options import Machine, Url, opened
from api.command.terminal.display import note
from api.command.terminal.tables import say

__all__ = ["where"]

#: Most matches that are shown.
_MOST = 5


def where(
    query: Annotated[
        list[str], typer.Argument(metavar="THING...", help="Name, tag or standard name; may be misspelt.")
    ],
    *,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Say in which drawer, tray and compartment a thing lies, with a map. The exit code is 1 if nothing matches."""
    text = " ".join(query)
    with ending(machine=machine), opened(url) as client:
        things = client.search(text, _MOST)
        if machine:
            print_json({"things": [thing.model_dump(mode="json") for thing in things]})
        for match in [thing.match for thing in things if thing.match is not None and not machine]:
            say(match.sentence)
            for place in match.places:
                say(f"  {place.map}", "dim")
        if not things:
            if not machine:
                note(f"Nothing matches {text}.")
            raise typer.Exit(FAILED)
