"""The embedded broker and worker: they come up, go down, and never outlive who started them."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import select

from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.database.tables import LeaderLeaseRow
from worker.jobs.job_service import JobService
from worker.jobs.processes.child_environment import child_environment
from worker.jobs.processes.supervisor import Supervisor
from worker.jobs.queue.celery_app import make_app

pytestmark = pytest.mark.service

_HOST = """
import sys, time
from worker.jobs.processes.supervisor import Supervisor
from worker.jobs.common.settings import Settings
with Supervisor(Settings.read()):
    print("up", flush=True)
    time.sleep(600)
"""


def _answers(settings):
    with socket.socket(socket.AF_UNIX) as client:
        try:
            client.connect(str(settings.socket))
        except OSError:
            return False
        return True


def _leader(job_service):
    with job_service._database.connect() as connection:
        return connection.scalar(select(LeaderLeaseRow.holder).where(LeaderLeaseRow.name == "maintenance"))


def test_with_a_broker_of_ones_own_nothing_is_started(tmp_path):
    settings = Settings.read(data_dir=tmp_path / "data", broker_url="redis://127.0.0.1:1")
    with Supervisor(settings):
        assert not settings.data_dir.exists()


def test_a_folder_that_cannot_be_made_is_a_setting():
    with pytest.raises(SettingsError):
        Supervisor(Settings.read(data_dir="/dev/null/x")).start()


def test_a_job_outlives_its_service_and_no_second_one_starts_beside_the_next(spec, ended, until, tmp_path):
    settings = Settings.read(data_dir=tmp_path, lease_seconds=1.0, concurrency=1)
    with JobService.open(settings) as job_service:
        before = job_service.submit(spec(name="before any service"))
        host = subprocess.Popen(
            [sys.executable, "-c", _HOST], env=child_environment(settings), stdout=subprocess.PIPE, text=True
        )
        try:
            assert host.stdout.readline() == "up\n"
            assert ended(job_service, before).state == "succeeded"
        finally:
            host.send_signal(signal.SIGKILL)  # it cannot tidy up; broker and worker end all the same
            host.wait()
            host.stdout.close()
        until(lambda: not _answers(settings))
        between = job_service.submit(spec(name="between two services"))
        with Supervisor(settings):
            assert ended(job_service, between).state == "succeeded"
            until(lambda: _leader(job_service))
            with pytest.raises(SettingsError, match="does not start"):
                Supervisor(settings).start()  # a second one on the same folder
            assert _answers(settings)
        assert not _answers(settings)
        assert _leader(job_service) is None  # the leader of the next service waits for no lease
    assert not settings.socket.exists()


def _many_parts(spec):
    trays = [
        {"name": f"tray {number}", "cells": [1, 1], "height": 20 + number / 10, "compartments": [2, 2]}
        for number in range(16)
    ]
    return spec(drawers=[{"name": "wide", "width": 500, "depth": 500, "height": 120, "trays": trays}])


def _lives(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def _worker(settings):
    """The process of the worker, and those of its pool."""
    app = make_app(settings, "work")
    try:
        (stats,) = app.control.inspect(timeout=5.0, limit=1).stats().values()
    finally:
        app.close()
    return [stats["pid"], *stats["pool"]["processes"]]


def test_a_job_under_way_when_the_service_ends_is_handed_back(spec, ended, until, tmp_path):
    # the next worker leads when the last one's lease has run out
    settings = Settings.read(data_dir=tmp_path, lease_seconds=10.0, concurrency=1, grace_seconds=0.0)
    with JobService.open(settings) as job_service:
        with Supervisor(settings):
            job = job_service.submit(_many_parts(spec))
            until(lambda: job_service.job(job.id).progress.done > 1)
        left = job_service.job(job.id)
        assert (left.state, left.attempts) == ("queued", 0)
        with Supervisor(settings):
            done = ended(job_service, job)
        assert (done.state, done.attempts) == ("succeeded", 1)


def test_a_process_host_that_is_killed_leaves_nothing_and_is_followed_by_its_own_or_another_service(
    spec, ended, until, tmp_path
):
    settings = Settings.read(data_dir=tmp_path, lease_seconds=1.0, concurrency=1, grace_seconds=0.0)
    with JobService.open(settings) as job_service, Supervisor(settings) as embedded:
        host, processes = embedded._host, _worker(settings)
        os.kill(host.pid, signal.SIGKILL)
        until(lambda: not any(_lives(pid) for pid in processes))
        assert ended(job_service, job_service.submit(spec(name="after the end of its host"))).state == "succeeded"
        assert embedded._host is not host
        embedded._closing.set()  # the next shall not be followed by one of its own
        last = embedded._host
        os.kill(last.pid, signal.SIGKILL)
        last.wait()
        with Supervisor(settings):
            assert ended(job_service, job_service.submit(spec(name="at once"))).state == "succeeded"
    assert not _answers(settings)
