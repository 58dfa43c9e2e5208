"""The dispatcher: messages are Celery's own, resumed jobs go first, and a broker may be away for a while."""

import pytest

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.processes.process_host import broker
from worker.jobs.queue.celery_app import PUBLISH_JOBS, QUEUE

pytestmark = pytest.mark.service


@pytest.fixture
def job_service(tmp_path):
    with JobService.open(Settings.read(data_dir=tmp_path / "data")) as opened:
        yield opened


def test_jobs_keep_their_order_and_resumed_ones_go_first(job_service, queued_jobs):
    with broker(job_service.settings.socket):
        assert job_service.dispatcher.queue_length() == 0
        for number in "34":
            job_service.dispatcher.publish_jobs([number * 26])
        for number in "12":
            job_service.dispatcher.publish_jobs([number * 26], resumed=True)
        assert job_service.dispatcher.queue_length() == 4
        assert queued_jobs(job_service) == [number * 26 for number in "1234"]


def test_jobs_that_are_published_together_share_a_message(job_service, queued_jobs):
    with broker(job_service.settings.socket):
        job_service.dispatcher.publish_jobs(["1" * 26])
        job_service.dispatcher.publish_jobs([number * 26 for number in "234"])
        assert job_service.dispatcher.queue_length() == 2
        with job_service._app.connection_for_read() as connection, connection.SimpleQueue(QUEUE) as queue:
            message = queue.get(timeout=5.0)
            message.ack()
            assert message.headers["task"] == PUBLISH_JOBS  # before the jobs that wait
            messages, resumed = message.payload[0]
        job_service.dispatcher.publish_each(messages, resumed=resumed)  # as the worker does
        assert job_service.dispatcher.queue_length() == 4
        assert queued_jobs(job_service) == [number * 26 for number in "1234"]


def test_a_broker_that_comes_back_is_used_again(job_service, queued_jobs):
    with pytest.raises(BrokerUnavailable):
        job_service.dispatcher.publish_jobs(["0" * 26])
    with pytest.raises(BrokerUnavailable):
        job_service.dispatcher.queue_length()
    with broker(job_service.settings.socket) as server:
        job_service.dispatcher.publish_jobs(["1" * 26])
        server.stop()
        with pytest.raises(BrokerUnavailable):
            job_service.dispatcher.publish_jobs(["2" * 26])
        assert not job_service.dispatcher.answers()
        server.start()
        assert job_service.dispatcher.answers()
        job_service.dispatcher.publish_jobs(["3" * 26])
        assert queued_jobs(job_service)[-1] == "3" * 26
