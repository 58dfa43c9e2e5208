"""``drawerwright fetch``: download a job's files, or one of them."""

import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import Job, Machine, Url, opened
from api.command.remote.job_run import keep, left_running
from api.command.service.client import Client
from api.command.service.downloads import entries, fetch_file
from api.command.terminal.display import note
from worker.jobs.common.errors import FileNotInJob
from worker.jobs.common.settings import Settings
from worker.jobs.records.models import BUNDLE_NAME
from worker.spec.manifest import FileEntry

__all__ = ["fetch"]


def fetch(
    job: Job,
    *,
    out: Annotated[
        str | None,
        typer.Option("--out", metavar="FOLDER", help="Folder for the files; - writes one file to standard output."),
    ] = None,
    file: Annotated[
        str | None,
        typer.Option("--file", metavar="NAME", help="Download only this file. Default with `--out -`: the bundle."),
    ] = None,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Download a job's files and verify their checksums. An interrupted download is resumed."""
    with ending(machine=machine):
        settings = Settings.read()
        with opened(url, settings) as client:
            if out == "-":
                _pass_on(client, job, file or BUNDLE_NAME)
                return
            folder = settings.out if out is None else Path(out)
            if file is None:
                with left_running(job, f"drawerwright fetch {job} --out {folder}"):
                    keep(client, client.job(job), folder, machine=machine)
                return
            entry = _entry(client, job, file)
            folder.mkdir(parents=True, exist_ok=True)
            fetch_file(client, job, entry, folder / entry.name)
        if machine:
            print_json({"files": [str(folder / entry.name)]})
        else:
            note(f"Saved {entry.name} in {folder}.")


def _pass_on(client: Client, job: str, name: str) -> None:
    """Write a file to standard output once its checksum has been verified."""
    entry = _entry(client, job, name)
    with TemporaryDirectory(prefix="drawerwright-") as folder:
        path = Path(folder) / entry.name
        fetch_file(client, job, entry, path)
        with path.open("rb") as data:
            shutil.copyfileobj(data, sys.stdout.buffer)
        sys.stdout.buffer.flush()


def _entry(client: Client, job: str, name: str) -> FileEntry:
    manifest, _, _ = client.manifest(job)
    files = {entry.name: entry for entry in entries(manifest)}
    if name not in files:
        raise FileNotInJob(value=name, limit=", ".join(sorted(files)))
    return files[name]
