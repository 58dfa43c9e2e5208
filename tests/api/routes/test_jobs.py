import json
from datetime import UTC, datetime

import pytest

from api.documents.jobs import JobDocument
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.models import Progress
from worker.spec.errors import CheckFailed


def test_a_job_is_taken_and_has_an_address(service, job_service, spec):
    answer = service.post("/v1/jobs", json=spec)
    assert answer.status_code == 202
    document = answer.json()
    assert answer.headers["location"] == document["links"]["self"]
    assert document["links"]["self"] == f"http://drawers.test/v1/jobs/{document['id']}"
    assert document["state"] == "queued"
    assert document["name"] == "bench left"
    assert document["progress"] == {"done": 0, "total": 0, "now": None}
    assert document["problem"] is None
    assert document["links"]["manifest"] is None
    assert abs(datetime.fromisoformat(document["created"]) - datetime.now(UTC)).total_seconds() < 60
    assert service.get(answer.headers["location"]).json() == document
    assert job_service.job(document["id"]).name == "bench left"


def test_a_job_document_is_never_kept_by_a_cache(service, spec):
    at = service.post("/v1/jobs", json=spec).headers["location"]
    headers = service.get(at).headers
    assert headers["cache-control"] == "no-store"
    assert headers["x-content-type-options"] == "nosniff"
    assert service.head(at).status_code == 200


def test_progress_is_told(service, records, claimed):
    claim = claimed()
    records.report(claim, Progress(3, 12, "tray T1"))
    document = service.get(f"/v1/jobs/{claim.job_id}").json()
    assert document["state"] == "running"
    assert document["progress"] == {"done": 3, "total": 12, "now": "tray T1"}
    assert document["attempts"] == 1


def test_a_failed_job_tells_why_with_the_address_of_the_kind(service, records, claimed):
    claim = claimed()
    records.fail(claim, stored_problem(CheckFailed("T1 is not closed.", part="T1", value=3, limit="0 open edges")))
    document = service.get(f"/v1/jobs/{claim.job_id}").json()
    assert document["state"] == "failed"
    assert document["problem"] == {
        "type": "http://drawers.test/problems/check-failed",
        "title": "A part failed its checks; none of its files were stored.",
        "status": 500,
        "detail": "T1 is not closed.",
        "part": "T1",
        "value": 3,
        "limit": "0 open edges",
    }


def test_a_job_that_succeeded_links_to_what_it_made(service, succeeded):
    job = succeeded(**{"manifest.json": b'{"manifest": "1"}', "bundle.zip": b"PK", "F1-tile.stl": b"solid"})
    links = service.get(f"/v1/jobs/{job}").json()["links"]
    assert service.get(links["manifest"]).json() == {"manifest": "1"}
    assert service.get(links["manifest"]).headers["content-disposition"].startswith("inline")
    assert service.get(links["bundle"]).content == b"PK"
    assert service.get(links["files"].replace("{name}", "F1-tile.stl")).content == b"solid"


@pytest.mark.parametrize("what", ["manifest", "bundle.zip", "files/F1-tile.stl"])
def test_a_job_under_way_has_no_results_yet(service, spec, what):
    at = service.post("/v1/jobs", json=spec).headers["location"]
    answer = service.get(f"{at}/{what}")
    assert answer.status_code == 409
    assert answer.json()["value"] == "queued"
    assert service.head(f"{at}/{what}").status_code == 409


def test_a_job_can_be_cancelled_once(service, spec):
    at = service.post("/v1/jobs", json=spec).headers["location"]
    answer = service.delete(at)
    assert answer.status_code == 200
    assert answer.json()["state"] == "cancelled"
    assert answer.json()["finished"]
    again = service.delete(at)
    assert again.status_code == 409
    assert again.json()["type"].endswith("/problems/job-finished")


def test_a_failed_job_is_retried_once(service, spec, records):
    at = service.post("/v1/jobs", json=spec).headers["location"]
    early = service.post(f"{at}/retry")
    assert (early.status_code, early.json()["value"]) == (409, "queued")
    assert early.json()["type"].endswith("/problems/job-not-failed")
    job = at.rsplit("/", 1)[1]
    problem = {"type": "/problems/internal-error", "title": "t", "detail": "d", "status": 500}
    assert records.fail(records.claim(job, lease_seconds=60.0, attempts=3), problem)
    assert service.get(at).json()["state"] == "failed"
    answer = service.post(f"{at}/retry")
    assert (answer.status_code, answer.headers["retry-after"]) == (202, "1")
    document = answer.json()
    assert (document["id"], document["state"], document["attempts"]) == (job, "queued", 0)
    assert (document["problem"], document["finished"]) == (None, None)
    assert service.post(f"{at}/retry").status_code == 409
    assert service.post("/v1/jobs/01m89eysvs6cwmhc13npxnv5k4/retry").status_code == 404


@pytest.mark.parametrize("job", ["x", "01m89eysvs6cwmhc13npxnv5k4", "%00", "%ff", "1" * 500, "a b"])
@pytest.mark.parametrize("method", ["GET", "DELETE"])
def test_no_such_job(service, job, method):
    answer = service.request(method, f"/v1/jobs/{job}")
    assert answer.status_code == 404
    assert answer.json()["type"].endswith("/problems/job-not-found")


def test_jobs_are_listed_newest_first_page_by_page(service, spec):
    made = [service.post("/v1/jobs", json={**spec, "name": f"job {n}"}).json()["id"] for n in range(5)]
    listed, at = [], "/v1/jobs?limit=2"
    while at is not None and len(listed) < 5:
        page = service.get(at).json()
        assert len(page["jobs"]) <= 2
        listed += [job["id"] for job in page["jobs"]]
        at = page["next"]
    assert listed[:5] == made[::-1]


def test_the_last_page_has_no_next(service, spec, job_service):
    service.post("/v1/jobs", json=spec)
    total = len(job_service.jobs(limit=200))
    assert total < 100
    assert service.get(f"/v1/jobs?limit={total}").json()["next"] is None


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("limit=0", ["limit"]),
        ("limit=101", ["limit"]),
        ("limit=many", ["limit"]),
        ("after=%00", ["after"]),
        ("after=" + "u" * 26, ["after"]),
        ("page=2", ["page"]),
        ("limit=0&page=2", ["limit", "page"]),
    ],
)
def test_a_parameter_that_cannot_be_used_is_named(service, query, names):
    answer = service.get(f"/v1/jobs?{query}")
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["type"].endswith("/problems/parameter-refused")
    assert [fault["parameter"] for fault in problem["errors"]] == names


def test_the_document_is_what_the_model_says(service, spec):
    document = service.post("/v1/jobs", json=spec).json()
    assert json.loads(JobDocument.model_validate(document).model_dump_json()) == document
