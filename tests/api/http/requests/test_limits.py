"""What one request may ask for, in bytes, time, cells and jobs."""

import socket
import time
from urllib.parse import urlsplit

import httpx
import pytest

from api.command.server import listening
from worker.jobs.common.principal import Quotas
from worker.jobs.common.settings import Settings


@pytest.fixture(scope="module")
def closed_settings(tmp_path_factory):
    return Settings.read(data_dir=tmp_path_factory.mktemp("limits"), allowed_hosts="drawers.test", body_seconds=0.5)


@pytest.fixture(scope="module")
def ask(closed_job_service, closed):
    """Give a function that makes a key with these quotas and returns a function that submits with it."""

    def keyed(**quotas):
        _, secret = closed_job_service.keys.create("somebody", ["submit", "read"], quotas=Quotas(**quotas))
        headers = {"Authorization": f"Bearer {secret.get_secret_value()}"}
        return lambda method, url, **options: closed.request(method, url, headers=headers, **options)

    return keyed


def _refused(answer, status, kind):
    assert answer.status_code == status
    problem = answer.json()
    assert problem["type"].endswith(f"/problems/{kind}")
    assert problem["limit"]
    assert problem["remedy"]
    return problem


@pytest.mark.parametrize("route", ["/v1/plans", "/v1/jobs"])
def test_a_spec_with_too_many_cells_is_refused_before_it_is_laid_out(service, spec, route):
    spec["drawers"][0].update(width=3000, depth=3000, copies=100)
    problem = _refused(service.post(route, json=spec), 422, "spec-too-large")
    assert problem["limit"] == "at most 25000 cells"
    assert problem["pointer"] == "/drawers/0"


def test_a_key_has_fewer_cells(ask, spec):
    assert ask(cells=9)("POST", "/v1/jobs", json=spec).status_code == 422
    assert ask(cells=16)("POST", "/v1/jobs", json=spec).status_code == 202


def test_jobs_under_way_are_counted(ask, spec):
    caller = ask(waiting=2)
    first = caller("POST", "/v1/jobs", json=spec).headers["location"]
    assert caller("POST", "/v1/jobs", json=spec).status_code == 202
    refused = caller("POST", "/v1/jobs", json=spec)
    assert _refused(refused, 429, "quota-reached")["limit"] == "2 jobs queued or running"
    assert int(refused.headers["retry-after"]) > 0
    assert caller("DELETE", first).status_code == 200
    assert caller("POST", "/v1/jobs", json=spec).status_code == 202
    assert ask(waiting=2)("POST", "/v1/jobs", json=spec).status_code == 202


def test_jobs_of_a_day_are_counted_also_those_that_were_removed(ask, spec):
    caller = ask(daily=2)
    for _ in range(2):
        at = caller("POST", "/v1/jobs", json=spec).headers["location"]
        assert caller("DELETE", at).status_code == 200
        assert caller("DELETE", f"{at}/files").status_code == 204
    refused = caller("POST", "/v1/jobs", json=spec)
    assert _refused(refused, 429, "quota-reached")["limit"] == "2 jobs a day (UTC)"
    assert 0 < int(refused.headers["retry-after"]) <= 86_401


def test_a_refused_job_counts_for_nothing(ask, spec):
    caller = ask(daily=5, waiting=1)
    assert caller("POST", "/v1/jobs", json=spec).status_code == 202
    for _ in range(10):
        assert _refused(caller("POST", "/v1/jobs", json=spec), 429, "quota-reached")["limit"].startswith(
            "1 jobs queued"
        )
    assert len(caller("GET", "/v1/jobs").json()["jobs"]) == 1


@pytest.mark.parametrize("coding", ["gzip", "br", "deflate", "identity, gzip"])
def test_no_coded_body_is_taken(service, coding):
    headers = {"Content-Type": "application/json", "Content-Encoding": coding}
    assert service.post("/v1/plans", content=b"\x1f\x8b", headers=headers).status_code == 415


@pytest.mark.parametrize(
    "body",
    [b"[" * 50_000, b'{"a":' * 10_000, b'{"n":' + b"9" * 20_000 + b"}", b'{"name":"' + b"x" * 50_000 + b'"}', b"NaN"],
    ids=["lists", "objects", "number", "text", "nan"],
)
def test_a_hostile_document_is_refused(service, body):
    answer = service.post("/v1/plans", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    inside = Settings.read(data_dir=tmp_path_factory.mktemp("slow"), port=0, body_seconds=0.5)
    with listening(inside) as address:
        yield address


def _talk(url, *pieces, pause=0.0):
    """Send pieces, then return what comes until the other side closes."""
    with socket.create_connection(("127.0.0.1", urlsplit(url).port), timeout=30) as connection:
        for piece in pieces:
            connection.sendall(piece)
            time.sleep(pause)
        received = b""
        while more := connection.recv(65536):
            received += more
    return received


_HEAD = b"POST /v1/plans HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n"


def test_a_body_that_does_not_come_is_not_waited_for(url):
    answer = _talk(url, _HEAD, b"{")
    assert answer.startswith(b"HTTP/1.1 408 ")
    assert b"/problems/body-too-slow" in answer
    assert httpx.get(f"{url}/livez", trust_env=False).status_code == 200


def test_headers_that_do_not_end_are_not_read_for_ever(url):
    answer = _talk(url, b"GET /livez HTTP/1.1\r\nHost: localhost\r\nX: " + b"a" * 40_000)
    assert answer.startswith(b"HTTP/1.1 4") or not answer


def test_who_says_nothing_is_hung_up_on(url):
    assert _talk(url) == b""
    assert _talk(url, b"GET /livez HT") == b""
    assert _talk(url, b"GET /livez HTTP/1.1\r\nHost: localhost\r\n\r\n").startswith(b"HTTP/1.1 200 ")
