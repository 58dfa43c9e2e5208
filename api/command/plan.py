"""``drawerwright plan``: what a job would make, at once."""

from pathlib import Path
from typing import Annotated

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import File, Machine, spec_bytes
from api.command.service.client import Client
from api.command.terminal.display import show_plan
from worker.jobs.common.settings import Settings
from worker.spec import loads

__all__ = ["plan"]


def plan(
    file: File,
    *,
    url: Annotated[str | None, typer.Option("--url", help="Plan on this service. Default: plan locally.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Also save plan.json in this folder.")
    ] = None,
    machine: Machine = False,
) -> None:
    """Show the layout, parts and print runs of a spec within seconds, without building meshes."""
    spec = spec_bytes(file)
    with ending(machine=machine):
        if url is None:
            from api.planning.planner import make_plan  # noqa: PLC0415 - the layout is not waited for where a service has it

            document = make_plan(loads(spec))
        else:
            with Client(url, Settings.read().key) as client:
                document = client.plan(spec)
        if out is not None:
            out.mkdir(parents=True, exist_ok=True)
            (out / "plan.json").write_text(document.model_dump_json(indent=2) + "\n", encoding="utf-8")
        if machine:
            print_json(document.model_dump(mode="json"))
        else:
            show_plan(document)
