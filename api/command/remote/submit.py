"""``drawerwright submit``: submit a spec to a running service and download the files."""

from typing import Annotated

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import File, Machine, Out, Url, opened, spec_bytes
from api.command.remote.job_run import build
from api.command.terminal.job_tables import show_jobs
from worker.jobs.common.settings import Settings

__all__ = ["submit"]


def submit(
    file: File,
    *,
    url: Url = None,
    out: Out = None,
    watch: Annotated[
        bool, typer.Option("--watch/--no-watch", help="Wait and download the files, or return after submitting.")
    ] = True,
    machine: Machine = False,
) -> None:
    """Submit a spec to a running service, show progress, and download all files. Ctrl-C leaves the job running."""
    spec = spec_bytes(file)
    with ending(machine=machine):
        settings = Settings.read()
        with opened(url, settings) as client:
            if watch:
                build(client, spec, out or settings.out, machine=machine)
                return
            job = client.submit(spec)
        if machine:
            print_json(job.model_dump(mode="json"))
        else:
            show_jobs([job])
