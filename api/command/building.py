"""One job from submission to files, whoever runs the service."""

from pathlib import Path

import typer

from api.command.client import Client
from api.command.display import note, show_manifest, watching
from api.command.downloads import fetch
from api.command.ending import FAILED, failed, print_json

__all__ = ["build"]


def build(client: Client, spec: bytes, out: Path, *, machine: bool) -> None:
    """Submit the spec, follow the job, keep its files and show what they are.

    Raises:
        Exit: when the job did not succeed.
        ServiceRefused: when the service does not take the spec.
        ServiceUnreachable: when there is no service.
        DownloadDamaged: when a file is not what the manifest says.
    """
    job = client.submit(spec)
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
