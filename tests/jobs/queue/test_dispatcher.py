"""The dispatcher: messages are Celery's own, resumed jobs go first, and a broker may be away for a while."""

import pytest

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.processes.process_host import broker
from worker.jobs.queue.celery_app import QUEUE

pytestmark = pytest.mark.service


@pytest.fixture
def engine(tmp_path):
    with JobService.open(Settings.read(data_dir=tmp_path / "data")) as opened:
        yield opened


def _delivered(engine, count):
    """Return the first argument of so many messages in the order in which a worker gets them."""
    arguments = []
    with engine._app.connection_for_read() as connection, connection.SimpleQueue(QUEUE) as queue:
        for _ in range(count):
            message = queue.get(timeout=5.0)
            arguments.append(message.payload[0][0])
            message.ack()
    return arguments


def test_jobs_keep_their_order_and_resumed_ones_go_first(engine):
    with broker(engine.settings.socket):
        assert engine.dispatcher.queue_length() == 0
        engine.dispatcher.publish_jobs(["3" * 26, "4" * 26])
        engine.dispatcher.publish_jobs(["1" * 26, "2" * 26], resumed=True)
        assert engine.dispatcher.queue_length() == 4
        assert _delivered(engine, 4) == [number * 26 for number in "1234"]
        assert engine.dispatcher.queue_length() == 0


def test_a_broker_that_comes_back_is_used_again(engine):
    with pytest.raises(BrokerUnavailable):
        engine.dispatcher.publish_jobs(["0" * 26])
    with pytest.raises(BrokerUnavailable):
        engine.dispatcher.queue_length()
    with broker(engine.settings.socket) as server:
        engine.dispatcher.publish_jobs(["1" * 26])
        server.stop()
        with pytest.raises(BrokerUnavailable):
            engine.dispatcher.publish_jobs(["2" * 26])
        assert not engine.dispatcher.answers()
        server.start()
        assert engine.dispatcher.answers()
        engine.dispatcher.publish_jobs(["3" * 26])
        assert _delivered(engine, engine.dispatcher.queue_length())[-1] == "3" * 26
