"""A job from submission to saved files, as ``demo``, ``submit`` and ``fetch`` run it."""

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
    """Submit a spec, follow the job, download its files and show a summary.

    Ctrl-C leaves the job running when the service is ``lasting``, and says how to return to it.

    Raises:
        Exit: if the job did not succeed.
        ServiceRefused: if the service rejects the spec.
        ServiceUnreachable: if no service answers.
        DownloadDamaged: if a file differs from its checksum in the manifest.
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
    """Follow a job, download its files and show a summary.

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
        note(f"Saved {len(paths)} files in {out}.")


@contextmanager
def left_running(what: str, remedy: str) -> Iterator[None]:
    """On Ctrl-C, say that the job keeps running and which command returns to it."""
    try:
        yield
    except KeyboardInterrupt:
        note(f"{what} keeps running. To return to it: {remedy}")
        raise
