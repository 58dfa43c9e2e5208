"""``drawerwright sheet``: the reference sheet to photograph things on."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import Machine
from api.command.terminal.display import note
from worker.silhouettes.photo.sheet import BAR, SheetSize, Tint

__all__ = ["sheet"]


def sheet(
    *,
    size: Annotated[SheetSize, typer.Option("--size", help="The paper.")] = "a4",
    tint: Annotated[
        Tint, typer.Option("--tint", help="Colour of the field: the one that differs more from the thing.")
    ] = "green",
    out: Annotated[
        str | None,
        typer.Option(
            "--out", metavar="FILE", help="The PDF to write; - writes it to standard output.",
            show_default="reference-sheet-SIZE-TINT.pdf",
        ),
    ] = None,
    machine: Machine = False,
) -> None:  # fmt: skip
    """Write the reference sheet, which a thing lies on when it is photographed, as a PDF. No service is needed."""
    from worker.output.drawings.reference_sheet import (  # noqa: PLC0415 - the other commands need no drawings
        write_reference_sheet,
    )

    with ending(machine=machine):
        data = write_reference_sheet(size, tint)
        if out == "-":
            sys.stdout.buffer.write(data)
            return
        path = Path(out or f"reference-sheet-{size}-{tint}.pdf")
        path.write_bytes(data)
        if machine:
            print_json({"file": str(path), "size": size, "tint": tint, "bytes": len(data)})
        else:
            note(f"Wrote {path}. Print it at 100 %, without scaling: the bar at its top must measure {BAR:.1f} mm.")
