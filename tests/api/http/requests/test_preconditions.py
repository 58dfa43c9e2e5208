"""If-Match (RFC 9110, 13.1.1) on everything that changes something: 412 when it has changed since."""

import pytest

from worker.jobs.common.errors import PreconditionFailed
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.models import Progress
from worker.spec.errors import CheckFailed


def _refused(answer):
    assert answer.status_code == 412, answer.text
    assert answer.json()["type"].endswith("/problems/precondition-failed")


def test_a_cancel_is_for_the_job_as_it_was_seen(service, records, claimed):
    claim = claimed()
    at = f"/v1/jobs/{claim.job_id}"
    old = service.get(at).headers["etag"]
    records.report(claim, Progress(3, 12, "tray T1"))
    _refused(service.delete(at, headers={"If-Match": old}))
    assert service.get(at).json()["state"] == "running"
    tag = service.get(at).headers["etag"]
    assert tag != old
    assert service.delete(at, headers={"If-Match": f'"other", {tag}'}).json()["state"] == "cancelled"


def test_a_change_in_the_very_moment_is_noticed(engine, records, claimed):
    claim = claimed()
    revision = engine.job(claim.job_id).revision
    records.report(claim, Progress(1, 2, "tray T1"))
    with pytest.raises(PreconditionFailed):
        engine.cancel(claim.job_id, revision=revision)
    records.fail(claim, stored_problem(CheckFailed("no")))
    for change in (engine.retry, engine.remove):
        with pytest.raises(PreconditionFailed):
            change(claim.job_id, revision=revision)
    assert engine.job(claim.job_id).state == "failed"


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("DELETE", ""),
        ("DELETE", "/files"),
        ("POST", "/retry"),
        ("POST", "/schedule-link"),
        ("DELETE", "/schedule-link"),
    ],
)
def test_every_change_of_a_job_has_the_precondition(service, records, claimed, method, path):
    claim = claimed()
    records.fail(claim, stored_problem(CheckFailed("no")))
    at = f"/v1/jobs/{claim.job_id}"
    _refused(service.request(method, at + path, headers={"If-Match": '"other"'}))
    _refused(service.request(method, at + path, headers={"If-Match": f"W/{service.get(at).headers['etag']}"}))
    assert service.request(method, at + path, headers={"If-Match": "*"}).status_code != 412
    missing = service.request(method, "/v1/jobs/nothing" + path, headers={"If-Match": '"other"'})
    assert missing.status_code == 404


def test_a_print_event_is_for_the_job_as_it_was_seen(service, succeeded):
    at = f"/v1/jobs/{succeeded()}/prints"
    _refused(service.post(at, json={"outcome": "printed", "run": 1}, headers={"If-Match": '"other"'}))


@pytest.mark.parametrize("path", ["", "/files"])
def test_every_change_of_a_batch_has_the_precondition(service, spec, path):
    at = service.post("/v1/batches", json={"batch": "1", "name": "b", "specs": [spec]}).headers["location"]
    _refused(service.delete(at + path, headers={"If-Match": '"other"'}))
    assert service.get(at).json()["state"] == "running"
    tag = service.get(at).headers["etag"]
    assert service.delete(at + path, headers={"If-Match": tag}).status_code in (200, 409)


def test_every_change_of_a_webhook_has_the_precondition(service):
    at = service.post("/v1/webhooks", json={"url": "https://home.example/"}).json()["self"]
    _refused(service.delete(at, headers={"If-Match": '"other"'}))
    _refused(service.post(f"{at}/secret", headers={"If-Match": '"other"'}))
    assert service.delete(at, headers={"If-Match": service.get(at).headers["etag"]}).status_code == 204
