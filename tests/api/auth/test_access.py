"""Who may ask for what: keys, scopes, owners, and a service that is open to its own machine alone."""

import json
import logging
import re
import time

import httpx
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from api.app import create_app
from api.auth.access import check_bind, scope_of
from api.command.server import listening
from tests.coroutines import run_coroutine
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.principal import SCOPES, Principal, Quotas
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.spec import load

_PROBLEM = "application/problem+json"


class _Asker:
    """A client with a key."""

    def __init__(self, service, secret):
        self._service, self.secret = service, secret

    def __call__(self, method, url, **options):
        headers = {"Authorization": f"Bearer {self.secret}", **options.pop("headers", {})}
        return self._service.request(method, url, headers=headers, **options)


@pytest.fixture(scope="module")
def closed_settings(tmp_path_factory):
    # no limit of failures: test_rate_limit tests it, and here a minute sees more requests without a key than it allows
    data = tmp_path_factory.mktemp("closed")
    return Settings.read(data_dir=data, allowed_hosts="drawers.test", body_seconds=5, failures_per_minute=0)


@pytest.fixture(scope="module")
def asker(closed, closed_job_service):
    """Give a function that makes a key with these scopes and returns a client with it."""

    def make(*scopes, **options):
        _, secret = closed_job_service.keys.create("somebody", scopes, **options)
        return _Asker(closed, secret.get_secret_value())

    return make


@pytest.fixture(scope="module")
def until():
    """Give a function that asks until the answer is yes."""

    def wait(question, seconds=30.0):
        end = time.monotonic() + seconds
        while not (answer := question()):
            assert time.monotonic() < end, "It takes too long."
            time.sleep(0.05)
        return answer

    return wait


def _kind(answer):
    assert answer.headers["content-type"] == _PROBLEM
    return answer.json()["type"].rpartition("/")[2]


# -- keys


@pytest.mark.parametrize("path", ["/v1/jobs", "/v1/jobs/x/manifest", "/v1/catalogue", "/nope", "/metrics", "/v1/plans"])
def test_with_keys_every_request_needs_one_also_on_loopback(closed, path):
    answer = closed.get(path)
    assert answer.status_code == 401
    assert _kind(answer) == "key-required"
    assert answer.headers["www-authenticate"] == 'Bearer realm="drawerwright"'
    assert answer.headers["cache-control"] == "no-store"
    assert "keys create" in answer.json()["remedy"]


@pytest.mark.parametrize("path", ["/livez", "/readyz", "/problems", "/problems/key-required", "/openapi.json"])
def test_what_tells_of_no_job_needs_none(closed, path):
    assert closed.get(path).status_code == 200


def test_a_key_opens(asker, spec):
    ask = asker("submit", "read")
    job = ask("POST", "/v1/jobs", json=spec)
    assert job.status_code == 202
    assert ask("GET", job.headers["location"]).json()["id"] == job.json()["id"]
    assert "authorization" in job.headers["vary"].lower()


@pytest.mark.parametrize(
    "header",
    [
        "",
        "Bearer",
        "Bearer ",
        "Bearer x",
        "Basic ZHc6ZHc=",
        "Bearer dw_0123456789_" + "0" * 40,
        "Bearer dw__",
        "x" * 5000,
    ],
)
def test_what_is_no_key_is_refused(closed, header):
    answer = closed.get("/v1/jobs", headers={"Authorization": header})
    assert answer.status_code == 401
    assert 'error="invalid_token"' in answer.headers["www-authenticate"]
    assert "0000000000" not in answer.text


@given(st.text(st.characters(codec="latin-1"), max_size=80))
@example("Bearer dw_\xff_\xff")
@settings(max_examples=40)
def test_no_header_opens_or_breaks(closed, header):
    answer = closed.get("/v1/jobs", headers={"Authorization": header.encode("latin-1")})
    assert answer.status_code == 401


def test_the_secret_of_one_key_does_not_open_another(asker, closed):
    first, second = asker("read").secret, asker("read").secret
    mixed = "_".join([*first.split("_")[:2], second.split("_")[2]])
    assert closed.get("/v1/jobs", headers={"Authorization": f"Bearer {mixed}"}).status_code == 401


def test_a_revoked_key_is_refused_soon(asker, closed_job_service, until):
    ask = asker("read")
    assert ask("GET", "/v1/jobs").status_code == 200
    closed_job_service.keys.revoke(ask.secret.split("_")[1])
    answer = until(lambda: (now := ask("GET", "/v1/jobs")).status_code == 401 and now)
    assert answer.json()["detail"].endswith("is revoked.")


# -- scopes


def test_each_scope_allows_what_it_says_and_no_more():
    scopes = {
        ("GET", "/v1/jobs"): "read",
        ("GET", "/v1/jobs/{job_id}/files/{name}"): "read",
        ("HEAD", "/v1/jobs/{job_id}/manifest"): "read",
        ("POST", "/v1/jobs"): "submit",
        ("POST", "/v1/plans"): "submit",
        ("DELETE", "/v1/jobs/{job_id}"): "submit",
        ("DELETE", "/v1/jobs/{job_id}/files"): "submit",
        ("POST", "/v1/jobs/{job_id}/prints"): "record",
        ("POST", "/v1/jobs/{job_id}/schedule-link"): "read",
        ("DELETE", "/v1/jobs/{job_id}/schedule-link"): "read",
        ("PUT", "/v1/jobs/{job_id}/schedule-link"): "admin",
        ("GET", "/metrics"): "admin",
        ("POST", "/v1/anything"): "admin",
        ("PUT", "/v1/jobs"): "admin",
        ("GET", "/livez"): None,
        ("GET", "/"): None,
        ("GET", "/kiosk/main.js"): None,
    }
    assert {operation: scope_of(*operation) for operation in scopes} == scopes
    allowed = {scope: {other for other in SCOPES if Principal("x", frozenset({scope})).may(other)} for scope in SCOPES}
    assert allowed["admin"] == set(SCOPES)
    assert allowed["kiosk"] == {"kiosk", "submit", "read", "record"}
    assert all(allowed[scope] == {scope} for scope in ("submit", "read", "record"))


def test_a_missing_scope_is_named(asker, spec):
    answer = asker("read")("POST", "/v1/jobs", json=spec)
    assert answer.status_code == 403
    assert _kind(answer) == "scope-missing"
    assert answer.json()["limit"] == "submit"
    assert answer.headers["www-authenticate"].endswith('error="insufficient_scope", scope="submit"')
    assert asker("submit")("GET", "/v1/jobs").status_code == 403
    assert asker("kiosk")("GET", "/metrics").status_code == 403


# -- owners


@pytest.fixture(scope="module")
def theirs(closed_job_service, succeeded_in):
    """A job of somebody, with a manifest and a file."""
    return succeeded_in(closed_job_service, Principal("somebodyid", frozenset({"submit"})))


@pytest.fixture(scope="module")
def succeeded_in():
    """Give a function that ends a job of this caller in this job service; returns its identity."""
    from hashlib import sha256  # noqa: PLC0415 - for this alone

    from worker.jobs.records.models import StoredFile  # noqa: PLC0415 - as above

    def make(job_service, caller):
        drawer = {"name": "top", "width": 136, "depth": 136, "height": 40}
        spec = load({"spec": "1", "name": "theirs", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}})
        job = job_service.on_behalf_of(caller).submit(spec)
        claim = job_service._records.claim(job.id, lease_seconds=600.0, attempts=3)
        files = []
        for name in ("manifest.json", "bundle.zip", "F1-tile.stl", "runs.json"):
            key = f"jobs/{job.id}/{name}"
            job_service._blobs.put(key, b"{}")
            files.append(StoredFile(name, "application/json", 2, sha256(b"{}").hexdigest(), key))
        assert job_service._records.succeed(claim, files)
        return job.id

    return make


def test_a_job_of_somebody_else_is_one_that_is_not_there_on_every_route(closed, asker, theirs):
    """Walks what the app has, so that a route that is written later cannot be forgotten."""
    ask = asker("submit", "read", "record", "kiosk")
    contract = closed.get("/openapi.json").json()
    walked = 0
    for template, operations in contract["paths"].items():
        if "{job_id}" not in template:
            continue
        for method, operation in operations.items():
            filled = {"job_id": theirs, "name": "F1-tile.stl", "mark": "F1", "run": "1"}
            path = re.sub(r"\{(\w+)\}", lambda match, filled=filled: filled.get(match[1], "1"), template)
            body = {} if "requestBody" not in operation else {"json": _example(contract, operation)}
            answer = ask(method.upper(), path, **body)
            unknown = ask(method.upper(), path.replace(theirs, "0" * 26), **body)
            assert answer.status_code in (401, 403, 404), (method, template, answer.status_code)
            assert answer.status_code == unknown.status_code, (method, template)
            assert closed.request(method.upper(), path, **body).status_code == 401, (method, template)
            if method != "head":
                removed, other = (json.dumps({**response.json(), "value": 0}) for response in (answer, unknown))
                assert removed.replace(theirs, "0" * 26) == other, (method, template)
            walked += 1
    assert walked >= 9


def _example(contract, operation):
    """Return the first example that the contract gives for a body."""
    content = operation["requestBody"]["content"]["application/json"]
    example = next(iter(content["examples"].values()))
    if "$ref" in example:
        example = contract["components"]["examples"][example["$ref"].rpartition("/")[2]]
    return example["value"]


def test_every_operation_of_the_contract_tells_what_it_needs(closed):
    for path, operations in closed.get("/openapi.json").json()["paths"].items():
        for method, operation in operations.items():
            needed = scope_of(method.upper(), path)
            link = [{"schedule_link": []}] if path.endswith("/schedule.ics") else []
            assert operation["security"] == ([] if needed is None else [{"key": [needed]}, *link, {}]), (method, path)
            if needed is not None:
                assert {"401", "403", "429"} <= operation["responses"].keys(), (method, path)


def test_lists_hold_ones_own_jobs(asker, closed_job_service, theirs, spec):
    owner, other, admin = asker("submit", "read"), asker("kiosk"), asker("admin")
    job_id = owner("POST", "/v1/jobs", json=spec).json()["id"]
    assert [job["id"] for job in owner("GET", "/v1/jobs").json()["jobs"]] == [job_id]
    assert other("GET", "/v1/jobs").json()["jobs"] == []
    assert {job_id, theirs} <= {job["id"] for job in admin("GET", "/v1/jobs?limit=100").json()["jobs"]}
    assert other("GET", f"/v1/jobs?after={job_id}").json()["jobs"] == []
    assert admin("GET", f"/v1/jobs/{theirs}/manifest").status_code == 200
    assert closed_job_service.job(job_id).name == "bench left"


def test_ones_own_job_is_cancelled_and_removed_by_nobody_else(asker, spec):
    owner, other = asker("submit", "read"), asker("submit", "read")
    at = owner("POST", "/v1/jobs", json=spec).headers["location"]
    assert owner("DELETE", f"{at}/files").status_code == 409
    assert other("DELETE", at).status_code == 404
    assert owner("DELETE", at).json()["state"] == "cancelled"
    late = owner("DELETE", at)
    assert late.status_code == 409
    assert "/files" in late.json()["remedy"]
    assert other("DELETE", f"{at}/files").status_code == 404
    gone = owner("DELETE", f"{at}/files")
    assert (gone.status_code, gone.content) == (204, b"")
    assert owner("GET", at).status_code == 404
    assert owner("DELETE", f"{at}/files").status_code == 404
    assert owner("GET", "/v1/jobs").json()["jobs"] == []


@pytest.mark.parametrize(
    "name", ["%2e%2e", "%2e%2e%2fjobs.sqlite3", "..%5c..", "%00", ".hidden", "a" * 65, "/etc/passwd", "F1-tile.stl%00"]
)
def test_a_name_is_never_a_path(asker, theirs, name):
    answer = asker("admin")("GET", f"/v1/jobs/{theirs}/files/{name}")
    assert answer.status_code == 404
    assert b"SQLite" not in answer.content


# -- open to its own machine alone


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:8765", "LOCALHOST", "[::1]:80", "127.9.9.9", ""])
def test_an_open_service_answers_to_its_own_names(service, host):
    assert service.get("/v1/jobs", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.test", "evil.test:8765", "localhost.evil.test", "192.0.2.1", "[2001:db8::1]", "x@y"]
)
def test_a_name_that_was_bound_anew_leads_nowhere(service, host):
    answer = service.get("/v1/jobs", headers={"Host": host})
    assert answer.status_code == 403
    assert _kind(answer) == "host-refused"


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 202),
        ({"Sec-Fetch-Site": "same-origin", "Origin": "http://drawers.test"}, 202),
        ({"Sec-Fetch-Site": "none"}, 202),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Origin": "http://evil.test"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://drawers.test:81"}, 403),
    ],
)
def test_a_page_of_another_site_changes_nothing(service, spec, headers, status):
    answer = service.post("/v1/jobs", json=spec, headers=headers)
    assert answer.status_code == status
    if status == 403:
        assert _kind(answer) == "cross-site-refused"


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "Via", "X-Real-IP"])
def test_what_came_through_a_proxy_is_not_from_here(service, header):
    assert service.get("/v1/jobs", headers={header: "192.0.2.7"}).status_code == 401


def test_an_open_service_closes_with_the_first_key(started, tmp_path, until):
    inside = Settings.read(data_dir=tmp_path, allowed_hosts="drawers.test")
    with JobService.open(inside) as job_service, started(create_app(job_service)) as client:
        assert client.get("/v1/jobs").status_code == 200
        key, _ = job_service.keys.create("first", ["admin"])
        until(lambda: client.get("/v1/jobs").status_code == 401)
        job_service.keys.revoke(key.id)
    with JobService.open(inside) as job_service, started(create_app(job_service)) as client:
        assert client.get("/v1/jobs").status_code == 401  # it does not open again by itself


def test_loopback_stays_open_or_closed_where_the_settings_say_so(started, tmp_path):
    for wish, status in (("always", 200), ("never", 401)):
        inside = Settings.read(data_dir=tmp_path, allowed_hosts="drawers.test", open_loopback=wish)
        with JobService.open(inside) as job_service, started(create_app(job_service)) as client:
            if wish == "always":
                job_service.keys.create("first", ["read"])
            assert client.get("/v1/jobs").status_code == status


def test_a_stranger_needs_a_key_wherever_the_service_was_bound(job_service, started):
    app = create_app(job_service)
    with started(app) as client:
        client._client._transport.client = ("192.0.2.9", 1)
        answer = client.get("/v1/jobs", headers={"Host": "localhost"})
    assert answer.status_code == 401


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "drawers.test"])  # noqa: S104 - not bound
def test_without_keys_it_does_not_listen_beyond_this_machine(started, tmp_path, host):
    inside = Settings.read(data_dir=tmp_path, host=host)
    with pytest.raises(SettingsError, match="this machine only") as caught:
        check_bind(inside)
    assert "keys create" in caught.value.remedy
    with pytest.raises(SettingsError, match="this machine only"), started(create_app(inside)):
        pass
    with JobService.open(inside) as job_service:
        job_service.keys.create("first", ["read"])
    check_bind(inside)


# -- secrets


def test_no_key_is_ever_logged_or_told(closed_job_service, closed_settings, caplog, capfd):
    key, secret = closed_job_service.keys.create("watched", ["submit", "read"], quotas=Quotas(waiting=1))
    token = secret.get_secret_value()
    assert token not in repr((key, secret))
    with (
        caplog.at_level(logging.DEBUG),
        listening(closed_settings.model_copy(update={"port": 0})) as url,
        httpx.Client(trust_env=False, base_url=url, headers={"Authorization": f"Bearer {token}"}) as client,
    ):
        answers = [client.get("/v1/jobs"), client.get("/nope"), client.post("/v1/jobs", content=b"{")]
        answers.append(client.get("/v1/jobs", headers={"Authorization": f"Bearer {token}0"}))
        answers.append(client.get("/v1/jobs", headers={"Authorization": f"bearer  {token}"}))
    assert [answer.status_code for answer in answers] == [200, 404, 415, 401, 200]
    out, err = capfd.readouterr()
    hidden = token.split("_")[2]
    for text in (caplog.text, out, err, *(answer.text + str(answer.headers) for answer in answers)):
        assert hidden not in text
    for path in closed_settings.data_dir.rglob("*"):
        if path.is_file():
            assert hidden.encode() not in path.read_bytes(), path


def test_no_socket_is_opened_before_somebody_says_who_may(closed_job_service):
    sent = []

    async def send(message):
        sent.append(message)

    async def receive():
        return {"type": "websocket.connect"}

    app = create_app(closed_job_service)
    run_coroutine(app({"type": "websocket", "path": "/", "headers": []}, receive, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]
