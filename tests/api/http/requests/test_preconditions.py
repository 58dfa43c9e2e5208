"""If-Match (RFC 9110, 13.1.1) on everything that changes something: 412 when it has changed since."""

import pytest

from api.app import create_app
from worker.jobs.common.errors import PreconditionFailed
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
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


def test_a_change_in_the_very_moment_is_noticed(job_service, records, claimed):
    claim = claimed()
    revision = job_service.job(claim.job_id).revision
    records.report(claim, Progress(1, 2, "tray T1"))
    with pytest.raises(PreconditionFailed):
        job_service.cancel(claim.job_id, revision=revision)
    records.fail(claim, stored_problem(CheckFailed("no")))
    for change in (job_service.retry, job_service.remove):
        with pytest.raises(PreconditionFailed):
            change(claim.job_id, revision=revision)
    assert job_service.job(claim.job_id).state == "failed"


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


def test_the_revocation_of_a_key_has_the_precondition(tmp_path, started):
    with JobService.open(Settings.read(data_dir=tmp_path)) as job_service, started(create_app(job_service)) as client:
        _, secret = job_service.keys.create("admin", ["admin"])
        other, _ = job_service.keys.create("other", ["read"])
        key, at = {"Authorization": f"Bearer {secret.get_secret_value()}"}, f"/v1/keys/{other.id}"
        _refused(client.delete(at, headers={**key, "If-Match": '"other"'}))
        tag = client.get(at, headers=key).headers["etag"]
        assert client.delete(at, headers={**key, "If-Match": tag}).json()["state"] == "revoked"
        _refused(client.delete(at, headers={**key, "If-Match": tag}))
        assert client.delete("/v1/keys/nothing", headers={**key, "If-Match": tag}).status_code == 404


def test_the_contract_has_the_precondition_on_every_change(service):
    """RFC 9110, 13.1.1: a change of what exists can be made conditional, whatever it is."""
    paths = service.get("/openapi.json").json()["paths"]
    changes = {(method, path) for path, operations in paths.items() for method in operations} - {
        (method, path) for method in ("get", "head", "options", "parameters") for path in paths
    }
    conditional = {
        (method, path)
        for method, path in changes
        if "If-Match" in {parameter.get("name") for parameter in paths[path][method].get("parameters", ())}
        and "412" in paths[path][method]["responses"]
    }
    unconditional = {path for method, path in changes - conditional if method == "post"}
    assert {change for change in changes - conditional if change[0] != "post"} == set()
    # these create something, or send it; what exists stays as it is
    assert unconditional == {
        "/v1/batches", "/v1/drawers", "/v1/drawers/{drawer_id}/changes", "/v1/household", "/v1/jobs", "/v1/keys",
        "/v1/pieces", "/v1/plans", "/v1/silhouettes", "/v1/things", "/v1/webhooks", "/v1/webhooks/{webhook_id}/test",
        "/v1/webhooks/{webhook_id}/deliveries/{delivery_id}/redeliver",
    }  # fmt: skip


def test_every_change_of_a_webhook_has_the_precondition(service):
    at = service.post("/v1/webhooks", json={"url": "https://home.example/"}).json()["self"]
    _refused(service.delete(at, headers={"If-Match": '"other"'}))
    _refused(service.post(f"{at}/secret", headers={"If-Match": '"other"'}))
    assert service.delete(at, headers={"If-Match": service.get(at).headers["etag"]}).status_code == 204
