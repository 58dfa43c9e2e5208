"""Discovery: announcements and values, between a real service and a real broker, and against a JSON Schema of ours."""

import json
import re
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from threading import Thread

import httpx
import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.command.server import listening
from api.command.service.client import Client
from api.mqtt.batch_poller import BatchPoller
from api.mqtt.broker_address import BrokerAddress, Topics
from api.mqtt.connection import Connection
from api.mqtt.discovery import Discovery, Failure
from api.mqtt.job_poller import JobPoller
from api.mqtt.publisher import Publisher
from api.mqtt.responder import Responder, run_of
from api.mqtt.silhouette_poller import SilhouettePoller
from tests.api.mqtt.mosquitto import Listener, running
from tests.printing.progress.planned_manifest import bench
from worker.jobs.common.errors import SettingsError
from worker.jobs.records.models import StoredFile
from worker.spec.manifest import JSON_TYPE

_SCHEMA = json.loads((Path(__file__).parent / "discovery.schema.json").read_text())
_JOB = "7" * 26

_QUEUE = {
    "runs_left": 3,
    "next": {
        "job": _JOB, "name": "hall", "run": 2, "begin": datetime(2026, 3, 7, 18, 42, tzinfo=UTC), "material": "PLA",
        "colour": None,
    },
    "jobs": [{"job": _JOB, "filament": [{"material": "PLA", "colour": None, "left": 187.6}]}],
}  # fmt: skip
_EMPTY = {"runs_left": 0, "next": None, "jobs": []}


class _Recorder:
    """Takes the place of a connection: the last document of each topic, and how many were published."""

    def __init__(self):
        self.topics, self.count = {}, 0

    def publish_state(self, topic, document, *, seconds):
        assert seconds is None or seconds >= 0
        self.count += 1
        if document is None:
            del self.topics[topic]
        else:
            self.topics[topic] = json.loads(json.dumps(document))


def _announcements(recorder):
    return {topic: document for topic, document in recorder.topics.items() if topic.endswith("/config")}


@pytest.mark.parametrize("queue", [_QUEUE, _EMPTY])
@pytest.mark.parametrize("button", [True, False])
def test_announcements_match_the_schema_and_name_topics_that_are_published(queue, button):
    recorder = _Recorder()
    Discovery(recorder, Topics.below("house/printer"), "hub", button=button).update(queue)
    announced = _announcements(recorder)
    assert len(announced) == 5 + button
    assert len({document["unique_id"] for document in announced.values()}) == len(announced)
    jsonschema.Draft202012Validator.check_schema(_SCHEMA)
    for topic, document in announced.items():
        jsonschema.Draft202012Validator(_SCHEMA).validate(document)
        assert re.fullmatch(r"hub/(sensor|button)/[A-Za-z0-9_-]+/[a-z_]+/config", topic)
        states = {place["topic"] for place in document["availability"]} | {document.get("state_topic")}
        assert states - {None, "house/printer/status"} <= recorder.topics.keys()


def test_values_are_plain_text():
    recorder = _Recorder()
    discovery = Discovery(recorder, Topics.below("d"), "hub", button=True)
    discovery.note_failures(
        [Failure(datetime(2026, 3, 8, tzinfo=UTC), "late"), Failure(datetime(2026, 3, 7, tzinfo=UTC), "x")]
    )
    discovery.update(_QUEUE)
    values = {name.rpartition("/")[2]: text for name, text in recorder.topics.items() if name.startswith("d/values/")}
    assert values == {
        "runs_left": "3",
        "next_run": "hall, run 2",
        "next_start": "2026-03-07T18:42:00+00:00",
        "filament_left": "187.6",
        "last_failure": "late",
        "run_printed": "online",
    }
    discovery.update(_EMPTY)
    assert recorder.topics["d/values/next_run"] == recorder.topics["d/values/next_start"] == "None"
    assert recorder.topics["d/values/run_printed"] == "offline"
    discovery.note_failures([Failure(datetime(2026, 3, 9, tzinfo=UTC), "x" * 999)])
    discovery.update(_EMPTY)
    assert len(recorder.topics["d/values/last_failure"]) == 255


def test_only_changes_are_published_until_everything_is_due_again():
    recorder = _Recorder()
    discovery = Discovery(recorder, Topics.below("d"), "hub", button=True)
    discovery.update(_QUEUE)
    first = recorder.count
    discovery.update(_QUEUE)
    assert recorder.count == first
    discovery.update({**_QUEUE, "next": {**_QUEUE["next"], "run": 3}})
    assert recorder.count == first + 2  # the button and the next run
    discovery.repeat()
    discovery.update(_QUEUE)
    assert recorder.count == 2 * first + 2
    discovery.remove()
    assert _announcements(recorder) == {}


@given(root=st.text(min_size=1, max_size=40))
def test_any_prefix_makes_ids_that_are_its_own(root):
    try:
        topics = Topics.below(root)
    except SettingsError:
        return
    node = Discovery(_Recorder(), topics, "hub").node
    assert re.fullmatch(r"[A-Za-z0-9_-]+", node)
    other = Discovery(_Recorder(), Topics.below(f"{topics.root}_"), "hub").node
    assert node != other


@pytest.mark.parametrize(
    ("payload", "named"),
    [
        (f'{{"job": "{_JOB}", "run": 3}}'.encode(), (_JOB, 3)),
        (f'{{"job": "{_JOB}", "run": true}}'.encode(), None),
        (f'{{"job": "{_JOB}", "run": 0}}'.encode(), None),
        (b'{"job": "../keys", "run": 3}', None),
        (b"{}", None),
        (b"PRESS", None),
        (b"[]", None),
        (b"x" * 2_000, None),
    ],
)
def test_a_request_names_a_job_and_a_run(payload, named):
    assert run_of(payload) == named


@pytest.fixture
def job(job_service, records, blobs):
    """A job of a key with the scopes read and record that is to be printed, and that key's secret."""
    key, secret = job_service.keys.create("hub", ["read", "record"])
    spec, manifest = bench(timed=True)
    data = manifest.model_dump_json().encode()
    blobs.put("test/discovery", data)
    job = records.add("bench left", spec.model_dump_json(), owner=key.id).id
    stored = [StoredFile("manifest.json", JSON_TYPE, len(data), sha256(data).hexdigest(), "test/discovery")]
    assert records.succeed(records.claim(job, lease_seconds=600.0, attempts=3), stored)
    return job, secret


@contextmanager
def _publisher(url, broker, secret):
    """Give a publisher with discovery and a responder that records runs, and its connection to the broker."""
    with Client(url, secret) as client:
        topics = Topics.below("house")
        connection = Connection(BrokerAddress("127.0.0.1", broker.port, tls=False), topics, lambda _: None)
        discovery = Discovery(connection, topics, "hub", button=True)
        pollers = JobPoller(client, timedelta(days=1)), BatchPoller(client, timedelta(days=1)), SilhouettePoller(client)
        publisher = Publisher(*pollers, connection, topics, 0.2, str, discovery)
        responder = Responder(client, connection, topics, publisher.poll_prints_soon)
        responder.start()
        Thread(target=connection.open, daemon=True).start()
        try:
            yield publisher, connection
        finally:
            responder.close()
            connection.close()


@pytest.mark.service
def test_a_press_of_the_button_records_the_run_that_it_names_once(settings, job, tmp_path, until):
    job_id, secret = job
    _, manifest = bench(timed=True)
    first, second = (run.number for run in manifest.runs[:2])
    with (
        listening(settings.model_copy(update={"port": 0})) as url,
        running(tmp_path) as broker,
        _publisher(url, broker, secret) as (publisher, connection),
    ):
        until(connection._client.is_connected)

        def stepped(condition):
            publisher.step(datetime.now(UTC))
            return condition()

        hub = Listener(broker, topic="#")
        press = until(lambda: stepped(lambda: hub.last_text("hub/button/house/run_printed/config")))
        config = json.loads(press)
        jsonschema.Draft202012Validator(_SCHEMA).validate(config)
        assert json.loads(config["payload_press"]) == {"job": job_id, "run": first}
        assert until(lambda: hub.last_text("house/values/runs_left")) == str(len(manifest.runs))
        assert hub.last_text("house/values/run_printed") == "online"
        late = Listener(broker, topic="hub/#")
        until(lambda: late.last_text("hub/sensor/house/runs_left/config"))
        assert late.last("hub/sensor/house/runs_left/config").retain
        assert not hasattr(late.last("hub/sensor/house/runs_left/config").properties, "MessageExpiryInterval")

        for _ in range(3):  # a message with QoS 1 may arrive several times
            hub.publish(config["command_topic"], config["payload_press"].encode())
        until(lambda: stepped(lambda: hub.last_text("house/values/runs_left") == str(len(manifest.runs) - 1)))

        after = json.loads(hub.last_text("hub/button/house/run_printed/config"))
        assert json.loads(after["payload_press"]) == {"job": job_id, "run": second}
        headers = {"Authorization": f"Bearer {secret.get_secret_value()}"}
        prints = httpx.get(f"{url}/v1/jobs/{job_id}/prints", headers=headers, trust_env=False).json()
        assert [(event["run"], event["id"]) for event in prints["events"]] == [(first, f"mqtt-{job_id}-{first}")]
        hub.publish(config["command_topic"], b"PRESS", ResponseTopic="answers/a", CorrelationData=b"1")
        answer = json.loads(until(lambda: hub.last_text("answers/a")))
        assert answer["problem"]["title"] == "The request names no run."

        failed = {"outcome": "failed", "run": second, "note": "came loose"}
        httpx.post(f"{url}/v1/jobs/{job_id}/prints", json=failed, headers=headers, trust_env=False)
        publisher.poll_prints_soon()
        until(lambda: stepped(lambda: hub.last_text("house/values/last_failure") != "None"))
        assert hub.last_text("house/values/last_failure") == f"bench left, run {second} failed: came loose"
        hub.close()
        late.close()
