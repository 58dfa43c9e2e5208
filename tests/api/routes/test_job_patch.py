import pytest

from worker.jobs.records.job_document import stored_problem
from worker.spec.errors import CheckFailed


@pytest.fixture
def at(service, spec):
    """The address of a new job."""
    return service.post("/v1/jobs", json=spec).headers["location"]


def _patch(service, at, body, **options):
    return service.request("PATCH", at, json=body, **options)


def test_name_notes_and_tags_are_changed_and_the_rest_stays(service, at):
    before = service.get(at).json()
    body = {"name": "bench right", "notes": "in grey\nby Friday", "tags": ["kitchen", "to print"]}
    answer = _patch(service, at, body)
    assert answer.status_code == 200
    assert answer.json() == service.get(at).json() == {**before, **body}


def test_what_is_absent_or_null_stays_and_empty_values_remove(service, at):
    _patch(service, at, {"notes": "n", "tags": ["a"]})
    assert _patch(service, at, {"name": None, "notes": None, "tags": None}).json()["notes"] == "n"
    assert _patch(service, at, {}).json()["tags"] == ["a"]
    document = _patch(service, at, {"notes": "", "tags": []}).json()
    assert (document["notes"], document["tags"], document["name"]) == (None, [], "bench left")


def test_a_job_in_any_state_is_changed_and_its_revision_grows(service, job_service, records, claimed):
    claim = claimed()
    at = f"/v1/jobs/{claim.job_id}"
    revision = job_service.job(claim.job_id).revision
    assert _patch(service, at, {"tags": ["running"]}).json()["state"] == "running"
    assert job_service.job(claim.job_id).revision > revision
    assert records.fail(claim, stored_problem(CheckFailed("no")))
    assert _patch(service, at, {"name": "failed one"}).json()["name"] == "failed one"


def test_jobs_are_listed_by_all_of_their_tags(service, spec):
    jobs = [service.post("/v1/jobs", json=spec).headers["location"] for _ in range(3)]
    for at, tags in zip(jobs, (["50 %", "_a"], ["50 %"], ["150 %"]), strict=True):
        _patch(service, at, {"tags": tags})

    def listed(*tags):
        answer = service.get("/v1/jobs", params={"tag": list(tags)})
        return [job["links"]["self"] for job in answer.json()["jobs"]]

    assert listed("50 %") == [jobs[1], jobs[0]]
    assert listed("50 %", "_a") == [jobs[0]]
    assert listed("0 %") == listed("xa") == []
    assert service.get("/v1/jobs", params={"tag": "a\nb"}).status_code == 422


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"name": ""}, "/name"),
        ({"tags": ["a", "a"]}, "/tags"),
        ({"tags": ["a", " a "]}, "/tags"),
        ({"tags": [""]}, "/tags/0"),
        ({"tags": ["line\nfeed"]}, "/tags/0"),
        ({"tags": ["x" * 41]}, "/tags/0"),
        ({"tags": [f"t{number}" for number in range(21)]}, "/tags"),
        ({"notes": "x" * 4_001}, "/notes"),
        ({"notes": 7}, "/notes"),
        ({"state": "succeeded"}, "/state"),
    ],
)
def test_a_faulty_change_is_refused_with_its_place(service, at, body, pointer):
    answer = _patch(service, at, body)
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("/problems/patch-refused")
    assert answer.json()["pointer"] == pointer


def test_a_change_is_for_the_job_as_it_was_seen(service, at):
    tag = service.get(at).headers["etag"]
    assert _patch(service, at, {"name": "first"}, headers={"If-Match": tag}).status_code == 200
    assert _patch(service, at, {"name": "second"}, headers={"If-Match": tag}).status_code == 412
    assert service.get(at).json()["name"] == "first"
    assert _patch(service, "/v1/jobs/nothing", {"name": "x"}).status_code == 404
