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
def engine(settings):
    with JobService.open(settings) as opened:
        opened.dispatcher.publisher.start()
        yield opened


def _without_message(engine):
    return engine._records.waiting(quiet_seconds=60.0, limit=500)


def test_messages_are_published_and_recorded_by_a_thread(engine, spec, until):
    with broker(engine.settings.socket):
        jobs = [engine.submit(spec()).id for _ in range(3)]
        assert until(lambda: engine.dispatcher.queue_length() == 3)
        assert until(lambda: not set(jobs) & set(_without_message(engine)))


def test_closing_loses_no_job(engine, spec):
    with broker(engine.settings.socket):
        for _ in range(250):
            engine.submit(spec())
        engine.dispatcher.publisher.close()
        assert engine.dispatcher.queue_length() == 250
        assert _without_message(engine) == []
        engine.submit(spec())  # from now on in this thread
        assert engine.dispatcher.queue_length() == 251


def test_without_a_broker_the_dispatcher_publishes_later(engine, spec, until):
    jobs = [engine.submit(spec()).id for _ in range(3)]
    engine.dispatcher.publisher.close()
    assert _without_message(engine) == jobs
    engine.dispatcher.publisher.start()
    with broker(engine.settings.socket):
        assert engine.dispatcher.republish() == 3
        last = engine.submit(spec()).id
        assert until(lambda: last not in _without_message(engine))


def test_no_caller_waits_for_a_broker_that_accepts_and_says_nothing(spec, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"redis://127.0.0.1:{silent.getsockname()[1]}/0"
        with JobService.open(Settings.read(data_dir=tmp_path, broker_url=url)) as engine:
            engine.dispatcher.publisher.start()
            jobs = [engine.submit(spec()).id for _ in range(20)]
            start = time.monotonic()
            engine.dispatcher.publisher.close()
            assert time.monotonic() - start < 5.0  # `close` waits for 3 s at most
            assert _without_message(engine) == jobs


def test_an_unexpected_fault_does_not_end_the_thread(engine, spec, monkeypatch, until):
    with monkeypatch.context() as broken:
        broken.setattr(engine._app, "send_task", lambda *_, **__: 1 // 0)
        unpublished = engine.submit(spec()).id
        assert until(engine.dispatcher.publisher._queue.empty)
        time.sleep(0.1)
    with broker(engine.settings.socket):
        job = engine.submit(spec()).id
        assert until(lambda: _without_message(engine) == [unpublished])
        assert job != unpublished


def test_a_full_queue_leaves_jobs_to_the_dispatcher(engine, spec, monkeypatch):
    monkeypatch.setattr("worker.jobs.queue.background_publisher._MAX_QUEUED", 0)
    with broker(engine.settings.socket):
        job = engine.submit(spec()).id
        engine.dispatcher.publisher.close()
        assert engine.dispatcher.queue_length() == 0
        assert engine.dispatcher.republish() == 1
        assert job not in _without_message(engine)


def test_an_accepted_job_survives_a_power_cut(engine):
    with engine._database.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL: each commit is on the disk
