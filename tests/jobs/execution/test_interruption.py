"""An attempt is stopped in the middle of a long step: cancelled, handed back or too long; and never inside a write."""

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from threading import Thread, Timer

import pytest

from worker.jobs.common.errors import JobCancelled
from worker.jobs.common.settings import Settings
from worker.jobs.execution.interruption import Interrupted, Interruption, StopReason
from worker.jobs.execution.job_outcome import JobOutcome
from worker.jobs.execution.job_runner import JobRunner
from worker.jobs.execution.shutdown_flag import ShutdownFlag
from worker.jobs.processes.child_environment import child_environment

pytestmark = pytest.mark.service

_TRAY = {"name": "bits", "cells": [2, 1], "height": 25}

#: Far longer than any of this may take.
_LONG = 60.0


@pytest.fixture
def settings(tmp_path):
    """All on files: what is tested here is the same on servers."""
    return Settings.read(data_dir=tmp_path / "data", lease_seconds=1.0)


@pytest.fixture
def runner(settings, records, blobs):
    return JobRunner(settings.model_copy(update={"grace_seconds": 0.1}), records, blobs)


@pytest.fixture
def job(records, spec):
    return records.add("bench left", spec(_TRAY).model_dump_json())


def _computing(begun):
    """A pipeline with one step that takes long and asks nothing."""

    def run(_spec, **_parts):
        begun()
        end = time.monotonic() + _LONG
        while time.monotonic() < end:
            sum(range(1000))
        pytest.fail("Nothing stopped it.")

    return run


def test_a_job_cancelled_in_a_long_step_stops_within_two_seconds(runner, job, records):
    requests = []

    def cancel():
        requests.append(time.monotonic())
        records.cancel(job.id)

    slow = replace(runner, pipeline=_computing(Timer(0.2, cancel).start))
    assert slow.run(job.id) is JobOutcome.LEASE_LOST
    assert time.monotonic() - requests[0] < 2.0
    assert records.job(job.id).state == "cancelled"


def test_a_job_is_handed_back_when_the_worker_ends_and_that_was_no_attempt(runner, job, records):
    closing = ShutdownFlag()
    slow = replace(runner, pipeline=_computing(closing.set), closing=closing.is_set)
    for _ in range(runner.settings.attempts + 1):
        assert slow.run(job.id) is JobOutcome.SHUTDOWN
        assert (records.job(job.id).state, records.job(job.id).attempts) == ("queued", 0)
    assert records.waiting(quiet_seconds=60.0, limit=10) == [job.id]
    assert replace(runner, closing=lambda: False).run(job.id) is JobOutcome.SUCCEEDED
    assert records.job(job.id).attempts == 1


def test_what_ends_within_the_grace_is_finished(runner, job):
    patient = replace(runner, settings=runner.settings.model_copy(update={"grace_seconds": _LONG}))
    assert replace(patient, closing=lambda: True).run(job.id) is JobOutcome.SUCCEEDED


def test_a_process_told_to_end_hands_its_job_back(runner, job, records):
    slow = replace(runner, pipeline=_computing(lambda: os.kill(os.getpid(), signal.SIGTERM)))
    before = signal.getsignal(signal.SIGTERM)
    assert slow.run(job.id) is JobOutcome.TERMINATED
    assert signal.getsignal(signal.SIGTERM) is before
    assert (records.job(job.id).state, records.job(job.id).attempts) == ("queued", 0)


def test_an_attempt_that_takes_too_long_fails_at_once(runner, job, records):
    hasty = replace(runner, settings=runner.settings.model_copy(update={"job_seconds": 1}))
    assert replace(hasty, pipeline=_computing(lambda: None)).run(job.id) is JobOutcome.FAILED
    assert records.job(job.id).problem["type"] == "/problems/job-too-long"
    assert "1 s" in records.job(job.id).problem["limit"]


def test_in_another_thread_it_is_stopped_between_two_steps(runner, job, records, until):
    def stepping(_spec, *, cancelled, **_parts):
        records.cancel(job.id)
        until(cancelled)
        raise JobCancelled

    outcome = []
    thread = Thread(target=lambda: outcome.append(replace(runner, pipeline=stepping).run(job.id)))
    thread.start()
    thread.join()
    assert outcome == [JobOutcome.LEASE_LOST]
    assert records.job(job.id).state == "cancelled"


def test_what_is_shielded_is_done_to_its_end():
    interruption, done = Interruption(), []

    def write():
        with interruption.armed():
            with interruption:
                Timer(0.05, interruption.request, [StopReason.LEASE_LOST]).start()
                time.sleep(0.3)
                done.append("written")
            done.append("too far")

    with pytest.raises(Interrupted) as caught:
        write()
    assert caught.value.reason is StopReason.LEASE_LOST
    assert done == ["written"]


def test_the_first_reason_holds_and_nothing_is_raised_outside():
    interruption = Interruption()
    with interruption.armed():
        pass
    interruption.request(StopReason.TIMEOUT)
    interruption.request(StopReason.LEASE_LOST)
    with interruption:
        pass
    with pytest.raises(Interrupted) as caught, interruption.armed():
        pytest.fail("It begins all the same.")
    assert caught.value.reason is StopReason.TIMEOUT


_GREEDY = """
import sys
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.execution.job_runner import JobRunner
from worker.jobs.database.connection import open_database
from worker.jobs.execution.memory_limit import limit_memory
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.records.jobs import JobRecords
from worker.jobs.common.settings import Settings
from worker.spec import Spec

settings = Settings.read()
limited = limit_memory(settings.job_memory)
records = JobRecords(open_database(settings.database))

def greedy(spec, **parts):
    kept = [bytearray(64 * 1024**2) for _ in range(40)] if limited else None
    if kept is None:
        raise MemoryError
    raise AssertionError("There is no limit.")

runner = JobRunner(settings, records, ObjectStore.open(settings), greedy)
second = JobRunner(settings, records, ObjectStore.open(settings))
print(runner.run(sys.argv[1]).name, second.run(sys.argv[2]).name)
"""


def test_a_job_that_needs_too_much_memory_fails_and_the_next_one_is_built(settings, records, spec):
    things = [{"name": "AA cells", "shape": {"kind": "standard", "id": "battery-aa"}, "count": 12}]
    specs = [spec(_TRAY), spec(items=things)]  # the second needs the solver too, which must live within the limit
    jobs = [records.add("bench left", requested.model_dump_json()) for requested in specs]
    ran = subprocess.run(
        [sys.executable, "-c", _GREEDY, *(job.id for job in jobs)],
        env=child_environment(settings), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.stdout.split() == ["FAILED", "SUCCEEDED"], ran.stderr
    problem = records.job(jobs[0].id).problem
    assert problem["type"] == "/problems/job-too-large"
    assert str(settings.job_memory) in problem["limit"]
    assert records.job(jobs[0].id).attempts == 1
