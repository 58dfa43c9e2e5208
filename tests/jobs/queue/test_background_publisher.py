"""The waker: workers are woken for jobs that were kept, and no caller waits for it."""

import socket
import time

import pytest

from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.processes.process_host import broker
from worker.jobs.queue.celery_app import QUEUE

pytestmark = pytest.mark.service


@pytest.fixture
def settings(tmp_path):
    return Settings.read(data_dir=tmp_path / "data")


@pytest.fixture
def engine(settings):
    with JobService.open(settings) as made:
        made.dispatcher.waker.start()
        yield made


def _messages(engine):
    with engine._app.connection_for_write() as connection:
        return connection.default_channel.client.llen(QUEUE)


def test_jobs_are_sent_by_a_thread(engine, spec, until):
    with broker(engine.settings):
        for _ in range(3):
            engine.submit(spec())
        assert until(lambda: _messages(engine) == 3)


def test_what_is_sent_is_written_down_soon(engine, spec, until):
    with broker(engine.settings):
        job = engine.submit(spec())
        assert until(lambda: job.id not in engine._records.waiting(quiet_seconds=60.0, limit=10))
        assert _messages(engine) == 1


def test_the_end_loses_no_job(engine, spec):
    with broker(engine.settings):
        for _ in range(250):
            engine.submit(spec())
        engine.dispatcher.waker.close()
        assert _messages(engine) == 250
        assert engine._records.waiting(quiet_seconds=60.0, limit=10) == []
        engine.submit(spec())  # from now on in this thread
        assert _messages(engine) == 251


def test_without_a_broker_the_upkeep_finds_the_jobs(engine, spec, until):
    jobs = [engine.submit(spec()) for _ in range(3)]
    engine.dispatcher.waker.close()
    assert engine._records.waiting(quiet_seconds=60.0, limit=10) == [job.id for job in jobs]
    engine.dispatcher.waker.start()
    with broker(engine.settings):
        assert engine.dispatcher.requeue() == 3
        last = engine.submit(spec())
        assert until(lambda: last.id not in engine._records.waiting(quiet_seconds=60.0, limit=10))


def test_nobody_waits_for_a_broker_that_says_nothing(spec, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"redis://127.0.0.1:{silent.getsockname()[1]}/0"
        with JobService.open(Settings.read(data_dir=tmp_path, broker_url=url)) as engine:
            engine.dispatcher.waker.start()
            jobs = [engine.submit(spec()) for _ in range(20)]
            start = time.monotonic()
            engine.dispatcher.waker.close()
            assert time.monotonic() - start < 5.0  # the end is bounded; each try takes a third of a second
            assert engine._records.waiting(quiet_seconds=60.0, limit=50) == [job.id for job in jobs]


def test_what_goes_wrong_ends_no_thread(engine, spec, monkeypatch, until):
    with monkeypatch.context() as broken:
        broken.setattr(engine.dispatcher._sender, "_message", lambda *_: 1 // 0)
        lost = engine.submit(spec())
        assert until(lambda: not engine.dispatcher.waker._waiting)
        time.sleep(0.1)
    with broker(engine.settings):
        job = engine.submit(spec())
        assert until(lambda: engine._records.waiting(quiet_seconds=60.0, limit=10) == [lost.id])
        assert job.id != lost.id


def test_what_the_engine_keeps_survives_a_power_cut(engine):
    with engine._database.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL: each commit is on the disk


def test_the_log_of_the_record_is_put_in_order_by_the_thread(engine, spec, monkeypatch, until):
    done = []
    monkeypatch.setattr(engine.dispatcher.waker, "_put_in_order", lambda: done.append(True))
    monkeypatch.setattr("worker.jobs.queue.background_publisher._ORDERLY", 10)
    with broker(engine.settings):
        for _ in range(12):
            engine.submit(spec())
        assert until(lambda: done)
