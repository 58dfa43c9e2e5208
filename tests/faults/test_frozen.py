"""A worker is frozen in the middle of a job: its jobs go on elsewhere, and the readiness probe reports it."""

import os
import signal
import socket
import time
from datetime import timedelta

import httpx
import pytest
from sqlalchemy import select, update

from tests.faults.specs import large, small
from worker.jobs.database.tables import HeartbeatRow

pytestmark = pytest.mark.service

#: A worker without a heartbeat for this long is reported as silent.
_MINUTE = timedelta(seconds=61)


def test_a_frozen_worker_stalls_no_job_and_is_reported(plant, job_service_of, succeeds, figures):
    struck = plant()
    struck.start_api()
    struck.start_worker("frozen")
    job_service, until = job_service_of(struck), struck.until
    name = f"{socket.gethostname()}:{struck.pid('frozen')}"
    until(lambda: name in job_service.heartbeats.workers())
    spec = large("frozen")
    job = job_service.submit(spec)
    until(lambda: job_service.job(job.id).progress.done >= 3)
    os.killpg(struck.pid("frozen"), signal.SIGSTOP)
    try:
        stopped = time.monotonic()
        waiting = job_service.submit(small(80))
        struck.start_worker("other")
        started = time.monotonic() - stopped
        assert succeeds(struck, job_service, job, spec).attempts == 2
        assert succeeds(struck, job_service, waiting, small(80)).attempts == 1
        took = time.monotonic() - stopped
        of_frozen = HeartbeatRow.worker == name
        with job_service._database.begin() as connection:  # a minute passes
            seen = connection.scalar(select(HeartbeatRow.seen).where(of_frozen))
            connection.execute(update(HeartbeatRow).where(of_frozen).values(seen=seen - _MINUTE))

        def ready():
            return httpx.get(f"{struck.addresses['api']}/readyz", timeout=30.0).json()

        until(lambda: ready() == {"status": "degraded", "away": [], "silent_workers": 1})
    finally:
        os.killpg(struck.pid("frozen"), signal.SIGCONT)
    until(lambda: ready() == {"status": "ok", "away": [], "silent_workers": 0})
    # it noticed that its attempt was fenced off
    assert succeeds(struck, job_service, job, spec).attempts == 2
    figures(f"worker frozen: ended {took:.1f} s later, of which {started:.1f} s to start another")


def test_a_job_of_the_only_worker_goes_on_when_that_is_thawed(plant, job_service_of, succeeds):
    struck = plant()
    struck.start_api()
    struck.start_worker()
    job_service, spec = job_service_of(struck), large("thawed")
    job = job_service.submit(spec)
    struck.until(lambda: job_service.job(job.id).progress.done >= 3)
    os.killpg(struck.pid("worker"), signal.SIGSTOP)
    time.sleep(5.0 * struck.settings.lease_seconds)
    assert job_service.job(job.id).state == "running"
    os.killpg(struck.pid("worker"), signal.SIGCONT)
    assert succeeds(struck, job_service, job, spec).attempts <= 2  # its lease has expired, but nobody else has the job
