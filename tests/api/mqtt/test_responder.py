"""Requests over MQTT, between a real service and a real broker, and what counts as a query."""

import json
from itertools import count
from threading import Thread

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.command.server import listening
from api.command.service.client import Client
from api.mqtt.broker_address import BrokerAddress, Topics
from api.mqtt.connection import Connection
from api.mqtt.responder import Responder, query_of
from tests.api.mqtt.mosquitto import Listener, running
from worker.spec.requests.household import ThingRequest

_numbers = count()


@pytest.mark.parametrize(
    ("payload", "query"),
    [(b"calliper", "calliper"), (b" where is it? ", "where is it?"), (b'{"q": "calliper"}', "calliper"),
     (b'"tape"', "tape"), (b"42", "42"), (b"", None), (b"{}", None), (b'{"q": ["a"]}', None), (b"x" * 2_000, None),
     (b"[1]", None)],
)  # fmt: skip
def test_a_query_is_text_or_json(payload, query):
    assert query_of(payload) == query


@given(st.binary(max_size=1_100))
def test_any_payload_is_a_query_or_none(payload):
    query = query_of(payload)
    assert query is None or 0 < len(query) <= 200


@pytest.mark.service
def test_a_request_is_answered_on_its_response_topic(settings, job_service, tmp_path, until):
    key, secret = job_service.keys.create("voice", ["read"])
    job_service.household.things.create(key.id, ThingRequest(name="calliper", place="on the workbench"))
    with (
        listening(settings.model_copy(update={"port": 0})) as url,
        running(tmp_path) as broker,
        Client(url, secret) as client,
    ):
        topics = Topics.below("house")
        connection = Connection(BrokerAddress("127.0.0.1", broker.port, tls=False), topics, lambda _: None)
        responder = Responder(client, connection, topics)
        responder.start()
        Thread(target=connection.open, daemon=True).start()
        until(connection.take_reconnected)
        asker = Listener(broker, topic="answers/#")

        def answer(payload):
            correlation = str(next(_numbers)).encode()
            asker.publish("house/where", payload, ResponseTopic="answers/a", CorrelationData=correlation)
            heard = until(lambda: [m for m in asker.heard if m.properties.CorrelationData == correlation])
            assert heard[0].properties.ContentType == "application/json"
            return json.loads(heard[0].payload)

        until(asker._client.is_connected)
        asker.publish("house/where", b"calliper")  # nobody would hear the answer: it is left alone
        match = answer(b"caliper")
        assert match["sentence"] == "Calliper: on the workbench."
        assert [thing["thing"]["name"] for thing in match["things"]] == ["calliper"]
        assert answer(b'{"q": "xylophone"}') == {"sentence": "Nothing matches xylophone.", "things": []}
        assert answer(b"{}")["problem"]["title"] == "The request has no query."
        job_service.keys.revoke(key.id)
        until(lambda: answer(b"caliper").get("problem", {}).get("status") == 401)
        assert len(asker.heard) >= 4
        broker.stop()
        broker.start()
        until(connection.take_reconnected)
        again = Listener(broker, topic="answers/#")
        until(again._client.is_connected)
        again.publish("house/where", b"caliper", ResponseTopic="answers/b", CorrelationData=b"5")
        until(lambda: again.last("answers/b"))
        responder.close()
        connection.close()
        for listener in (asker, again):
            listener.close()
