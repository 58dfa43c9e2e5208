"""The embedded broker and worker: they come up, go down, and never outlive who started them."""

import signal
import socket
import subprocess
import sys

import pytest

from worker.jobs.embedded import Embedded
from worker.jobs.engine import Engine
from worker.jobs.keeper import child_environment
from worker.jobs.settings import Settings
from worker.spec.errors import SettingsError

pytestmark = pytest.mark.service

_HOST = """
import sys, time
from worker.jobs.embedded import Embedded
from worker.jobs.settings import Settings
with Embedded(Settings.read()):
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


def test_a_second_service_on_the_same_folder_is_refused(service):
    with pytest.raises(SettingsError, match="does not start"):
        Embedded(service.settings).start()
    assert _answers(service.settings)


def test_with_a_broker_of_ones_own_nothing_is_started(tmp_path):
    settings = Settings.read(data_dir=tmp_path / "data", broker_url="redis://127.0.0.1:1")
    with Embedded(settings):
        assert not settings.data_dir.exists()


def test_a_folder_that_cannot_be_made_is_a_setting():
    with pytest.raises(SettingsError):
        Embedded(Settings.read(data_dir="/dev/null/x")).start()


def test_a_job_outlives_its_service(spec, ended, until, tmp_path):
    settings = Settings.read(data_dir=tmp_path, lease_seconds=1.0, concurrency=1)
    with Engine.open(settings) as engine:
        before = engine.submit(spec(name="before any service"))
        host = subprocess.Popen(
            [sys.executable, "-c", _HOST], env=child_environment(settings), stdout=subprocess.PIPE, text=True
        )
        try:
            assert host.stdout.readline() == "up\n"
            assert ended(engine, before).state == "succeeded"
        finally:
            host.send_signal(signal.SIGKILL)  # it cannot tidy up; broker and worker end all the same
            host.wait()
            host.stdout.close()
        until(lambda: not _answers(settings))
        between = engine.submit(spec(name="between two services"))
        with Embedded(settings):
            assert ended(engine, between).state == "succeeded"
        assert not _answers(settings)
    assert not settings.socket.exists()
