"""``drawerwright catalogue``: the standard items."""

from typing import Annotated

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import Machine
from api.command.terminal.display import show_catalogue

__all__ = ["catalogue"]


def catalogue(
    *,
    category: Annotated[str | None, typer.Option("--category", help="Show only this category.")] = None,
    machine: Machine = False,
) -> None:
    """List the standard items that a spec can refer to by id, with their sizes."""
    from api.routes.catalogue import catalogue_document  # noqa: PLC0415 - the other commands need no routes

    with ending(machine=machine):
        document = catalogue_document(category)
        if machine:
            print_json(document.model_dump(mode="json"))
        else:
            show_catalogue(document.things)
