"""Cross-origin requests (WHATWG Fetch, 3.2): refused by default, and allowed for the origins of a setting."""

import pytest

from api.app import create_app
from api.http.middleware.cors import read_origins
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService

_HOME = "https://home.example"
_PREFLIGHT = {"Access-Control-Request-Method": "PATCH", "Access-Control-Request-Headers": "authorization,if-match"}


@pytest.fixture
def crossed(tmp_path, started):
    settings = Settings.read(data_dir=tmp_path, allowed_hosts="drawers.test", cors_origins=f"{_HOME}, http://a.b:81")
    with JobService.open(settings) as job_service, started(create_app(job_service)) as client:
        yield client, job_service


def _headers(answer):
    return {name: value for name, value in answer.headers.items() if name.startswith("access-control")}


def test_by_default_no_other_origin_may_read_or_ask(service):
    assert _headers(service.get("/v1/jobs", headers={"Origin": _HOME})) == {}
    answer = service.request("OPTIONS", "/v1/jobs", headers={"Origin": _HOME, **_PREFLIGHT})
    assert answer.status_code >= 400
    assert _headers(answer) == {}


def test_a_permitted_origin_reads_and_changes(crossed, spec):
    client, _ = crossed
    answer = client.get("/v1/jobs", headers={"Origin": _HOME})
    assert answer.headers["access-control-allow-origin"] == _HOME
    assert "ETag" in answer.headers["access-control-expose-headers"]
    assert "Origin" in answer.headers["vary"]
    page = {"Origin": _HOME, "Sec-Fetch-Site": "cross-site"}
    assert client.post("/v1/jobs", json=spec, headers=page).status_code == 202


def test_a_preflight_of_a_permitted_origin_is_answered_without_a_key(crossed):
    client, job_service = crossed
    job_service.keys.create("first", ["admin"])
    answer = client.request("OPTIONS", "/v1/jobs/1", headers={"Origin": _HOME, **_PREFLIGHT})
    assert answer.status_code == 200
    assert answer.headers["access-control-allow-origin"] == _HOME
    assert "PATCH" in answer.headers["access-control-allow-methods"]
    for name in ("authorization", "if-match"):
        assert name in answer.headers["access-control-allow-headers"].lower()
    assert "access-control-allow-credentials" not in answer.headers


@pytest.mark.parametrize("origin", ["https://other.example", "http://home.example", f"{_HOME}:444", "null"])
def test_any_other_origin_is_refused_as_before(crossed, spec, origin):
    client, _ = crossed
    assert "access-control-allow-origin" not in client.get("/v1/jobs", headers={"Origin": origin}).headers
    page = {"Origin": origin, "Sec-Fetch-Site": "cross-site"}
    assert client.post("/v1/jobs", json=spec, headers=page).status_code == 403


def test_an_error_can_be_read_too(crossed):
    client, _ = crossed
    answer = client.get("/v1/jobs/nothing", headers={"Origin": _HOME})
    assert answer.status_code == 404
    assert answer.headers["access-control-allow-origin"] == _HOME


@pytest.mark.parametrize("text", ["*", "home.example", "https://home.example/", "https://a b", "ftp://x", "null"])
def test_what_is_no_origin_is_refused(text):
    with pytest.raises(SettingsError):
        read_origins(text)


def test_origins_are_separated_by_commas():
    assert read_origins(" https://a.example , http://[::1]:8080,") == {"https://a.example", "http://[::1]:8080"}
    assert read_origins("") == frozenset()
