"""The background publisher: messages are published and recorded, and no caller waits for the broker."""

import socket
import time

import pytest

from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.processes.process_host import broker

pytestmark = pytest.mark.service


@pytest.fixture
def settings(tmp_path):
    return Settings.read(data_dir=tmp_path / "data")


@pytest.fixture
def job_service(settings):
    with JobService.open(settings) as opened:
        opened.dispatcher.publisher.start()
        yield opened


def _without_message(job_service):
    return job_service._records.waiting(quiet_seconds=60.0, limit=500)


def test_messages_are_published_and_recorded_by_a_thread(job_service, spec, until, queued_jobs):
    with broker(job_service.settings.socket):
        jobs = [job_service.submit(spec()).id for _ in range(3)]
        assert until(lambda: not set(jobs) & set(_without_message(job_service)))
        assert sorted(queued_jobs(job_service)) == jobs


def test_closing_loses_no_job(job_service, spec, queued_jobs):
    with broker(job_service.settings.socket):
        jobs = [job_service.submit(spec()).id for _ in range(250)]
        job_service.dispatcher.publisher.close()
        assert _without_message(job_service) == []
        jobs.append(job_service.submit(spec()).id)  # from now on in this thread
        assert job_service.dispatcher.queue_length() < 20  # most jobs share a message
        assert sorted(queued_jobs(job_service)) == sorted(jobs)


def test_without_a_broker_the_dispatcher_publishes_later(job_service, spec, until):
    jobs = [job_service.submit(spec()).id for _ in range(3)]
    job_service.dispatcher.publisher.close()
    assert _without_message(job_service) == jobs
    job_service.dispatcher.publisher.start()
    with broker(job_service.settings.socket):
        assert job_service.dispatcher.republish() == 3
        last = job_service.submit(spec()).id
        assert until(lambda: last not in _without_message(job_service))


def test_no_caller_waits_for_a_broker_that_accepts_and_says_nothing(spec, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"redis://127.0.0.1:{silent.getsockname()[1]}/0"
        with JobService.open(Settings.read(data_dir=tmp_path, broker_url=url)) as job_service:
            job_service.dispatcher.publisher.start()
            jobs = [job_service.submit(spec()).id for _ in range(20)]
            start = time.monotonic()
            job_service.dispatcher.publisher.close()
            assert time.monotonic() - start < 5.0  # `close` waits for 3 s at most
            assert _without_message(job_service) == jobs


def test_an_unexpected_fault_does_not_end_the_thread(job_service, spec, monkeypatch, until, caplog):
    with monkeypatch.context() as broken:
        broken.setattr(job_service._app, "send_task", lambda *_, **__: 1 // 0)
        unpublished = job_service.submit(spec()).id
        assert until(lambda: "left to the dispatcher" in caplog.text)
    with broker(job_service.settings.socket):
        job = job_service.submit(spec()).id
        assert until(lambda: _without_message(job_service) == [unpublished])
        assert job != unpublished


def test_a_full_queue_leaves_jobs_to_the_dispatcher(job_service, spec, monkeypatch):
    monkeypatch.setattr("worker.jobs.queue.background_publisher._MAX_QUEUED", 0)
    with broker(job_service.settings.socket):
        job = job_service.submit(spec()).id
        job_service.dispatcher.publisher.close()
        assert job_service.dispatcher.queue_length() == 0
        assert job_service.dispatcher.republish() == 1
        assert job not in _without_message(job_service)


def test_an_accepted_job_survives_a_power_cut(job_service):
    with job_service._database.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL: each commit is on the disk
