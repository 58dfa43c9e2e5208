"""Server-sent events over a real server: the order, the ids, silence, too many, the end."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import ExitStack, contextmanager
from itertools import takewhile
from threading import Thread

import httpx
import pytest
import uvicorn

from api.app import create_app
from api.app_state import state_of
from api.command.listener import listen
from api.http.responses.stream_quota import StreamQuota
from worker.jobs.common.errors import QuotaReached
from worker.jobs.common.settings import Settings
from worker.jobs.execution.silhouettes.silhouette_runner import SilhouetteRunner
from worker.jobs.processes.child_environment import child_environment
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.models import Progress
from worker.spec.errors import CheckFailed


@pytest.fixture(scope="module")
def app(job_service):
    return create_app(job_service)


@pytest.fixture(scope="module")
def client(app, until):
    """Give a client of the app behind a real server: the transport in memory gives no stream before its end."""
    with listen("127.0.0.1", 0) as listener:
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=10))
        thread = Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        until(lambda: server.started)
        state_of(app).streams = StreamQuota(heartbeat=0.3)
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        with httpx.Client(base_url=address, trust_env=False, timeout=30.0) as made:
            yield made
        server.should_exit = True
        thread.join(30.0)
        assert not thread.is_alive()


class _Reader:
    """An event stream parsed by the WHATWG HTML standard, as far as this service uses it.

    Comments keep a stream alive without end, so the reader fails when no event arrives within ``seconds``, however many
    comments do. A stream that sends nothing at all runs into the client's read timeout.
    """

    def __init__(self, answer, seconds):
        self.answer = answer
        self.comments = 0
        self._lines = answer.iter_lines()
        self._seconds = seconds

    def __iter__(self):
        fields = {}
        deadline = time.monotonic() + self._seconds
        for line in self._lines:
            if not line:
                if "data" in fields:
                    event_id = fields["id"]
                    number = int(event_id) if event_id.isdigit() else event_id  # of a batch it is a digest
                    yield fields["event"], number, json.loads(fields["data"])
                    deadline = time.monotonic() + self._seconds
                fields = {}
            elif line.startswith(":"):
                self.comments += 1
                if time.monotonic() > deadline:
                    pytest.fail(
                        f"{self.answer.url}: no event and no end within {self._seconds:g} s, "
                        f"only {self.comments} comments"
                    )
                yield None
            else:
                name, _, value = line.partition(": ")
                fields[name] = value

    def events(self):
        return (event for event in self if event is not None)


@contextmanager
def _follow(client, path, last=None, seconds=30.0):
    headers = {} if last is None else {"Last-Event-ID": str(last)}
    with client.stream("GET", path, headers=headers) as answer:
        assert answer.status_code == 200, answer.read()
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert answer.headers["cache-control"] == "no-store"
        yield _Reader(answer, seconds)


def test_a_job_is_followed_to_its_end(client, records, claimed):
    claim = claimed()
    with _follow(client, f"/v1/jobs/{claim.job_id}/events") as reader:
        events = reader.events()
        name, first, job = next(events)
        assert (name, job["state"], job["id"]) == ("job.running", "running", claim.job_id)
        records.report(claim, Progress(1, 2, "tray T1"))
        name, second, job = next(events)
        assert (name, job["progress"]) == ("job.running", {"done": 1, "total": 2, "now": "tray T1"})
        records.extend(claim, lease_seconds=600.0)  # a sign of life is no news
        records.succeed(claim, [])
        name, third, job = next(events)
        assert (name, job["state"]) == ("job.succeeded", "succeeded")
        assert job["links"]["self"].startswith(str(client.base_url).rstrip("/"))
        assert first < second < third
        assert list(events) == []
    # a browser comes again, is told that it has all, and stays away
    again = client.get(f"/v1/jobs/{claim.job_id}/events", headers={"Last-Event-ID": str(third)})
    assert (again.status_code, again.content) == (204, b"")
    with _follow(client, f"/v1/jobs/{claim.job_id}/events", second) as reader:
        assert [event[:2] for event in reader.events()] == [("job.succeeded", third)]
    with _follow(client, f"/v1/jobs/{claim.job_id}/events") as reader:
        assert [event[0] for event in reader.events()] == ["job.succeeded"]


def test_who_comes_again_is_not_told_twice_and_silence_is_broken(client, records, claimed):
    claim = claimed()
    path = f"/v1/jobs/{claim.job_id}/events"
    with _follow(client, path) as reader:
        last_id = next(reader.events())[1]
    with _follow(client, path, last_id) as reader:
        seen = iter(reader)
        assert [next(seen), next(seen)] == [None, None]
        assert reader.comments == 2
        records.fail(claim, stored_problem(CheckFailed("T1 is gone.")))
        name, number, job = next(event for event in seen if event is not None)
        assert (name, number > last_id, job["problem"]["detail"]) == ("job.failed", True, "T1 is gone.")


def test_a_stream_without_events_fails_its_reader(client, claimed):
    with (
        _follow(client, f"/v1/jobs/{claimed().job_id}/events", seconds=1.0) as reader,
        pytest.raises(pytest.fail.Exception, match=r"no event and no end within 1 s, only \d+ comments"),
    ):
        assert len(list(reader.events())) == 1


def test_the_stream_says_when_to_come_again(client, claimed):
    with _follow(client, f"/v1/jobs/{claimed().job_id}/events") as reader:
        assert re.fullmatch(r"retry: \d+", next(reader.answer.iter_lines()))


def test_of_no_job_there_is_no_stream(client):
    answer = client.get(f"/v1/jobs/{'0' * 26}/events")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_job_that_is_removed_ends_its_stream(client, job_service, records, claimed):
    claim = claimed()
    records.succeed(claim, [])
    with _follow(client, f"/v1/jobs/{claim.job_id}/events") as reader:
        job_service.remove(claim.job_id)
        assert [event[0] for event in reader.events()] == ["job.succeeded"]
    assert client.get(f"/v1/jobs/{claim.job_id}/events").status_code == 404


def test_all_jobs_are_followed(client, job_service, records, claimed, spec):
    before = claimed()
    with _follow(client, "/v1/events") as reader:
        events = reader.events()
        next(iter(reader))  # the first comment: it is listening
        new = client.post("/v1/jobs", json=spec).json()["id"]
        name, _, job = next(events)
        assert (name, job["id"]) == ("job.queued", new)
        job_service.cancel(new)
        name, number, job = next(events)
        assert (name, job["id"]) == ("job.cancelled", new)
        records.succeed(before, [])
        assert next(events)[2]["id"] == before.job_id
    with _follow(client, "/v1/events", number) as reader:
        events, seen = reader.events(), {}
        while before.job_id not in seen:
            _, _, job = next(events)
            seen[job["id"]] = job["state"]
        assert seen[before.job_id] == "succeeded"


@pytest.mark.parametrize("last", ["nonsense", "-1", "9" * 18, "0", ""])
def test_a_last_event_that_never_was_does_no_harm(client, last, claimed):
    with _follow(client, f"/v1/jobs/{claimed().job_id}/events", last) as reader:
        assert next(reader.events())[0] == "job.running"
    with _follow(client, "/v1/events", last) as reader:
        next(iter(reader))


def test_only_so_many_streams_are_open(app, client, claimed, until):
    path = f"/v1/jobs/{claimed().job_id}/events"
    streams = state_of(app).streams
    until(lambda: streams.open.total() == 0)
    state_of(app).streams = StreamQuota(heartbeat=0.1, max_open_per_owner=1)
    try:
        with _follow(client, path):
            answer = client.get(path)
            assert (answer.status_code, answer.headers["retry-after"]) == (429, "10")
        until(lambda: state_of(app).streams.open.total() == 0)
        with _follow(client, path) as reader:
            assert next(reader.events())
    finally:
        state_of(app).streams = streams


def test_places_are_counted_by_owner_and_in_all():
    streams = StreamQuota(max_open=3, max_open_per_owner=2)
    with ExitStack() as slots:
        slots.enter_context(streams.slot("a"))
        second = slots.enter_context(ExitStack())
        second.enter_context(streams.slot("a"))
        with pytest.raises(QuotaReached), streams.slot("a"):
            pass
        slots.enter_context(streams.slot("b"))
        with pytest.raises(QuotaReached), streams.slot("c"):
            pass
        second.close()
        slots.enter_context(streams.slot("c"))
    assert not streams.open


def test_a_stream_does_not_last_for_ever(app, client, claimed):
    streams = state_of(app).streams
    state_of(app).streams = StreamQuota(heartbeat=0.1, max_seconds=0.3)
    try:
        for path in (f"/v1/jobs/{claimed().job_id}/events", "/v1/events"):
            with _follow(client, path) as reader:
                list(reader)
    finally:
        state_of(app).streams = streams


@pytest.mark.service
def test_the_end_of_the_service_ends_streams_and_waits(tmp_path, spec, until):
    """The process ends at once when it is told to, whatever server it runs in: its grace would be 60 s."""
    settings = Settings.read(data_dir=tmp_path / "data", broker_url="redis://127.0.0.1:9/0")
    with listen("127.0.0.1", 0) as free:
        port = free.getsockname()[1]
    command = [sys.executable, "-P", "-m", "uvicorn", "--factory", "api.app:create_app", "--port", str(port)]
    with (tmp_path / "log").open("wb") as log:
        process = subprocess.Popen(
            [*command, "--timeout-graceful-shutdown", "60"], env=child_environment(settings), stderr=log, stdout=log
        )
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False, timeout=60.0) as client:

            def alive():
                try:
                    return client.get("/livez").status_code == 200
                except httpx.TransportError:
                    return False

            until(alive)
            path = client.post("/v1/jobs", json=spec).json()["links"]["self"]
            answers = []
            asking = Thread(target=lambda: answers.append(httpx.get(path, headers={"Prefer": "wait=60"}, timeout=90.0)))
            with _follow(client, f"{path}/events") as reader, _follow(client, "/v1/events") as other:
                assert next(reader.events())
                asking.start()
                time.sleep(0.5)
                begun = time.monotonic()
                os.kill(process.pid, signal.SIGTERM)
                assert list(reader.events()) == []
                list(other)
            asking.join(90.0)
            assert not asking.is_alive(), "the waiting request was not answered within 90 s"
            assert answers[0].json()["state"] == "queued"
            assert process.wait(60.0) in (0, -signal.SIGTERM), (tmp_path / "log").read_text()
            assert time.monotonic() - begun < 30.0
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


def test_the_end_of_a_batch_is_in_the_stream_of_all_jobs_once(client, job_service, spec):
    def ended():
        document = client.post("/v1/batches", json={"batch": "1", "name": "all", "specs": [spec]}).json()
        client.delete(document["links"]["self"])
        token = job_service.batches.claim(document["id"], lease_seconds=600.0, attempts=3)
        job_service.batches.finish(document["id"], token, [])
        return document["links"]["self"]

    before = client.get(ended()).json()["id"]
    with _follow(client, "/v1/events") as reader:
        next(iter(reader))  # a sign of life: what ended before is no change
        first = client.get(ended()).json()
        events = reader.events()
        _, number, data = next(event for event in events if event[0] == "batch.ended")
        assert data == {key: value for key, value in first.items() if key != "entries"}
        second = client.get(ended()).json()["id"]
        assert next(event for event in events if event[0] == "batch.ended")[2]["id"] == second
    with _follow(client, "/v1/events", number) as reader:  # what came after, and perhaps a little more
        ends = [event for event in _until_silence(reader) if event[0] == "batch.ended"]
        assert {first["id"], second} >= {event[2]["id"] for event in ends} - {before}
        assert [event[2]["id"] for event in ends].count(second) == 1
        assert [event[1] for event in ends] == sorted(event[1] for event in ends)


def _until_silence(reader):
    """Return the events up to the first sign of life."""
    return list(takewhile(lambda event: event is not None, reader))


def test_a_batch_is_followed_to_its_end(client, job_service, spec):
    body = {"batch": "1", "name": "followed", "specs": [spec, spec]}
    batch = client.post("/v1/batches", json=body).json()
    path = f"/v1/batches/{batch['id']}/events"
    with _follow(client, path) as reader:
        events = reader.events()
        name, first, document = next(events)
        assert (name, document) == ("batch.running", batch)
        assert client.get(batch["links"]["self"]).headers["etag"] == f'"{first}"'
        client.delete(batch["entries"][0]["job"])
        name, second, document = next(events)
        assert (name, document["counts"]["cancelled"]) == ("batch.running", 1)
        client.delete(batch["links"]["self"])
        token = job_service.batches.claim(batch["id"], lease_seconds=600.0, attempts=3)
        job_service.batches.finish(batch["id"], token, [])
        rest = list(events)
        name, last, document = rest[-1]
        assert (name, document["state"]) == ("batch.ended", "ended")
        assert len({first, second, *(event[1] for event in rest)}) == 2 + len(rest)
    again = client.get(path, headers={"Last-Event-ID": last})
    assert (again.status_code, again.content) == (204, b"")
    with _follow(client, path, second) as reader:
        assert [event[:2] for event in reader.events()] == [("batch.ended", last)]
    assert client.get("/v1/batches/nothing/events").status_code == 404


def _shim(client, **options):
    head = b'<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9">'
    drawing = head + b'<path d="M0 0h9v9z"/></svg>'
    options = {"name": "shim", "thickness": 2, **options}
    made = client.post(
        "/v1/silhouettes", files=[("file", ("shim.svg", drawing))], data={"options": json.dumps(options)}
    )
    assert made.status_code == 202
    return made.json()


def test_a_silhouette_is_followed_until_it_has_been_read(client, job_service, blobs):
    made = _shim(client)
    path = f"/v1/silhouettes/{made['id']}/events"
    with _follow(client, path) as reader:
        events = reader.events()
        name, first, document = next(events)
        assert (name, document["state"]) == ("silhouette.queued", "queued")
        assert "outline" not in document
        SilhouetteRunner(job_service.silhouettes.records, blobs).run(made["id"])
        rest = list(events)
        name, last, document = rest[-1]
        assert (name, document["state"], document["links"]) == (
            "silhouette.ended", "succeeded", client.get(made["links"]["self"]).json()["links"],
        )  # fmt: skip
        assert first < last
    again = client.get(path, headers={"Last-Event-ID": str(last)})
    assert (again.status_code, again.content) == (204, b"")
    assert client.get("/v1/silhouettes/nothing/events").status_code == 404


def test_silhouettes_are_in_the_stream_of_all_jobs(client, job_service, blobs):
    _shim(client, name="before")
    with _follow(client, "/v1/events") as reader:
        events = reader.events()
        next(iter(reader))
        made = _shim(client)
        name, number, document = next(events)
        assert (name, document["id"], document["state"]) == ("silhouette.queued", made["id"], "queued")
        SilhouetteRunner(job_service.silhouettes.records, blobs).run(made["id"])
        while name != "silhouette.ended":
            name, number, document = next(events)
        assert (document["id"], document["state"]) == (made["id"], "succeeded")
        corner = {"points": [[0, 0], [9, 0], [9, 9]]}
        headers = {"If-Match": client.get(made["links"]["self"]).headers["etag"]}
        client.put(f"{made['links']['self']}/outline", json=corner, headers=headers).raise_for_status()
        name, number, document = next(events)
        assert (name, document["id"]) == ("silhouette.corrected", made["id"])
    with _follow(client, "/v1/events", number) as reader:  # what came after, and perhaps a little more
        again = next(event for event in reader.events() if event[2]["id"] == made["id"])
        assert again[0] == "silhouette.corrected"
