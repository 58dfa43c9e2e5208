"""Schedule links: the secret address of a calendar opens this one file of this one job, until it is withdrawn."""

import logging
from hashlib import sha256

import httpx
import icalendar
import pytest

from api.command.server import listening
from tests.printing.progress.planned_manifest import bench
from worker.jobs.common.settings import Settings
from worker.jobs.records.models import StoredFile
from worker.spec.manifest import JSON_TYPE


@pytest.fixture(scope="module")
def closed_settings(tmp_path_factory):
    return Settings.read(data_dir=tmp_path_factory.mktemp("closed"), allowed_hosts="drawers.test")


@pytest.fixture
def key(closed_job_service):
    """Somebody's key, and the header that it goes into."""
    made, secret = closed_job_service.keys.create("somebody", ["submit", "read"])
    return made.id, {"Authorization": f"Bearer {secret.get_secret_value()}"}


@pytest.fixture(scope="module")
def succeeded(closed_job_service):
    """Give a function that makes a job of this owner that succeeded; returns its path."""

    def make(owner, *, dated=True):
        spec, manifest = bench()
        spec = spec if dated else spec.model_copy(update={"schedule": None})
        data = manifest.model_dump_json().encode()
        records = closed_job_service._records
        job = records.add("bench left", spec.model_dump_json(), owner=owner).id
        file = StoredFile("manifest.json", JSON_TYPE, len(data), sha256(data).hexdigest(), f"jobs/{job}/manifest")
        closed_job_service._blobs.put(file.key, data)
        assert records.succeed(records.claim(job, lease_seconds=600.0, attempts=3), [file])
        return f"/v1/jobs/{job}"

    return make


@pytest.fixture
def linked(closed, succeeded, key):
    """A job's path, the address of its calendar, and the header of its owner's key."""
    owner, header = key
    at = succeeded(owner)
    answer = closed.post(f"{at}/schedule-link", headers=header)
    assert (answer.status_code, answer.headers["cache-control"]) == (201, "no-store")
    return at, answer.json()["url"], header


def test_whoever_has_the_address_reads_the_calendar_without_a_key(closed, linked):
    at, url, header = linked
    answer = closed.get(url)
    assert len(icalendar.Calendar.from_ical(answer.content).walk("VEVENT")) >= len(bench()[1].runs)
    assert answer.headers["etag"] == closed.get(f"{at}/schedule.ics", headers=header).headers["etag"]
    assert closed.head(url).status_code == 200
    assert closed.get(url, headers={"If-None-Match": "*"}).status_code == 304


def test_it_opens_nothing_else(closed, succeeded, linked, key):
    at, url, _ = linked
    query = url.partition("?")[2]
    other = succeeded(key[0])
    for path in (f"{other}/schedule.ics", at, f"{at}/prints", f"{at}/runs", f"{at}/manifest", "/v1/jobs", "/metrics"):
        assert closed.get(f"{path}?{query}").status_code == 401, path
    for method, path in (("POST", f"{at}/prints"), ("POST", f"{at}/schedule-link"), ("DELETE", f"{at}/schedule-link")):
        assert closed.request(method, f"{path}?{query}").status_code == 401, path
    assert closed.post(url).status_code == 401
    assert closed.get(url, headers={"Authorization": "Bearer dw_wrong"}).status_code == 401  # a key goes first


@pytest.mark.parametrize("token", ["", "x", "%00", "%ff", "%F0%9F%92%A9", "x" * 5_000])
def test_what_is_no_token_opens_nothing(closed, linked, token):
    at, url, _ = linked
    assert closed.get(f"{at}/schedule.ics?token={token}").status_code == 401
    assert closed.get(f"{url}{token or 'x'}").status_code == 401
    unknown = f"/v1/jobs/{'0' * 26}/schedule.ics?token={token}"
    refused, other = (closed.get(path).json() for path in (f"{at}/schedule.ics?token={token}", unknown))
    assert {**refused, "instance": None} == {**other, "instance": None}


def test_a_new_one_replaces_it_and_it_is_withdrawn(closed, linked):
    at, url, header = linked
    again = closed.post(f"{at}/schedule-link", headers=header).json()["url"]
    assert [closed.get(path).status_code for path in (url, again)] == [401, 200]
    for _ in range(2):
        assert closed.delete(f"{at}/schedule-link", headers=header).status_code == 204
    assert closed.get(again).status_code == 401


def test_it_goes_with_the_job_and_with_the_key_that_asked_for_it(closed, closed_job_service, succeeded, linked, key):
    at, url, header = linked
    kept = closed.post(f"{succeeded(key[0])}/schedule-link", headers=header).json()["url"]
    assert closed.delete(f"{at}/files", headers=header).status_code == 204
    assert [closed.get(path).status_code for path in (url, kept)] == [401, 200]
    closed_job_service.keys.revoke(key[0])
    assert closed.get(kept).status_code == 401


def test_only_the_jobs_owner_asks_for_one_and_only_of_a_calendar(closed, closed_job_service, succeeded, linked, key):
    at, url, header = linked
    _, secret = closed_job_service.keys.create("another", ["submit", "read"])
    other = {"Authorization": f"Bearer {secret.get_secret_value()}"}
    assert closed.post(f"{at}/schedule-link", headers=other).status_code == 404
    assert closed.delete(f"{at}/schedule-link", headers=other).status_code == 404
    assert closed.get(url).status_code == 200
    assert closed.post(f"{succeeded(key[0], dated=False)}/schedule-link", headers=header).status_code == 404


def test_the_token_is_kept_nowhere(closed_job_service, closed_settings, linked, caplog, capfd):
    _, url, _ = linked
    token = url.partition("token=")[2]
    with (
        caplog.at_level(logging.DEBUG),
        listening(closed_settings.model_copy(update={"port": 0})) as base,
        httpx.Client(trust_env=False, base_url=base) as client,
    ):
        answers = [client.get(url.replace("http://drawers.test", "")) for _ in range(2)]
        answers.append(client.get(url.replace("http://drawers.test", "") + "0"))
        # as a server says it that writes its own lines
        logging.getLogger("uvicorn.access").info('%s - "%s %s" %d', "::1", "GET", url, 200)
    assert [answer.status_code for answer in answers] == [200, 200, 401]
    assert "/schedule.ics" in caplog.text
    ours = [record.getMessage() for record in caplog.records if not record.name.startswith("http")]  # not the client's
    output = [*capfd.readouterr(), *(f"{answer.headers} {answer.text}" for answer in answers)]
    assert not any(token in text for text in (*ours, *output))
    for path in closed_settings.data_dir.rglob("*"):
        if path.is_file():
            assert token.encode() not in path.read_bytes(), path
    with closed_job_service._database.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM schedule_links").scalar() >= 1
