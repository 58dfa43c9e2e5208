"""``drawerwright batch``: submit several specs to a running service and save all their files in one folder."""

import re
import time
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from api.command.exit_codes import FAILED, ending, print_json
from api.command.options import Machine, Out, Url, opened, spec_bytes
from api.command.remote.job_run import left_running
from api.command.service.client import Client, ServiceUnreachable
from api.command.service.downloads import DownloadDamaged, fetch
from api.command.terminal.display import note, watching
from api.command.terminal.tables import say, table
from worker.jobs.common.settings import Settings
from worker.jobs.records.models import MANIFEST_NAME, entry_folder

__all__ = ["batch"]

#: Seconds between two polls, and polls in a row that may fail before the command gives up.
_POLL_SECONDS: Final = 1.0
_MAX_FAILURES: Final = 20

_FILE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


def batch(
    files: Annotated[
        list[str],
        typer.Argument(
            metavar="FILE...",
            help="Specs: .json files (one spec each) or .ndjson files (one per line); - reads NDJSON from standard "
            "input.",
        ),
    ],
    *,
    name: Annotated[str, typer.Option(help="Name of the batch.")] = "batch",
    split: Annotated[bool, typer.Option("--split", help="Create a separate job for each drawer of a spec.")] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Reject the whole batch if any spec is invalid.")] = False,
    watch: Annotated[
        bool, typer.Option("--watch/--no-watch", help="Wait and download the files, or return after submitting.")
    ] = True,
    out: Out = None,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Submit several specs as one batch; print runs are packed across all of its jobs.

    Each job's files are saved in a folder of its own, and the batch's print runs beside those folders. The exit code is
    1 if any spec was refused or any job failed.
    """
    body = b"\n".join(_lines(file) for file in files)
    options = [("name", name), ("split", str(split).lower()), ("strict", str(strict).lower())]
    with ending(machine=machine):
        settings = Settings.read()
        folder = settings.out if out is None else out
        with opened(url, settings) as client:
            document = client.submit_batch(body, options)
            if watch:
                with left_running(f"Batch {document['id']}", f"GET {client.url}/v1/batches/{document['id']}"):
                    document = _follow(client, document, machine=machine)
                    _keep(client, document, folder)
        if machine:
            print_json(document)
        else:
            _show(document)
            if watch:
                note(f"Saved the files in {folder}.")
        if watch and any(entry["state"] != "succeeded" for entry in document["entries"]):
            raise typer.Exit(FAILED)


def _lines(file: str) -> bytes:
    """Return the file as NDJSON: a JSON text holds line breaks only between tokens, so it can be joined to one line."""
    text = spec_bytes(file)
    return text if file == "-" or file.endswith((".ndjson", ".jsonl")) else b" ".join(text.splitlines())


def _follow(client: Client, document: dict[str, Any], *, machine: bool) -> dict[str, Any]:
    failures = 0
    with watching(quiet=machine) as watcher:
        while document["state"] != "ended":
            time.sleep(_POLL_SECONDS)
            try:
                document, failures = client.object(f"/v1/batches/{document['id']}"), 0
            except ServiceUnreachable:
                failures += 1
                if failures > _MAX_FAILURES:
                    raise
            counts = document["counts"]
            watcher.files(len(document["entries"]) - counts["queued"] - counts["running"], len(document["entries"]))
    return document


def _keep(client: Client, document: Mapping[str, Any], folder: Path) -> None:
    """Download the files of each job, and those of the batch as a whole."""
    for entry in document["entries"]:
        if entry["state"] == "succeeded":
            fetch(client, _job(entry), folder / entry_folder(entry["index"], entry["name"]), lambda *_: None)
    if document["links"]["manifest"] is None:
        return
    at = f"/v1/batches/{document['id']}"
    for run in client.object(f"{at}/manifest")["runs"]:
        if run["file"] is not None and _FILE.fullmatch(run["file"]):
            _write(client, f"{at}/files/{run['file']}", folder / run["file"])
    _write(client, f"{at}/manifest", folder / MANIFEST_NAME)


def _write(client: Client, path: str, target: Path) -> None:
    data, digest = client.whole(path)
    if sha256(data).hexdigest() != digest:
        raise DownloadDamaged(f"{target.name} arrived damaged: its checksum differs from the service's.")
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{target.name}.part")
    part.write_bytes(data)
    part.replace(target)


def _job(entry: Mapping[str, Any]) -> str:
    """Return the id of an entry's job: the last segment of its address."""
    return str(entry["job"] or "").rpartition("/")[2]


def _show(document: Mapping[str, Any]) -> None:
    rows = []
    for entry in document["entries"]:
        why = "" if entry["problem"] is None else str(entry["problem"].get("detail", ""))
        rows.append((f"{entry['index'] + 1}", entry["state"], entry["name"] or "", _job(entry), why))
    table(("spec", "state", "name", "job", "why"), rows, whole=("spec", "state", "job"))
    say(f"Batch {document['id']}: {document['state']}.")
