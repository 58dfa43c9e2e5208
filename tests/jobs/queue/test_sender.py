"""The sender: its messages are Celery's own, many in one step, over a connection that may break."""

import json
from base64 import b64decode

import pytest

from worker.jobs.common.errors import BrokerUnavailable
from worker.jobs.common.settings import Settings
from worker.jobs.processes.process_host import broker
from worker.jobs.queue.celery_app import BUILD_JOB, GATHER_BATCH, QUEUE, make_app
from worker.jobs.queue.sender import Sender

pytestmark = pytest.mark.service

_TRACED = {"traceparent": "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"}

#: What names a single message or its sender.
_OWN = ("id", "root_id", "correlation_id", "delivery_tag", "reply_to", "origin")


@pytest.fixture
def settings(tmp_path):
    return Settings.read(data_dir=tmp_path / "data")


@pytest.fixture
def app(settings):
    made = make_app(settings, "send")
    yield made
    made.close()


@pytest.fixture
def sender(app):
    made = Sender(app)
    yield made
    made.close()


def _sent(app):
    """Return what the broker has, the oldest first, and forget it."""
    with app.connection_for_write() as connection:
        client = connection.default_channel.client
        found = []
        while (one := client.rpop(QUEUE)) is not None:
            found.append(json.loads(one))
        return found


def _common(message):
    body = json.loads(b64decode(message["body"]))
    return {
        **message,
        "body": body,
        "headers": {name: value for name, value in message["headers"].items() if name not in _OWN},
        "properties": {name: value for name, value in message["properties"].items() if name not in _OWN},
    }


def test_a_message_is_what_celery_sends(settings, app, sender):
    with broker(settings):
        app.send_task(BUILD_JOB, args=["0" * 26], retry=False, headers=_TRACED)
        sender.send(BUILD_JOB, [("0" * 26, _TRACED)])
        theirs, ours = _sent(app)
    assert _common(ours) == _common(theirs)
    assert ours["headers"].keys() == theirs["headers"].keys()
    assert ours["properties"].keys() == theirs["properties"].keys()
    assert ours["headers"]["id"] == ours["headers"]["root_id"] == ours["properties"]["correlation_id"]


def test_many_go_in_their_order_each_with_a_name_of_its_own(settings, app, sender):
    jobs = [f"{number:026d}" for number in range(50)]
    with broker(settings):
        sender.send(GATHER_BATCH, [(job, {}) for job in jobs])
        sender.send(GATHER_BATCH, [])
        sent = _sent(app)
    assert [json.loads(b64decode(one["body"]))[0] for one in sent] == [[job] for job in jobs]
    assert len({one["headers"]["id"] for one in sent}) == len({one["properties"]["delivery_tag"] for one in sent}) == 50


def test_what_goes_first_is_taken_before_all_that_waits_in_its_own_order(settings, app, sender):
    with broker(settings):
        assert sender.length() == 0
        sender.send(BUILD_JOB, [("3" * 26, {}), ("4" * 26, {})])
        sender.send(BUILD_JOB, [("1" * 26, {}), ("2" * 26, {})], first=True)
        assert sender.length() == 4
        sent = _sent(app)
    assert [json.loads(b64decode(one["body"]))[0] for one in sent] == [[number * 26] for number in "1234"]
    with pytest.raises(BrokerUnavailable):
        sender.length()


def test_a_broker_that_comes_back_is_found(settings, app, sender):
    with pytest.raises(BrokerUnavailable):
        sender.send(BUILD_JOB, [("0" * 26, {})])
    with broker(settings) as server:
        sender.send(BUILD_JOB, [("1" * 26, {})])
        server.stop()
        with pytest.raises(BrokerUnavailable):
            sender.send(BUILD_JOB, [("2" * 26, {})])
        server.start()
        sender.send(BUILD_JOB, [("3" * 26, {})])
        assert [json.loads(b64decode(one["body"]))[0] for one in _sent(app)][-1] == ["3" * 26]
