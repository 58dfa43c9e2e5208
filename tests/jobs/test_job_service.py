"""The job service without a worker: what callers may ask, and a broker that is away."""

import socket
import time
from datetime import timedelta
from hashlib import sha256

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as how
from hypothesis import strategies as st
from sqlalchemy import update

from worker.jobs.common.errors import (
    BlobMissing,
    BrokerUnavailable,
    FileNotInJob,
    JobFinished,
    JobNotFound,
    JobNotReady,
)
from worker.jobs.common.settings import Settings
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import JobRow
from worker.jobs.job_service import JobService
from worker.jobs.processes.process_host import broker
from worker.jobs.queue.celery_app import QUEUE
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import StoredFile
from worker.spec import Spec

pytestmark = pytest.mark.service

_LONG = 5.0  # seconds; a hang takes 40 and more


def _succeeded(job_service, data):
    """Bring a job to its end by hand, with one file."""
    records, blobs = JobRecords(job_service._database), job_service._blobs
    job = records.add("bench left", "{}")
    file = StoredFile("T1.stl", "model/stl", len(data), sha256(data).hexdigest(), f"jobs/{job.id}/T1.stl")
    blobs.put(file.key, data)
    assert records.succeed(records.claim(job.id, lease_seconds=60.0, attempts=3), [file])
    return job, file


def test_without_a_broker_a_job_is_kept(job_service, spec):
    start = time.monotonic()
    job = job_service.submit(spec(name="no broker"))
    assert time.monotonic() - start < _LONG
    assert (job_service.job(job.id).state, job_service.job(job.id).name) == ("queued", "no broker")
    with pytest.raises(BrokerUnavailable):
        job_service.dispatcher.republish()


def test_a_broker_that_says_nothing_does_not_hang(spec, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"redis://127.0.0.1:{silent.getsockname()[1]}/0"
        with JobService.open(Settings.read(data_dir=tmp_path, broker_url=url)) as job_service:
            for _ in range(2):
                start = time.monotonic()
                assert job_service.submit(spec()).state == "queued"
                assert time.monotonic() - start < _LONG


def test_republish_repairs_what_was_not_sent(job_service, spec):
    jobs = [job_service.submit(spec()) for _ in range(3)]
    with broker(job_service.settings.socket) as server:
        assert job_service.dispatcher.republish() == 3
        assert job_service.dispatcher.republish() == 0
        assert job_service.submit(spec()).state == "queued"
        assert job_service.dispatcher.republish() == 0
        server.stop()
        server.start()  # it has forgotten everything, and an idle connection is stale
        job_service.cancel(jobs[0].id)
        assert job_service.submit(spec()).state == "queued"
        assert job_service.dispatcher.republish() == 4
        assert job_service.dispatcher.republish() == 0


def _age(job_service, seconds):
    """Have all messages be older than they are."""
    with job_service._database.begin() as connection:
        connection.execute(update(JobRow).values(enqueued=utc_now() - timedelta(seconds=seconds)))


def test_a_job_that_was_begun_goes_before_all_that_wait(job_service, spec, queued_jobs):
    with broker(job_service.settings.socket):
        assert job_service.dispatcher.republish() == 0
        first, second, third, lost = (job_service.submit(spec()).id for _ in range(4))
        records = JobRecords(job_service._database)
        assert records.release(records.claim(third, lease_seconds=60.0, attempts=3), counted=False)
        job_service.publish_resumed(third)
        assert queued_jobs(job_service) == [third, first, second, third, lost]
        assert records.claim(lost, lease_seconds=0.05, attempts=3)
        time.sleep(0.1)
        assert job_service.dispatcher.republish() == 1
        assert queued_jobs(job_service)[:2] == [third, lost]


def test_a_long_line_is_not_sent_again_every_minute(job_service, spec, queued_jobs):
    with broker(job_service.settings.socket):
        assert job_service.dispatcher.republish() == 0  # nothing is there that the broker could have lost
        jobs = [job_service.submit(spec()).id for _ in range(3)]
        _age(job_service, 120.0)
        assert job_service.dispatcher.republish() == 0
        with job_service._app.connection_for_write() as connection:
            connection.default_channel.queue_purge(QUEUE)  # without a word
        assert job_service.dispatcher.republish() == 3
        assert queued_jobs(job_service) == jobs
        _age(job_service, 1000.0)
        assert job_service.dispatcher.republish() == 3


@pytest.mark.parametrize("job_id", ["", "x", "0" * 26, "../../etc/passwd", "é" * 26, "0" * 10_000, "\x00"])
def test_what_is_no_job_is_not_found(job_service, job_id):
    for ask in (
        job_service.job,
        job_service.cancel,
        job_service.manifest,
        job_service.bundle,
        lambda identity: job_service.file(identity, "T1.stl"),
    ):
        with pytest.raises(JobNotFound) as caught:
            ask(job_id)
        assert caught.value.problem()["type"] == "/problems/job-not-found"


def test_a_job_without_results_is_not_ready(job_service, spec):
    job = job_service.submit(spec())
    for ask in (
        job_service.manifest,
        job_service.bundle,
        job_service.files,
        lambda job_id: job_service.file(job_id, "T1.stl"),
    ):
        with pytest.raises(JobNotReady) as caught:
            ask(job.id)
        assert caught.value.value == "queued"


def test_a_job_is_cancelled_once(job_service, spec):
    job = job_service.submit(spec())
    cancelled = job_service.cancel(job.id)
    assert (cancelled.state, cancelled.ended) == ("cancelled", True)
    assert cancelled.finished is not None
    with pytest.raises(JobFinished) as caught:
        job_service.cancel(job.id)
    assert caught.value.value == "cancelled"


def test_files_are_read_whole_and_in_ranges(job_service):
    data = bytes(number % 251 for number in range(1000))
    job, file = _succeeded(job_service, data)
    assert job_service.file(job.id, "T1.stl") == file
    assert job_service.files(job.id) == [file]
    assert b"".join(job_service.read(file)) == data
    assert b"".join(job_service.read(file, 10, 20)) == data[10:20]
    assert b"".join(job_service.read(file, 990)) == data[990:]
    assert b"".join(job_service.read(file, 990, 5000)) == data[990:]
    with pytest.raises(FileNotInJob):
        job_service.file(job.id, "T2.stl")
    with pytest.raises(JobFinished):
        job_service.cancel(job.id)


def test_a_file_that_is_gone_or_cut_short_is_said_at_once(job_service):
    job, file = _succeeded(job_service, b"0123456789")
    job_service._blobs.put(file.key, b"01234")
    with pytest.raises(BlobMissing, match="damaged"):
        job_service.read(job_service.file(job.id, "T1.stl"))
    job_service._blobs.delete(file.key)
    with pytest.raises(BlobMissing):
        job_service.read(file)


def test_jobs_are_listed_newest_first(job_service, spec):
    made = [job_service.submit(spec(name=f"drawer {number}")).id for number in range(3)]
    assert [job.id for job in job_service.jobs()] == made[::-1]
    assert [job.id for job in job_service.jobs(limit=1, after=made[2])] == [made[1]]
    assert job_service.jobs(limit=0) == []


@given(st.text(max_size=40))
@how(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_text_is_a_job_that_is_not_there(job_service, text):
    with pytest.raises(JobNotFound):
        job_service.job(text)
    with pytest.raises(JobNotFound):
        job_service.file(text, text)


def test_a_spec_comes_back_from_the_record_as_it_was(spec):
    requested = spec(
        {"name": "bits", "cells": [1.5, 1], "height": "1 1/4 in", "at": [0, 0], "finger_ramp": True,
         "label_ledge": True,
         "pockets": [{"shape": "circle", "at": [20, 20], "diameter": 12, "depth": 8, "notch": {}}],
         "dividers": [{"axis": "x", "at": 30}], "text": {"text": "Bits", "face": "front"}},
        grid={"half_cells": True}, material={"name": "PETG", "cost_per_kg": 20},
    )  # fmt: skip
    assert Spec.model_validate_json(requested.model_dump_json()) == requested
