"""``drawerwright batch``: many specs to a running service, and all that they come to into one folder."""

import re
import time
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from api.command.exit_codes import FAILED, ending, print_json
from api.command.job_run import left_running
from api.command.options import Machine, Out, Url, opened, spec_bytes
from api.command.service.client import Client, ServiceUnreachable
from api.command.service.downloads import DownloadDamaged, fetch
from api.command.terminal.display import note, watching
from api.command.terminal.tables import say, table
from worker.jobs.common.settings import Settings
from worker.jobs.records.models import MANIFEST_NAME

__all__ = ["batch"]

#: Seconds between two looks, and looks that may fail in a row.
_PAUSE: Final = 1.0
_PATIENCE: Final = 20

_FILE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


def batch(
    files: Annotated[
        list[str],
        typer.Argument(metavar="FILE...", help="Specs as JSON, or one a line (.ndjson, or - for standard input)."),
    ],
    *,
    name: Annotated[str, typer.Option(help="The batch's name.")] = "batch",
    split: Annotated[bool, typer.Option("--split", help="Make each drawer of a spec a job of its own.")] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Refuse all where one is refused.")] = False,
    watch: Annotated[
        bool, typer.Option("--watch/--no-watch", help="Wait for the files, or only show the batch.")
    ] = True,
    out: Out = None,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Submit many specs at once; each job's files go into a folder of its own, the runs over all beside them.

    Ends with 1 when one of them was refused or failed.
    """
    body = b"\n".join(_lines(file) for file in files)
    options = [("name", name), ("split", str(split).lower()), ("strict", str(strict).lower())]
    with ending(machine=machine):
        settings = Settings.read()
        folder = settings.out if out is None else out
        with opened(url, settings) as client:
            told = client.submit_batch(body, options)
            if watch:
                with left_running(f"The batch {told['id']}", f"GET {client.url}/v1/batches/{told['id']}"):
                    told = _follow(client, told, machine=machine)
                    _keep(client, told, folder)
        if machine:
            print_json(told)
        else:
            _show(told)
            if watch:
                note(f"The files are in {folder}.")
        if watch and any(one["state"] != "succeeded" for one in told["entries"]):
            raise typer.Exit(FAILED)


def _lines(file: str) -> bytes:
    """Return a file as lines; in JSON a line break stands between words only, so a spec may be put on one line."""
    text = spec_bytes(file)
    return text if file == "-" or file.endswith((".ndjson", ".jsonl")) else b" ".join(text.splitlines())


def _follow(client: Client, told: dict[str, Any], *, machine: bool) -> dict[str, Any]:
    failures = 0
    with watching(quiet=machine) as watcher:
        while told["state"] != "ended":
            time.sleep(_PAUSE)
            try:
                told, failures = client.object(f"/v1/batches/{told['id']}"), 0
            except ServiceUnreachable:
                failures += 1
                if failures > _PATIENCE:
                    raise
            counts = told["counts"]
            watcher.files(len(told["entries"]) - counts["queued"] - counts["running"], len(told["entries"]))
    return told


def _keep(client: Client, told: Mapping[str, Any], folder: Path) -> None:
    """Fetch the files of each job, and those over all jobs."""
    for one in told["entries"]:
        if one["state"] == "succeeded":
            fetch(client, _job(one), folder / f"{one['index'] + 1:03d}-{_slug(one['name'])}", lambda *_: None)
    if told["links"]["manifest"] is None:
        return
    at = f"/v1/batches/{told['id']}"
    for run in client.object(f"{at}/manifest")["runs"]:
        if run["file"] is not None and _FILE.fullmatch(run["file"]):
            _write(client, f"{at}/files/{run['file']}", folder / run["file"])
    _write(client, f"{at}/manifest", folder / MANIFEST_NAME)


def _write(client: Client, path: str, target: Path) -> None:
    data, digest = client.whole(path)
    if sha256(data).hexdigest() != digest:
        raise DownloadDamaged(f"{target.name} arrived damaged: its digest is not the service's.")
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{target.name}.part")
    part.write_bytes(data)
    part.replace(target)


def _job(entry: Mapping[str, Any]) -> str:
    """Return the identity of an entry's job, which is told with its address."""
    return str(entry["job"] or "").rpartition("/")[2]


def _slug(name: str | None) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", name or "", flags=re.ASCII).strip("-")[:40] or "job"


def _show(told: Mapping[str, Any]) -> None:
    rows = []
    for one in told["entries"]:
        why = "" if one["problem"] is None else str(one["problem"].get("detail", ""))
        rows.append((f"{one['index'] + 1}", one["state"], one["name"] or "", _job(one), why))
    table(("spec", "state", "name", "job", "why"), rows, whole=("spec", "state", "job"))
    say(f"Batch {told['id']}: {told['state']}.")
