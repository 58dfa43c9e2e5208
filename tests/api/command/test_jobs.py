"""The commands about jobs, over a real service whose jobs are ended by hand."""

import json
import os
import signal
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from threading import Timer

import pytest
from typer.testing import CliRunner

from api.command import app
from api.command.remote import prints
from api.command.service.client import Client
from api.openapi import examples
from tests.printing.progress.planned_manifest import bench
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.models import StoredFile
from worker.jobs.records.print_events import PrintRecords
from worker.spec.errors import CheckFailed
from worker.spec.manifest import JSON_TYPE, FileEntry

_ROOT = Path(__file__).parents[3]


@pytest.fixture
def run(monkeypatch, tmp_path, url):
    """Return a function that runs the command line in an empty folder, with that service set."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("DRAWERWRIGHT_URL", url)
    return lambda *arguments, **options: CliRunner().invoke(app, [str(argument) for argument in arguments], **options)


@pytest.fixture
def add(records):
    """Return a function that adds a job and returns its id."""
    return lambda name="bench left": records.add(name, "{}").id


@pytest.fixture
def finish(records, blobs):
    """Return a function that ends a job with one file; returns the file's bytes."""

    def end(job):
        data = b"entry,mark\n" * 1_000
        file = FileEntry(name="bill.csv", media_type="text/csv", bytes=len(data), sha256=sha256(data).hexdigest())
        _, manifest = bench()
        part = manifest.parts[0].model_copy(update={"files": (file,)})
        stored_manifest = manifest.model_copy(update={"parts": (part,), "documents": (), "bundle": None})
        stored = []
        for name, media, content in (
            ("manifest.json", JSON_TYPE, stored_manifest.model_dump_json().encode()),
            ("bill.csv", "text/csv", data),
        ):
            digest = sha256(content).hexdigest()
            blobs.put(f"test/{digest}", content)
            stored.append(StoredFile(name, media, len(content), digest, f"test/{digest}"))
        assert records.succeed(records.claim(job, lease_seconds=600.0, attempts=3), stored)
        return data

    return end


def test_jobs_are_listed_newest_first_and_filtered(run, add, records):
    first, second = add("north wall"), add("South wall")
    records.cancel(first)
    listed = json.loads(run("jobs", "--json", "--limit", 2).stdout)["jobs"]
    assert [job["id"] for job in listed] == [second, first]
    table = run("jobs", "--name", "wall")
    assert table.stdout.index(second) < table.stdout.index(first)
    for words, expected in (
        (("--name", "SOUTH"), [second]),
        (("--name", "wall", "--state", "cancelled"), [first]),
        (("--name", "wall", "--state", "cancelled", "--state", "queued"), [second, first]),
        (("--name", "no such"), []),
    ):
        assert [job["id"] for job in json.loads(run("jobs", "--json", *words).stdout)["jobs"]] == expected
    assert "No jobs" in run("jobs", "--name", "no such").stdout
    assert run("jobs", "--state", "asleep").exit_code == 2


def test_listing_continues_over_pages(run, add):
    made = [add("many") for _ in range(120)]
    listed = json.loads(run("jobs", "--json", "--name", "many", "--limit", 500).stdout)["jobs"]
    assert [job["id"] for job in listed] == made[::-1]


def test_a_job_is_shown_cancelled_and_removed(run, add):
    job = add()
    assert "queued" in run("job", job).stdout
    assert run("remove", job, "--yes").exit_code == 2  # it has not ended
    assert json.loads(run("cancel", job, "--json").stdout)["state"] == "cancelled"
    assert run("cancel", job).exit_code == 2
    shown = run("job", job, "--json")
    assert (shown.exit_code, json.loads(shown.stdout)["state"]) == (1, "cancelled")
    result = run("remove", job)
    assert result.exit_code == 2
    assert "--yes" in result.stderr
    assert json.loads(run("remove", job, "--yes", "--json").stdout) == {"id": job, "removed": True}
    for command in ("job", "cancel", "remove", "fetch", "prints"):
        assert run(command, job).exit_code == 2


def test_a_job_that_failed_says_why(run, add, records):
    job = add()
    records.fail(records.claim(job, lease_seconds=60.0, attempts=3), stored_problem(CheckFailed("T1 is not closed.")))
    shown = run("job", job)
    assert shown.exit_code == 1
    assert "T1 is not closed." in shown.stderr
    assert json.loads(run("retry", job, "--json").stdout)["state"] == "queued"
    assert run("retry", job).exit_code == 2  # it has not failed again


def test_one_file_or_all_are_downloaded(run, add, finish, tmp_path):
    job = add()
    data = finish(job)
    result = run("fetch", job, "--out", tmp_path / "all", "--json")
    assert result.exit_code == 0, result.stderr
    assert (tmp_path / "all" / "bill.csv").read_bytes() == data
    assert {Path(path).name for path in json.loads(result.stdout)["files"]} == {"bill.csv", "manifest.json"}
    assert run("fetch", job, "--file", "bill.csv").exit_code == 0
    assert (tmp_path / "out" / "bill.csv").read_bytes() == data
    assert run("fetch", job, "--file", "bill.csv", "--out", "-").stdout_bytes == data
    missing = run("fetch", job, "--file", "../bill.csv")
    assert missing.exit_code == 2
    assert "bill.csv" in missing.stderr


def test_submit_can_return_without_waiting(run, tmp_path):
    result = run("submit", "-", "--no-watch", "--json", input=examples.text("small"))
    assert result.exit_code == 0
    assert json.loads(result.stdout)["state"] == "queued"
    assert not (tmp_path / "out").exists()


@pytest.fixture
def planned(records, blobs):
    """A job that succeeded, with runs to print, and its manifest."""
    spec, manifest = bench(timed=True)
    job = records.add("bench left", spec.model_dump_json()).id
    data = manifest.model_dump_json().encode()
    digest = sha256(data).hexdigest()
    blobs.put(f"test/{digest}", data)
    stored = [StoredFile("manifest.json", JSON_TYPE, len(data), digest, f"test/{digest}")]
    assert records.succeed(records.claim(job, lease_seconds=600.0, attempts=3), stored)
    return job, manifest


def test_missing_files_of_repacked_runs_are_reported(run, records, planned):
    job, _ = planned
    assert run("printed", job, "--run", "1", "--failed").exit_code == 0
    assert "missing" not in run("prints", job).stdout
    assert PrintRecords(records._engine).fail(job, 1, {"detail": "A stored file is damaged."})
    assert "Files of repacked runs are missing: A stored file is damaged." in run("prints", job).stdout


def test_prints_are_watched_until_everything_is_printed(run, planned, url, monkeypatch):
    monkeypatch.setattr(prints, "_POLL_SECONDS", 0.05)
    job, manifest = planned

    def print_all():
        with Client(url) as client:
            for planned_run in manifest.runs:
                client.record(job, json.dumps({"outcome": "printed", "run": planned_run.number}).encode())

    printer = Timer(0.3, print_all)
    printer.start()
    watched = run("prints", job, "--watch", "--json")
    printer.join()
    assert watched.exit_code == 0
    documents = [json.loads(line) for line in watched.stdout.splitlines()]
    left = [document["pieces_left"] for document in documents]
    assert left == sorted(left, reverse=True)
    assert (documents[-1]["done"], left[-1]) == (True, 0)
    assert "Everything is printed." in run("prints", job, "--watch").stdout


@pytest.fixture
def process(url, tmp_path):
    """Return a function that starts the command line as a process."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DRAWERWRIGHT_")}
    environment = {"PYTHONPATH": str(_ROOT), "DRAWERWRIGHT_URL": url, "XDG_CONFIG_HOME": str(tmp_path)}

    def start(*words):
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "stdin": subprocess.DEVNULL}
        return subprocess.Popen(
            [sys.executable, "-m", "api.command", *words], env={**kept, **environment}, cwd=tmp_path, text=True, **pipes
        )

    return start


def test_jobs_are_watched_until_all_have_ended(process, add, finish, records):
    first, second = add("watched"), add("watched")
    with process("jobs", "--name", "watched", "--watch", "--json") as watcher:
        seen = [json.loads(watcher.stdout.readline()) for _ in range(2)]
        assert {(job["id"], job["state"]) for job in seen} == {(first, "queued"), (second, "queued")}
        records.cancel(second)
        finish(first)
        rest = [json.loads(line) for line in watcher.stdout]
        assert watcher.wait(timeout=60) == 0
    assert {(job["id"], job["state"]) for job in rest} >= {(first, "succeeded"), (second, "cancelled")}


def test_ctrl_c_leaves_the_job_running_and_says_how_to_return(process, records, tmp_path):
    (tmp_path / "left.json").write_bytes(examples.text("small"))
    before = {job.id for job in records.jobs(500, None)}
    with process("submit", "left.json") as submitter:
        first_line = submitter.stderr.readline()
        (job,) = {job.id for job in records.jobs(500, None)} - before
        assert job in first_line
        submitter.send_signal(signal.SIGINT)
        message = submitter.stderr.read()
        submitter.wait(timeout=60)
        assert submitter.returncode == 130
    assert f"drawerwright fetch {job}" in message
    assert "Traceback" not in message
    assert records.job(job).state == "queued"
