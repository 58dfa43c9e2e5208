"""One job from submission to files, whoever runs the service."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from api.command.exit_codes import FAILED, failed, print_json
from api.command.service.client import Client
from api.command.service.downloads import fetch
from api.command.terminal.display import note, show_manifest, watching

if TYPE_CHECKING:  # the routes come along with it
    from api.documents.jobs import JobDocument

__all__ = ["build", "keep", "left_running"]


def build(client: Client, spec: bytes, out: Path, *, machine: bool, lasting: bool = True) -> None:
    """Submit the spec, follow the job, keep its files and show what they are.

    Ctrl-C leaves the job of a ``lasting`` service running, and says so.

    Raises:
        Exit: when the job did not succeed.
        ServiceRefused: when the service does not take the spec.
        ServiceUnreachable: when there is no service.
        DownloadDamaged: when a file is not what the manifest says.
    """
    job = client.submit(spec)
    if not lasting:
        keep(client, job, out, machine=machine)
        return
    with left_running(job.id, f"drawerwright fetch {job.id} --out {out}"):
        if not machine:
            note(f"Job {job.id}")
        keep(client, job, out, machine=machine)


def keep(client: Client, job: "JobDocument", out: Path, *, machine: bool) -> None:
    """Follow a job, keep its files and show what they are.

    Raises:
        Exit, ServiceRefused, ServiceUnreachable, DownloadDamaged: as above.
    """
    with watching(quiet=machine) as watcher:
        job = client.follow(job, watcher.job)
        if job.state == "succeeded":
            manifest, paths = fetch(client, job.id, out, watcher.files)
    if job.state == "failed" and job.problem is not None:
        raise failed(job.problem.model_dump(mode="json"), machine=machine)
    if job.state != "succeeded":
        note(f"The job was {job.state}.", "bold red")
        raise typer.Exit(FAILED)
    if machine:
        print_json(
            {
                "job": job.model_dump(mode="json"),
                "files": [str(path) for path in paths],
                "manifest": manifest.model_dump(mode="json"),
            }
        )
    else:
        show_manifest(manifest)
        note(f"{len(paths)} files are in {out}.")


@contextmanager
def left_running(what: str, remedy: str) -> Iterator[None]:
    """Say on Ctrl-C that what is watched goes on without us, and how to come back to it."""
    try:
        yield
    except KeyboardInterrupt:
        note(f"{what} goes on without this command. To come back to it: {remedy}")
        raise
