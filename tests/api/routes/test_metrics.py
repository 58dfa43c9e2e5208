import pytest
from prometheus_client.parser import text_string_to_metric_families

from api.app import create_app
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.records.jobs import JobRecords
from worker.spec.requests.webhook import WebhookRequest


def _figures(text):
    """Return every sample by name and labels, as another reader of the format takes it."""
    figures = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            figures[sample.name, *sorted(sample.labels.items())] = sample.value
    return figures


@pytest.fixture
def here(tmp_path, started):
    """A job service and a client of a service of their own."""
    settings = Settings.read(data_dir=tmp_path, allowed_hosts="drawers.test")
    with JobService.open(settings) as job_service, started(create_app(job_service)) as client:
        yield job_service, client


def test_jobs_and_what_waits_are_read_from_the_record(here, spec):
    job_service, client = here
    job_service.webhooks.create("local", WebhookRequest(url="http://127.0.0.1:9/", events=["job.running"]))
    records = JobRecords(job_service._database)
    for _ in range(3):
        client.post("/v1/jobs", json=spec)
    running, cancelled, _ = job_service.jobs()
    assert records.claim(running.id, lease_seconds=60.0, attempts=3)
    job_service.cancel(cancelled.id)
    job_service.heartbeats.beat("host:1")
    job_service.heartbeats.beat("host:1")
    answer = client.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain; version=")
    figures = _figures(answer.text)
    states = {
        name: figures["drawerwright_jobs", ("state", name)] for name in ("queued", "running", "cancelled", "failed")
    }
    assert states == {"queued": 1, "running": 1, "cancelled": 1, "failed": 0}
    assert figures["drawerwright_oldest_queued_seconds",] > 0
    assert figures["drawerwright_attempts",] == 1
    assert figures["drawerwright_workers",] == 1
    assert figures["drawerwright_messages_waiting",] == 1
    assert figures["drawerwright_webhooks", ("state", "active")] == 1
    assert figures["drawerwright_record_up",] == 1
    assert client.head("/metrics").status_code == 200


def test_requests_are_counted_by_the_routes_template(here, spec):
    _, client = here
    job = client.post("/v1/jobs", json=spec).json()["id"]
    for path in (f"/v1/jobs/{job}", "/v1/jobs/none", "/v1/jobs/other", "/nowhere/1", "/nowhere/2"):
        client.get(path)
    client.request("BREW", "/v1/jobs")
    figures = _figures(client.get("/metrics").text)

    def count(method, route, status):
        labels = (("method", method), ("route", route), ("status", status))
        return figures["drawerwright_request_seconds_count", *labels]

    assert count("POST", "/v1/jobs", "202") == 1
    assert count("GET", "/v1/jobs/{job_id}", "200") == 1
    assert count("GET", "/v1/jobs/{job_id}", "404") == 2
    assert count("GET", "other", "404") == 2
    routes = {dict(labels)["route"] for name, *labels in figures if name == "drawerwright_request_seconds_count"}
    assert not any(job in route or "nowhere" in route for route in routes)


def test_with_keys_only_an_administrator_looks_or_who_is_allowed(tmp_path, started):
    for networks, answers in (("", (401, 403, 200)), ("127.0.0.0/8", (200, 200, 200))):
        settings = Settings.read(data_dir=tmp_path, metrics_networks=networks)
        with JobService.open(settings) as job_service, started(create_app(job_service)) as client:
            keys = [job_service.keys.create(name, [name])[1].get_secret_value() for name in ("read", "admin")]
            headers = [{}, *({"Authorization": f"Bearer {key}"} for key in keys)]
            assert tuple(client.get("/metrics", headers=fields).status_code for fields in headers) == answers
            assert client.get("/v1/jobs").status_code == 401
            if networks:  # a proxy on this machine speaks for somebody else
                assert client.get("/metrics", headers={"X-Forwarded-For": "192.0.2.1"}).status_code == 401


def test_a_record_that_is_away_is_a_figure_too(tmp_path, started, take_record_away):
    settings = Settings.read(data_dir=tmp_path, metrics_networks="127.0.0.0/8")

    with JobService.open(settings) as job_service, started(create_app(job_service)) as client:
        take_record_away(job_service)
        answer = client.get("/metrics")
    assert answer.status_code == 200
    assert _figures(answer.text)["drawerwright_record_up",] == 0
