"""Prefer (RFC 7240) and entity tags: waiting for a job without polling it."""

import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.requests import Request

from api.http.problems.errors import HeaderRefused
from api.http.requests.preferences import preferences
from tests.coroutines import run_coroutine
from worker.jobs.records.models import Progress


def _preferred(*fields):
    headers = [(b"prefer", field.encode("latin-1")) for field in fields]
    preferred = run_coroutine(preferences(Request({"type": "http", "headers": headers})))
    return preferred.wait, preferred.respond_async


@pytest.mark.parametrize(
    ("fields", "preference"),
    [
        ((), (0, False)),
        (("wait=5",), (5, False)),
        (("respond-async, wait=10",), (10, True)),  # RFC 7240, 4.1 and 4.3
        (("respond-async", "wait=10"), (10, True)),
        (("Wait=5",), (5, False)),
        (('wait="5"',), (5, False)),
        (("wait = 5",), (5, False)),
        (("wait=5; loud=yes",), (5, False)),
        (("wait=5, wait=6",), (5, False)),
        (("wait=0",), (0, False)),
        (("wait=3600",), (60, False)),
        (("handling=lenient, return=minimal",), (0, False)),
        (("",), (0, False)),
    ],
)
def test_what_is_preferred(fields, preference):
    assert _preferred(*fields) == preference


@pytest.mark.parametrize("field", ["wait=soon", "wait=-1", "wait=1.5", "wait=9999999999"])
def test_seconds_that_are_no_number_are_refused(field):
    with pytest.raises(HeaderRefused):
        _preferred(field)


@given(st.text(st.characters(codec="latin-1"), max_size=300))
def test_any_field_is_read_or_refused(field):
    with suppress(HeaderRefused):
        assert 0 <= _preferred(field)[0] <= 60


def test_who_waits_is_told_of_the_end(service, spec, job_service):
    with ThreadPoolExecutor(1) as pool:
        earlier = {job.id for job in job_service.jobs(limit=200)}

        def cancel():
            while not (new := [job for job in job_service.jobs(limit=200) if job.id not in earlier]):
                time.sleep(0.01)
            time.sleep(0.2)
            return job_service.cancel(new[0].id)

        done = pool.submit(cancel)
        answer = service.post("/v1/jobs", json=spec, headers={"Prefer": "wait=30"})
        assert done.result().ended
    assert answer.status_code == 201
    assert answer.json()["state"] == "cancelled"
    assert answer.headers["preference-applied"] == "wait=30"
    assert answer.headers["location"] == answer.json()["links"]["self"]
    assert "retry-after" not in answer.headers


def test_who_waits_in_vain_follows_the_job(service, spec):
    answer = service.post("/v1/jobs", json=spec, headers={"Prefer": "respond-async, wait=1"})
    assert answer.status_code == 202
    assert answer.headers["preference-applied"] == "wait=1, respond-async"
    assert int(answer.headers["retry-after"]) >= 1
    assert answer.json()["state"] == "queued"


def test_without_a_preference_nobody_waits(service, spec):
    answer = service.post("/v1/jobs", json=spec)
    assert answer.status_code == 202
    assert "preference-applied" not in answer.headers
    answer = service.post("/v1/jobs", json=spec, headers={"Prefer": "respond-async"})
    assert (answer.status_code, answer.headers["preference-applied"]) == (202, "respond-async")


def test_a_preference_that_cannot_be_read_takes_no_job(service, spec, job_service):
    before = len(job_service.jobs(limit=200))
    assert service.post("/v1/jobs", json=spec, headers={"Prefer": "wait=soon"}).status_code == 400
    assert len(job_service.jobs(limit=200)) == before


def test_a_job_is_told_once(service, records, claimed):
    claim = claimed()
    at = f"/v1/jobs/{claim.job_id}"
    first = service.get(at)
    tag = first.headers["etag"]
    same = service.get(at, headers={"If-None-Match": tag})
    assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", tag)
    assert service.get(at, headers={"If-None-Match": f'"x", W/{tag}'}).status_code == 304
    records.extend(claim, lease_seconds=600.0)
    assert service.get(at, headers={"If-None-Match": tag}).status_code == 304
    records.report(claim, Progress(1, 2, "tray T1"))
    news = service.get(at, headers={"If-None-Match": tag})
    assert (news.status_code, news.json()["progress"]["done"]) == (200, 1)
    assert news.headers["etag"] != tag


def test_a_tag_does_not_shorten_the_wait(service, records, claimed):
    claim = claimed()
    at = f"/v1/jobs/{claim.job_id}"
    tag = service.get(at).headers["etag"]
    with ThreadPoolExecutor(1) as pool:

        def build():
            records.report(claim, Progress(1, 2, "tray T1"))
            time.sleep(0.3)
            return records.succeed(claim, [])

        built = pool.submit(build)
        answer = service.get(at, headers={"If-None-Match": tag, "Prefer": "wait=30"})
        assert built.result()
    assert (answer.status_code, answer.json()["state"]) == (200, "succeeded")
    assert answer.headers["preference-applied"] == "wait=30"


def test_a_job_that_did_not_change_while_its_client_waited_is_not_sent(service, claimed):
    at = f"/v1/jobs/{claimed().job_id}"
    tag = service.get(at).headers["etag"]
    answer = service.get(at, headers={"If-None-Match": tag, "Prefer": "wait=1"})
    assert (answer.status_code, answer.headers["etag"]) == (304, tag)


def test_without_a_tag_the_end_is_waited_for(service, records, claimed):
    claim = claimed()
    with ThreadPoolExecutor(1) as pool:

        def go_on():
            records.report(claim, Progress(1, 2, "tray T1"))
            time.sleep(0.3)
            return records.succeed(claim, [])

        done = pool.submit(go_on)
        answer = service.get(f"/v1/jobs/{claim.job_id}", headers={"Prefer": "wait=30"})
        assert done.result()
    assert (answer.status_code, answer.json()["state"]) == (200, "succeeded")


def test_of_a_job_that_has_ended_nobody_waits_for_more(service, succeeded):
    at = f"/v1/jobs/{succeeded()}"
    tag = service.get(at).headers["etag"]
    assert service.get(at, headers={"If-None-Match": tag, "Prefer": "wait=60"}).status_code == 304


def test_many_may_wait_at_once(service, records, claimed):
    """More than the pool has threads, and other requests are answered meanwhile."""
    claim = claimed()
    at = f"/v1/jobs/{claim.job_id}"
    with ThreadPoolExecutor(101) as pool:
        waiting = [pool.submit(service.get, at, headers={"Prefer": "wait=30"}) for _ in range(100)]
        time.sleep(0.5)
        assert service.get("/v1/jobs?limit=1").status_code == 200
        assert not any(request.done() for request in waiting)
        records.succeed(claim, [])
        assert {request.result().json()["state"] for request in waiting} == {"succeeded"}
