import json
import threading
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from sqlalchemy import func, select, update
from standardwebhooks import Webhook as Signature
from standardwebhooks import WebhookVerificationError

from worker.jobs.common.errors import DeliveryNotFound, QuotaReached, RedeliveryRefused, WebhookNotFound
from worker.jobs.common.ids import new_id
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import ApiKeyRow, OutboxRow, WebhookRow
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.jobs.records.api_keys import ApiKeys
from worker.jobs.records.batches import BatchRecords, CheckedSpec
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import Progress
from worker.jobs.records.print_events import PrintRecords
from worker.jobs.records.silhouettes import NewSilhouette, SilhouetteRecords
from worker.jobs.records.webhooks.deliveries import DeliveryLog
from worker.jobs.records.webhooks.endpoints import MOST_WEBHOOKS, WebhookEndpoints
from worker.jobs.records.webhooks.outbox import MAX_ATTEMPTS
from worker.jobs.webhooks.delivery import BACKOFF, WebhookDelivery
from worker.jobs.webhooks.ip_policy import read_networks
from worker.jobs.webhooks.safe_http_client import SafeHttpClient
from worker.spec.requests.webhook import EVENTS, WebhookRequest

_PROBLEM = {"type": "/problems/check-failed", "title": "No.", "status": 500}


class _Endpoint(ThreadingHTTPServer):
    """An HTTP server that keeps what it is sent and answers with the next status, at last with 200 again and again."""

    def __init__(self, *statuses):
        self.statuses, self.seen = list(statuses), []
        super().__init__(("127.0.0.1", 0), _Handler)
        threading.Thread(target=self.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True).start()

    @property
    def url(self):
        return f"http://127.0.0.1:{self.server_address[1]}/drawers?token=hidden"


class _Handler(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        self.server.seen.append((dict(self.headers), body))
        self.send_response(self.server.statuses.pop(0) if self.server.statuses else 200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_):
        pass


@pytest.fixture
def endpoint():
    made = []

    def make(*statuses):
        made.append(_Endpoint(*statuses))
        return made[-1]

    yield make
    for server in made:
        server.shutdown()
        server.server_close()


@pytest.fixture
def webhooks(database):
    return WebhookEndpoints(database)


@pytest.fixture
def base(database):
    return JobRecords(database, "https://drawers.test")


@pytest.fixture
def delivery(database):
    return WebhookDelivery(database, SafeHttpClient(read_networks("127.0.0.0/8")))


@pytest.fixture
def due(database):
    """Give a function that lets the time of all messages come."""

    def make():
        with database.begin() as connection:
            connection.execute(update(OutboxRow).values(next_try=utc_now()))
            connection.execute(update(WebhookRow).values(resume=None))

    return make


def _waiting(database):
    with database.connect() as connection:
        return [row.type for row in connection.execute(select(OutboxRow.type).order_by(OutboxRow.created))]


def _request(url, **fields):
    return WebhookRequest(url=url, **fields)


def _ended(records, how, **options):
    job = records.add("bench", "{}", **options)
    claim = records.claim(job.id, lease_seconds=60.0, attempts=3)
    assert how(claim)
    return job


def test_each_change_writes_its_message(base, webhooks, database):
    webhooks.create("local", _request("https://home.example/"))
    _ended(base, lambda claim: base.succeed(claim, []))
    _ended(base, lambda claim: base.fail(claim, _PROBLEM))
    job = base.add("bench", "{}")
    assert base.cancel(job.id)
    assert not base.cancel(job.id)
    assert _waiting(database) == ["job.running", "job.succeeded", "job.running", "job.failed", "job.cancelled"]
    with database.connect() as connection:
        payloads = [
            json.loads(payload) for payload in connection.scalars(select(OutboxRow.payload).order_by(OutboxRow.created))
        ]
    assert [payload["data"]["state"] for payload in payloads] == [
        "running",
        "succeeded",
        "running",
        "failed",
        "cancelled",
    ]
    assert payloads[1]["data"]["links"]["manifest"].startswith("https://drawers.test/v1/jobs/")
    assert payloads[3]["data"]["problem"]["type"] == "https://drawers.test/problems/check-failed"


def test_giving_up_is_told_and_progress_is_not(base, webhooks, database):
    webhooks.create("local", _request("https://home.example/"))
    job = base.add("bench", "{}")
    claim = base.claim(job.id, lease_seconds=60.0, attempts=1)
    assert base.report(claim, Progress(1, 2, "tile"))
    assert base.release(claim)
    assert base.give_up(job.id, attempts=1, problem=_PROBLEM)
    assert _waiting(database) == ["job.running", "job.failed"]


def test_a_change_that_is_taken_back_takes_its_message_with_it(base, webhooks, database, monkeypatch):
    webhooks.create("local", _request("https://home.example/"))
    job = base.add("bench", "{}")
    claim = base.claim(job.id, lease_seconds=60.0, attempts=3)

    def fails(*_args, **_options):
        raise RuntimeError

    monkeypatch.setattr("worker.jobs.records.jobs.enqueue_event", fails)
    with pytest.raises(RuntimeError):
        base.succeed(claim, [])
    assert base.job(job.id).state == "running"
    assert _waiting(database) == ["job.running"]


def test_only_the_events_and_jobs_that_were_asked_for(base, webhooks, database):
    named, _ = webhooks.create("local", _request("https://home.example/", jobs="named", events=["job.succeeded"]))
    webhooks.create("somebody", _request("https://home.example/"))
    _ended(base, lambda claim: base.succeed(claim, []))
    assert _waiting(database) == []
    _ended(base, lambda claim: base.succeed(claim, []), webhooks=[named.id, named.id])
    assert _waiting(database) == ["job.succeeded"]
    with pytest.raises(WebhookNotFound):
        base.add("bench", "{}", owner="another", webhooks=[named.id])
    with database.connect() as connection:
        assert len(base.jobs(9, None)) == 2
        assert connection.scalar(select(func.count()).select_from(OutboxRow)) == 1


def test_what_was_printed_is_told(base, webhooks, database):
    from worker.printing.progress.print_state import PrintState  # noqa: PLC0415 - for this alone
    from worker.spec.requests.print_event import PrintEvent  # noqa: PLC0415 - as above

    webhooks.create("local", _request("https://home.example/", events=["job.printed"]))
    job = _ended(base, lambda claim: base.succeed(claim, []))
    event = PrintEvent(outcome="printed", run=1, note="second spool")
    state = PrintState(needed={"T1": 2}, printed={"T1": 1}, runs=[], next_run=2)
    prints = PrintRecords(database)
    prints.record(job.id, event, lambda _: state)
    assert _waiting(database) == ["job.printed"]
    with database.connect() as connection:
        payload = json.loads(connection.scalar(select(OutboxRow.payload)))
    assert payload["data"]["printed"]["note"] == "second spool"
    assert payload["data"]["printed"]["run"] == 1


def test_a_message_is_signed_so_that_the_library_verifies_it(base, webhooks, endpoint, delivery):
    server = endpoint()
    made, secret = webhooks.create("local", _request(server.url, events=["job.succeeded"]))
    job = _ended(base, lambda claim: base.succeed(claim, []))
    assert delivery.run() == 1
    assert delivery.run() == 0
    ((headers, body),) = server.seen
    verified = Signature(secret.get_secret_value()).verify(body, headers)
    assert verified["type"] == "job.succeeded"
    assert verified["data"]["id"] == job.id
    assert headers["Content-Type"] == "application/json"
    with pytest.raises(WebhookVerificationError):
        Signature(secret.get_secret_value()).verify(body + b" ", headers)
    now = webhooks.find(made.id, "local")
    assert (now.state, now.delivered, now.waiting, now.problem) == ("active", 1, 0, None)
    assert now.last_success is not None


def test_two_secrets_sign_until_the_overlap_is_over(base, webhooks, endpoint, delivery):
    server = endpoint()
    made, old = webhooks.create("local", _request(server.url, events=["job.running"]))
    _, new = webhooks.rotate(made.id, "local", timedelta(hours=1))
    base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)
    assert delivery.run() == 1
    headers, body = server.seen[0]
    for secret in (old, new):
        Signature(secret.get_secret_value()).verify(body, headers)
    _, last = webhooks.rotate(made.id, "local", timedelta(0))
    base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)
    assert delivery.run() == 1
    headers, body = server.seen[1]
    Signature(last.get_secret_value()).verify(body, headers)
    with pytest.raises(WebhookVerificationError):
        Signature(new.get_secret_value()).verify(body, headers)


def test_a_message_that_is_not_accepted_is_retried_under_the_same_id(base, webhooks, endpoint, delivery, due):
    server = endpoint(500, 302)
    made, _ = webhooks.create("local", _request(server.url, events=["job.running"]))
    base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)
    assert delivery.run() == 0
    assert delivery.run() == 0  # not before its time
    assert len(server.seen) == 1
    assert "500" in webhooks.find(made.id, "local").problem
    due()
    assert delivery.run() == 0
    due()
    assert delivery.run() == 1
    ids = {headers["webhook-id"] for headers, _ in server.seen}
    assert len(server.seen) == 3
    assert len(ids) == 1


def test_an_endpoint_that_accepts_nothing_is_failing_until_it_accepts_a_message(
    base, webhooks, endpoint, delivery, due
):
    server = endpoint(*[503] * (MAX_ATTEMPTS + 1))
    made, _ = webhooks.create("local", _request(server.url, events=["job.running"]))

    def claim_new_job():
        base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)

    claim_new_job()
    for _ in range(MAX_ATTEMPTS):
        assert webhooks.find(made.id, "local").state == "active"
        delivery.run()
        due()
    now = webhooks.find(made.id, "local")
    assert (now.state, now.dropped, now.waiting) == ("failing", 1, 0)
    claim_new_job()  # tried once
    delivery.run()
    due()
    assert (webhooks.find(made.id, "local").dropped, len(server.seen)) == (2, MAX_ATTEMPTS + 1)
    claim_new_job()
    assert delivery.run() == 1
    assert webhooks.find(made.id, "local").state == "active"


def test_an_endpoint_that_is_gone_gets_no_more_messages(base, webhooks, database, endpoint, delivery):
    server = endpoint(410)
    made, _ = webhooks.create("local", _request(server.url))
    _ended(base, lambda claim: base.succeed(claim, []))
    delivery.run()
    now = webhooks.find(made.id, "local")
    assert (now.state, now.dropped, now.waiting) == ("disabled", 2, 0)
    _ended(base, lambda claim: base.succeed(claim, []))
    assert _waiting(database) == []
    assert delivery.run() == 0
    assert len(server.seen) == 1


def test_a_broken_endpoint_delays_no_other(base, webhooks, endpoint, delivery):
    good, bad = endpoint(), endpoint(*[500] * 50)
    webhooks.create("local", _request(bad.url))
    webhooks.create("local", _request(good.url))
    for _ in range(3):
        _ended(base, lambda claim: base.succeed(claim, []))
    assert delivery.run() == 6
    assert len(bad.seen) == 1  # the others wait until that one is tried again


def test_an_attempt_is_recorded_before_it_is_made(base, webhooks, database, delivery, monkeypatch):
    webhooks.create("local", _request("http://127.0.0.1:9/", events=["job.running"]))
    base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)

    def killed(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(delivery, "_send", killed)
    with pytest.raises(KeyboardInterrupt):
        delivery.run()
    with database.connect() as connection:
        row = connection.execute(select(OutboxRow.tries, OutboxRow.next_try)).one()
    assert row.tries == 1
    assert row.next_try > utc_now()


def test_one_of_two_processes_delivers(base, webhooks, database, endpoint, delivery):
    server = endpoint()
    webhooks.create("local", _request(server.url, events=["job.running"]))
    other = WebhookDelivery(database, SafeHttpClient(read_networks("127.0.0.0/8")))
    base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)
    assert delivery.run() == 1
    base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)
    assert other.run() == 0
    delivery.close()
    assert other.run() == 1


def test_an_address_that_may_not_be_called_is_told_as_such(base, webhooks, database):
    made, _ = webhooks.create("local", _request("http://localhost:9/"))
    base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)
    assert WebhookDelivery(database, SafeHttpClient()).run() == 0
    assert "not globally reachable" in webhooks.find(made.id, "local").problem


def test_a_key_that_was_revoked_gets_no_more_messages(base, webhooks, database, endpoint, delivery):
    keys, server = ApiKeys(database), endpoint()
    key, _ = keys.create("shop", ["submit"])
    webhooks.create(key.id, _request(server.url))
    base.claim(base.add("bench", "{}", owner=key.id).id, lease_seconds=60.0, attempts=3)
    keys.revoke(key.id)
    assert delivery.run() == 0
    assert server.seen == []


def test_an_expired_key_gets_no_webhook(base, webhooks, database, endpoint, delivery):
    keys, server = ApiKeys(database), endpoint()
    key, _ = keys.create("shop", ["submit"], days=1)
    webhooks.create(key.id, _request(server.url))
    job = base.add("bench", "{}", owner=key.id)
    base.claim(job.id, lease_seconds=60.0, attempts=3)
    _set_expiry(database, key.id, utc_now())
    assert (delivery.run(), server.seen) == (0, [])
    _set_expiry(database, key.id, utc_now() + timedelta(minutes=1))
    assert delivery.run() == len(server.seen) == 1


def _set_expiry(database, key_id, moment):
    with database.begin() as connection:
        connection.execute(update(ApiKeyRow).where(ApiKeyRow.id == key_id).values(expires=moment))


def test_a_thread_sends_by_itself(base, webhooks, database, endpoint, until):
    server = endpoint()
    webhooks.create("local", _request(server.url, events=["job.running"]))
    with WebhookDelivery(database, SafeHttpClient(read_networks("127.0.0.0/8")), interval=0.02):
        base.claim(base.add("bench", "{}").id, lease_seconds=60.0, attempts=3)
        until(lambda: server.seen)
        until(lambda: _waiting(database) == [])


def test_an_endpoint_and_a_job_take_their_messages_with_them(base, webhooks, database, blobs):
    made, _ = webhooks.create("local", _request("https://home.example/"))
    job = _ended(base, lambda claim: base.succeed(claim, []), webhooks=[made.id])
    deletion = JobDeletion(database, blobs)
    assert deletion.mark(job.id)
    assert deletion.sweep(job.id) == 1
    assert _waiting(database) == []
    _ended(base, lambda claim: base.succeed(claim, []), webhooks=[made.id])
    with pytest.raises(WebhookNotFound):
        webhooks.remove(made.id, "another")
    webhooks.remove(made.id, "local")
    assert _waiting(database) == []
    assert webhooks.list(None) == []


def test_an_owner_has_only_so_many(webhooks):
    for _ in range(MOST_WEBHOOKS):
        webhooks.create("local", _request("https://home.example/"))
    with pytest.raises(QuotaReached):
        webhooks.create("local", _request("https://home.example/"))
    assert len(webhooks.list("local")) == MOST_WEBHOOKS
    assert webhooks.list("another") == []


def test_pauses_grow_and_take_most_of_a_day():
    middle = [BACKOFF.after(number, lambda low, high: (low + high) / 2) for number in range(1, MAX_ATTEMPTS)]
    assert middle == sorted(middle)
    assert 12 * 3600 < sum(middle) < 24 * 3600
    assert all(0.8 * pause <= BACKOFF.after(number) <= 1.2 * pause for number, pause in enumerate(middle, 1))


def test_all_events_are_asked_for_by_default():
    assert WebhookRequest(url="https://home.example/").events == EVENTS


@pytest.fixture
def log(database):
    return DeliveryLog(database)


def test_each_attempt_is_logged_with_its_response(base, webhooks, delivery, endpoint, *, due, log):
    server = endpoint(500, 204)
    made, _ = webhooks.create("local", _request(server.url, events=("job.cancelled",)))
    job = base.add("bench", "{}")
    base.cancel(job.id)
    for _ in range(2):
        due()
        delivery.run()
    second, first = log.latest(made.id, 10)
    assert (first.attempt, first.status, second.attempt, second.status) == (1, 500, 2, 204)
    assert (first.type, first.job_id, first.message_id) == ("job.cancelled", job.id, second.message_id)
    assert "500" in first.problem
    assert second.problem is None
    assert [entry.id for entry in log.latest(made.id, 1, second.id)] == [first.id]


def test_a_message_is_delivered_again_under_its_id(base, webhooks, delivery, endpoint, *, due, log):
    server = endpoint()
    made, _ = webhooks.create("local", _request(server.url, events=("job.cancelled",)))
    base.cancel(base.add("bench", "{}").id)
    due()
    assert delivery.run() == 1
    (attempt,) = log.latest(made.id, 10)
    assert log.redeliver(made.id, attempt.id) == attempt
    log.redeliver(made.id, attempt.id)  # it waits already
    assert delivery.run() == 1
    (first, body), (again, same) = server.seen
    assert body == same
    assert first["webhook-id"] == again["webhook-id"] == attempt.message_id
    assert len(log.latest(made.id, 10)) == 2


def test_a_message_that_waits_for_a_retry_is_tried_at_once(base, webhooks, delivery, endpoint, *, due, log):
    server = endpoint(500)
    made, _ = webhooks.create("local", _request(server.url, events=("job.cancelled",)))
    base.cancel(base.add("bench", "{}").id)
    due()
    assert delivery.run() == 0
    assert delivery.run() == 0  # the retry is not due
    log.redeliver(made.id, log.latest(made.id, 1)[0].id)
    assert delivery.run() == 1


def test_what_cannot_be_delivered_again_is_refused(base, webhooks, delivery, endpoint, *, due, log, database, blobs):
    server = endpoint()
    made, _ = webhooks.create("local", _request(server.url, events=("job.cancelled",)))
    job = base.add("bench", "{}")
    base.cancel(job.id)
    due()
    delivery.run()
    (attempt,) = log.latest(made.id, 10)
    with pytest.raises(DeliveryNotFound):
        log.redeliver(made.id, "0" * 26)
    with pytest.raises(DeliveryNotFound):
        log.redeliver("0" * 26, attempt.id)
    deletion = JobDeletion(database, blobs)
    deletion.mark(job.id)
    deletion.sweep(job.id)
    with pytest.raises(RedeliveryRefused, match="deleted"):
        log.redeliver(made.id, attempt.id)
    test = delivery.test(made.id)
    with pytest.raises(RedeliveryRefused, match="test"):
        log.redeliver(made.id, test.id)


def test_the_end_of_a_batch_is_delivered_and_delivered_again(database, webhooks, delivery, endpoint, log):
    server, batches = endpoint(), BatchRecords(database)
    made, secret = webhooks.create("local", _request(server.url, events=("batch.ended",)))
    batch, _ = batches.add("kitchen", [CheckedSpec("bad", None, _PROBLEM)], owner="local")
    batches.finish(batch, batches.claim(batch, lease_seconds=60.0, attempts=3), [])
    assert delivery.run() == 1
    (attempt,) = log.latest(made.id, 10)
    assert (attempt.type, attempt.job_id, attempt.batch_id) == ("batch.ended", None, batch)
    log.redeliver(made.id, attempt.id)
    assert delivery.run() == 1
    (first, body), (again, same) = server.seen
    assert (body, first["webhook-id"]) == (same, again["webhook-id"])
    assert Signature(secret.get_secret_value()).verify(body, first)["data"]["id"] == batch
    batches.remove(batch)
    with pytest.raises(RedeliveryRefused, match="deleted"):
        log.redeliver(made.id, attempt.id)


def test_the_end_of_a_silhouette_is_delivered_and_delivered_again(database, webhooks, delivery, endpoint, log):
    server, silhouettes = endpoint(), SilhouetteRecords(database)
    made, secret = webhooks.create("local", _request(server.url, events=("silhouette.ended",)))
    webhooks.create("local", _request(server.url, events=("silhouette.ended",), jobs="named"))
    read = silhouettes.add(NewSilhouette(new_id(), "shim", "drawing", "{}"), owner="local")
    outline = {"outline": {"corners": [[0, 0], [40, 0], [0, 20]]}}
    assert silhouettes.finish(read, silhouettes.claim(read, attempts=3), outline, [])
    assert delivery.run() == 1
    (attempt,) = log.latest(made.id, 10)
    assert (attempt.type, attempt.job_id, attempt.silhouette_id) == ("silhouette.ended", None, read)
    log.redeliver(made.id, attempt.id)
    assert delivery.run() == 1
    (first, body), _ = server.seen
    data = Signature(secret.get_secret_value()).verify(body, first)["data"]
    assert (data["id"], data["state"], data["problem"]) == (read, "succeeded", None)
    assert data["links"]["outline"] == f"/v1/silhouettes/{read}/outline.svg"
    assert "outline" not in data
    refused = silhouettes.add(NewSilhouette(new_id(), "blur", "photo", "{}"), owner="local")
    silhouettes.fail(refused, silhouettes.claim(refused, attempts=3), _PROBLEM, [])
    lost = silhouettes.add(NewSilhouette(new_id(), "lost", "photo", "{}"), owner="local")
    assert silhouettes.give_up(lost, attempts=0, problem=_PROBLEM)
    assert delivery.run() == 2
    assert all(Signature(secret.get_secret_value()).verify(body, headers)["data"]["problem"]["title"]
               for headers, body in server.seen[2:])  # fmt: skip
    silhouettes.remove(read, None)
    with pytest.raises(RedeliveryRefused, match="deleted"):
        log.redeliver(made.id, attempt.id)


def test_a_test_is_signed_and_tells_what_came_of_it(webhooks, delivery, endpoint, log):
    server = endpoint(204, 418)
    made, secret = webhooks.create("local", _request(server.url))
    good, bad = delivery.test(made.id), delivery.test(made.id)
    assert (good.type, good.status, good.problem, good.job_id) == ("webhook.test", 204, None, None)
    assert (bad.status, bad.problem) == (418, "The endpoint responded with status 418.")
    headers, body = server.seen[0]
    assert Signature(secret.get_secret_value()).verify(body, headers)["data"] == {"webhook": made.id}
    assert log.latest(made.id, 10) == [bad, good]
    assert webhooks.find(made.id, "local").state == "active"  # tests count for nothing
    with pytest.raises(WebhookNotFound):
        delivery.test("0" * 26)


def test_the_log_keeps_the_latest_attempts_of_each_endpoint(webhooks, delivery, endpoint, log, monkeypatch):
    monkeypatch.setattr("worker.jobs.records.webhooks.deliveries.KEPT_DELIVERIES", 3)
    server = endpoint()
    first, _ = webhooks.create("local", _request(server.url))
    second, _ = webhooks.create("local", _request(server.url))
    kept = delivery.test(second.id)
    attempts = [delivery.test(first.id) for _ in range(5)]
    assert log.latest(first.id, 10) == attempts[:-4:-1]
    assert log.latest(second.id, 10) == [kept]
    webhooks.remove(first.id, "local")
    assert log.latest(first.id, 10) == []
