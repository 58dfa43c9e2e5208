"""``drawerwright mqtt`` as a process of its own, between a real service and a real broker."""

import gc
import json
import os
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from itertools import count
from pathlib import Path

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import SecretStr

from api.command.server import listening
from api.command.service.client import Client, ServiceRefused
from api.mqtt.batch_poller import BatchPoller
from api.mqtt.broker_address import BrokerAddress, Topics
from api.mqtt.connection import Connection, tls_context
from api.mqtt.job_poller import JobPoller, PollResult
from api.mqtt.publisher import Publisher
from api.mqtt.silhouette_poller import SilhouettePoller
from tests.api.mqtt.mosquitto import Authority, Listener, running
from tests.printing.progress.planned_manifest import bench
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.principal import Principal
from worker.jobs.records.batches import CheckedSpec
from worker.jobs.records.models import Progress, StoredFile
from worker.spec.manifest import JSON_TYPE
from worker.spec.requests.silhouette import OutlineRequest, PolygonRequest

pytestmark = pytest.mark.service

_ROOT = Path(__file__).parents[3]
_names = count()


@pytest.fixture(scope="module")
def port(settings):
    with listening(settings.model_copy(update={"port": 0})) as url:
        yield int(url.rpartition(":")[2])


@pytest.fixture(scope="module")
def made_key(job_service):
    return job_service.keys.create("home automation", ["read", "record"])


@pytest.fixture(scope="module")
def key(made_key):
    return made_key[1].get_secret_value()


@pytest.fixture(scope="module")
def add(records, made_key):
    """Return a function that adds a job of the key and returns its id."""
    return lambda spec="{}": records.add("bench left", spec, owner=made_key[0].id).id


@pytest.fixture(scope="module")
def broker(tmp_path_factory):
    with running(tmp_path_factory.mktemp("broker")) as broker:
        yield broker


@pytest.fixture
def listen(broker):
    """Return a function that subscribes."""
    listeners = []

    def begin(*, broker=broker, **options):
        listeners.append(Listener(broker, **options))
        return listeners[-1]

    yield begin
    for listener in listeners:
        listener.close()


@pytest.fixture
def root():
    """A topic prefix for this test alone: all tests share one broker."""
    return f"house/{next(_names)}"


@pytest.fixture(scope="module")
def publish(broker, port, key, tmp_path_factory):
    """Return a context manager in which the publisher runs, below a topic; it must end well, unless it is killed."""
    folder = tmp_path_factory.mktemp("publisher")
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DRAWERWRIGHT_")}
    defaults = {"PYTHONPATH": str(_ROOT), "XDG_CONFIG_HOME": str(folder), "DRAWERWRIGHT_KEY": key}
    command = [sys.executable, "-m", "api.command", "mqtt", "--every", "0.2", "--url"]

    @contextmanager
    def run(root, *more, broker=broker, url=f"http://127.0.0.1:{port}", end=signal.SIGTERM, **environment):
        environment = {**kept, **defaults, "DRAWERWRIGHT_MQTT_BROKER": f"mqtt://127.0.0.1:{broker.port}", **environment}
        with subprocess.Popen([*command, url, "--topic", root, *more], env=environment, cwd=folder) as process:
            try:
                yield
            finally:
                process.send_signal(end)
                code = process.wait(timeout=60)
        assert code == (0 if end == signal.SIGTERM else -end)

    return run


@pytest.fixture(scope="module")
def shop(publish, broker, until):
    """What the topics of a publisher begin with that runs while these tests do, and a listener from the start on."""
    listener = Listener(broker, topic="shop/#")
    with publish("shop"):
        until(lambda: listener.last_text("shop/status") == "online")
        yield "shop", listener
    until(lambda: listener.last_text("shop/status") == "offline")
    statuses = [message.payload for message in listener.heard if message.topic == "shop/status"]
    listener.close()
    assert statuses == [b"online", b"offline"]  # it statuses goodbye, so that the last will was not needed


@pytest.fixture(scope="module")
def made(records, blobs, add):
    """Return a function that makes a job that succeeded and is to be printed."""

    def make():
        spec, manifest = bench(timed=True)
        job = add(spec.model_dump_json())
        data = manifest.model_dump_json().encode()
        key = f"test/mqtt-{next(_names)}"
        blobs.put(key, data)
        stored = [StoredFile("manifest.json", JSON_TYPE, len(data), sha256(data).hexdigest(), key)]
        assert records.succeed(records.claim(job, lease_seconds=600.0, attempts=3), stored)
        return job

    return make


@pytest.fixture
def printed(port, key):
    """Return a function that records a run as printed."""

    def tell(job, run):
        address = f"http://127.0.0.1:{port}/v1/jobs/{job}/prints"
        headers = {"Authorization": f"Bearer {key}"}
        answer = httpx.post(address, json={"outcome": "printed", "run": run}, headers=headers, trust_env=False)
        assert answer.status_code == 201, answer.text

    return tell


def _json(listener, topic):
    text = listener.last_text(topic)
    return json.loads(text) if text else None


def test_a_job_is_published_as_it_runs_and_its_state_is_retained(shop, listen, add, records, until):
    root, early = shop
    job = add()
    until(lambda: (_json(early, f"{root}/jobs/{job}/event") or {}).get("type") == "job.queued")
    until(lambda: (_json(early, f"{root}/jobs/{job}/state") or {}).get("state") == "queued")
    assert early.last(f"{root}/jobs/{job}/state").properties.MessageExpiryInterval <= 3_600  # it is to change
    claim = records.claim(job, lease_seconds=600.0, attempts=3)
    until(lambda: (_json(early, f"{root}/jobs/{job}/state") or {}).get("state") == "running")
    records.report(claim, Progress(1, 4, "T1"))
    until(lambda: (_json(early, f"{root}/jobs/{job}/state") or {})["progress"]["done"] == 1)
    records.succeed(claim, [])
    until(lambda: (_json(early, f"{root}/jobs/{job}/event") or {}).get("type") == "job.succeeded")
    event = early.last(f"{root}/jobs/{job}/event")
    assert dict(event.properties.UserProperty) == {"type": "job.succeeded", "job": job}
    assert event.properties.ContentType == "application/json"
    assert json.loads(event.payload)["data"]["name"] == "bench left"
    late = listen(topic=f"{root}/#")
    until(lambda: (_json(late, f"{root}/jobs/{job}/state") or {}).get("state") == "succeeded")
    state = late.last(f"{root}/jobs/{job}/state")
    assert state.retain
    assert state.qos == 1
    assert state.properties.PayloadFormatIndicator == 1
    assert 29 * 86_400 < state.properties.MessageExpiryInterval <= 30 * 86_400
    until(lambda: late.last_text(f"{root}/status") == "online")
    assert late.last(f"{root}/jobs/{job}/event") is None


def test_the_print_queue_is_published_and_follows_print_events(shop, listen, made, printed, until):
    root, listener = shop
    job, (_, manifest) = made(), bench(timed=True)

    def queue_entry():
        return next(
            (entry for entry in (_json(listener, f"{root}/queue") or {"jobs": ()})["jobs"] if entry["job"] == job), None
        )

    waiting = until(queue_entry)
    assert (waiting["runs_left"], waiting["pieces_left"]) == (len(manifest.runs), manifest.work.pieces)
    assert [run["run"] for run in waiting["next"]] == [run.number for run in manifest.runs[:3]]
    assert waiting["filament"][0]["needed"] > 0.0
    assert listener.last(f"{root}/queue").properties.MessageExpiryInterval <= 3_600
    printed(job, manifest.runs[0].number)
    until(lambda: (_json(listener, f"{root}/jobs/{job}/event") or {}).get("type") == "job.printed")
    assert _json(listener, f"{root}/jobs/{job}/event")["data"]["printed"]["run"] == manifest.runs[0].number
    until(lambda: queue_entry()["runs_left"] == len(manifest.runs) - 1)
    assert queue_entry()["next"][0]["run"] == manifest.runs[1].number
    late = listen(topic=f"{root}/queue")
    until(lambda: late.last_text(f"{root}/queue"))
    assert late.last(f"{root}/queue").retain


@pytest.fixture
def batches(job_service, made_key):
    """Return functions that add a batch of one refused spec, and that end it."""
    refused = CheckedSpec("bad", None, {"title": "No.", "status": 422, "detail": "No."})

    def end(batch):
        token = job_service.batches.claim(batch, lease_seconds=600.0, attempts=3)
        assert job_service.batches.finish(batch, token, [])

    return lambda: job_service.batches.add("kitchen", [refused], owner=made_key[0].id)[0], end


def test_the_end_of_a_batch_is_published_in_the_form_of_webhooks(shop, batches, port, key, until):
    root, listener = shop
    add_batch, end = batches
    batch = add_batch()
    end(batch)
    event = until(lambda: _json(listener, f"{root}/batches/{batch}/event"))
    headers = {"Authorization": f"Bearer {key}"}
    document = httpx.get(f"http://127.0.0.1:{port}/v1/batches/{batch}", headers=headers, trust_env=False).json()
    del document["entries"]
    assert event == {"type": "batch.ended", "timestamp": document["finished"], "data": document}
    message = listener.last(f"{root}/batches/{batch}/event")
    assert dict(message.properties.UserProperty) == {"type": "batch.ended", "batch": batch}
    assert not message.retain


def test_each_batch_ends_once_for_a_poller(batches, job_service, port, key):
    add_batch, end = batches
    with Client(f"http://127.0.0.1:{port}", SecretStr(key)) as client:
        poller, now = BatchPoller(client, timedelta(days=1)), datetime.now(UTC)
        first, second = add_batch(), add_batch()
        end(second)
        assert poller.poll(now) == []  # it had ended before the first poll
        assert poller.poll(now) == []
        third = add_batch()
        end(third)
        end(first)
        assert [batch.id for batch in poller.poll(now)] == [first, third]
        assert poller.poll(now) == []
        removed, lost = add_batch(), add_batch()
        assert poller.poll(now) == []
        for batch in (removed, lost):
            end(batch)
        job_service.remove_batch(removed)
        client._http.headers["Authorization"] = "Bearer nonsense"
        with pytest.raises(ServiceRefused):
            poller.poll(now)
        client._http.headers["Authorization"] = f"Bearer {key}"
        assert [batch.id for batch in poller.poll(now)] == [lost]


@pytest.fixture
def draw(job_service, made_key):
    """Return functions that add a silhouette of this key, and that correct one."""
    owner = Principal(made_key[0].id, frozenset())
    corners = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))

    def correct(silhouette_id):
        return job_service.silhouettes.correct(owner, silhouette_id, OutlineRequest(points=(*corners[:2], (9.0, 8.0))))

    return lambda: job_service.silhouettes.add_polygon(owner, PolygonRequest(name="shim", points=corners)).id, correct


def test_silhouettes_are_published_in_the_form_of_webhooks(shop, draw, port, key, until):
    root, listener = shop
    add_silhouette, correct = draw
    made = add_silhouette()
    topic = f"{root}/silhouettes/{made}"
    event = until(lambda: _json(listener, f"{topic}/event"))
    headers = {"Authorization": f"Bearer {key}"}
    document = httpx.get(f"http://127.0.0.1:{port}/v1/silhouettes/{made}", headers=headers, trust_env=False).json()
    assert (event["type"], event["timestamp"]) == ("silhouette.ended", document["updated"])
    assert "outline" not in event["data"]
    assert event["data"].items() <= document.items()
    message = listener.last(f"{topic}/event")
    assert dict(message.properties.UserProperty) == {"type": "silhouette.ended", "silhouette": made}
    assert not message.retain
    assert _json(listener, f"{topic}/state") == event["data"]
    assert listener.last(f"{topic}/state").properties.MessageExpiryInterval <= 3_600
    correct(made)
    until(lambda: _json(listener, f"{topic}/event")["type"] == "silhouette.corrected")


def test_each_change_of_a_silhouette_is_seen_once_by_a_poller(draw, port, key):
    add_silhouette, _ = draw
    with Client(f"http://127.0.0.1:{port}", SecretStr(key)) as client:
        poller = SilhouettePoller(client)
        add_silhouette()
        assert poller.poll(datetime.now(UTC)) == []
        several = [add_silhouette() for _ in range(3)]
        assert [silhouette.id for silhouette in poller.poll(datetime.now(UTC))] == several
        assert poller.poll(datetime.now(UTC)) == []
        assert set(several) <= set(poller.recent)
        assert poller.poll(datetime.now(UTC) + timedelta(hours=2)) == []
        assert poller.recent == {}


def test_a_publisher_that_is_killed_has_a_last_will(publish, listen, root, add, until):
    job = add()
    listener = listen(topic=f"{root}/#")
    with publish(root, end=signal.SIGKILL):
        until(lambda: listener.last_text(f"{root}/status") == "online")
        until(lambda: listener.last_text(f"{root}/jobs/{job}/state"))
        assert not listener.last(f"{root}/jobs/{job}/event")  # it was there before anybody changes
    until(lambda: listener.last_text(f"{root}/status") == "offline")
    late = listen(topic=f"{root}/#")
    until(lambda: late.last_text(f"{root}/status") == "offline")
    assert late.last(f"{root}/status").retain


def test_a_restarted_broker_gets_every_state_again(publish, listen, add, until, tmp_path):
    job = add()
    with running(tmp_path) as broker, publish("a", broker=broker):
        first = listen(broker=broker)
        until(lambda: first.last_text(f"a/jobs/{job}/state"))
        broker.stop()
        broker.start()  # it keeps nothing on disk
        second = listen(broker=broker)
        for topic in ("a/status", f"a/jobs/{job}/state", "a/queue"):
            until(lambda topic=topic: second.last_text(topic))
        assert second.last_text("a/status") == "online"


def test_a_service_that_goes_away_is_offline_until_it_comes_back(publish, listen, settings, until):
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    here = settings.model_copy(update={"port": port})
    listener = listen(topic="away/status")
    with publish("away", url=f"http://127.0.0.1:{port}"):
        until(lambda: listener.last_text("away/status") == "offline")
        for _ in range(2):
            with listening(here):
                until(lambda: listener.last_text("away/status") == "online")
            until(lambda: listener.last_text("away/status") == "offline")


# the library leaves its socket to the collector where a certificate is refused
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning")
def test_tls_with_user_name_and_password(publish, listen, root, tmp_path, until):
    authority, other = Authority(tmp_path / "ca"), Authority(tmp_path / "other")
    user = ("shop", "a long password")
    with running(tmp_path, tls=authority, users=[user]) as broker:
        url = f"mqtts://127.0.0.1:{broker.port}"
        credentials = {"DRAWERWRIGHT_MQTT_USERNAME": user[0], "DRAWERWRIGHT_MQTT_PASSWORD": user[1]}
        listener = listen(broker=broker, ca=authority.ca, user=user)
        with publish(root, "--ca-file", str(authority.ca), DRAWERWRIGHT_MQTT_BROKER=url, **credentials):
            until(lambda: listener.last_text(f"{root}/status") == "online")
        until(lambda: listener.last_text(f"{root}/status") == "offline")
        for ca, password, why in ((other.ca, user[1], "not trusted"), (authority.ca, "wrong", "refuses")):
            notes = []
            connection = Connection(BrokerAddress.parse(url), Topics.below(root), notes.append)
            with pytest.raises(SettingsError, match=why) as refused:
                connection.open(user[0], password, tls_context(str(ca)))
            assert password not in f"{notes} {refused.value.problem()}"
            gc.collect()
        with pytest.raises(SettingsError, match="no certificates"):
            tls_context(str(authority.key))


def test_a_key_without_read_scope_stops_the_publisher(broker, root, port):
    topics = Topics.below(root)
    connection = Connection(BrokerAddress.parse(f"mqtt://127.0.0.1:{broker.port}"), topics, str)
    connection.open()
    try:
        with Client(f"http://127.0.0.1:{port}", SecretStr("dw_nobody_nothing")) as client:
            pollers = (
                JobPoller(client, timedelta(days=1)),
                BatchPoller(client, timedelta(days=1)),
                SilhouettePoller(client),
            )
            publisher = Publisher(*pollers, connection, topics, 0.2, str)
            with pytest.raises(ServiceRefused):
                publisher.run()
    finally:
        connection.close()


def test_changed_and_removed_jobs_are_reported_once(port, key, add, job_service, records):
    with Client(f"http://127.0.0.1:{port}", SecretStr(key)) as client:
        poller = JobPoller(client, timedelta(days=1))
        jobs = [add() for _ in range(3)]
        now = datetime.now(UTC)
        assert set(jobs) <= {job.id for job in poller.poll(now, full=True).changed}
        assert poller.poll(now, full=False) == PollResult()
        job_service.cancel(jobs[0])
        changes = poller.poll(now, full=False)
        assert [job.id for job in changes.changed] == [job.id for job in changes.state_changes] == [jobs[0]]
        for job in jobs[:2]:
            records.cancel(job)
            job_service.remove(job)
        assert set(poller.poll(now, full=True).removed) == set(jobs[:2])
        changes = poller.poll(now + timedelta(days=2), full=True)
        assert jobs[2] not in changes.removed  # it has not ended, however old it is


@pytest.mark.parametrize(
    ("url", "expected"),
    [
        ("mqtts://broker.example", ("broker.example", 8883, True)),
        ("mqtt://[::1]:1884/", ("::1", 1884, False)),
        ("MQTT://127.0.0.1", ("127.0.0.1", 1883, False)),
    ],
)
def test_a_broker_address_is_parsed(url, expected):
    address = BrokerAddress.parse(url)
    assert (address.host, address.port, address.tls) == expected


@pytest.mark.parametrize(
    "url",
    ["", "broker", "http://x", "mqtt://", "mqtt://x:99999", "mqtt://u:p@x", "mqtt://x/y", "mqtt://[x", "mqtts://u@x"],
)
def test_an_invalid_broker_address_is_refused(url):
    with pytest.raises(SettingsError):
        BrokerAddress.parse(url)


@given(st.text(max_size=40))
def test_a_topic_has_no_wildcards_and_no_reserved_prefix(text):
    try:
        topics = Topics.below(text)
    except SettingsError:
        return
    of_one = (topics.state, topics.event, topics.batch_event, topics.silhouette_state, topics.silhouette_event)
    for topic in (topics.status, topics.queue, *(name("x") for name in of_one)):
        assert not set("+#\0") & set(topic)
        assert not topic.startswith(("$", "/"))
