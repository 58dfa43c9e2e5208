"""Batches over HTTP: documents and lines, each spec judged by itself."""

import json

import jsonschema
import pytest

from api.http.requests.batch_body import LINES_TYPE
from worker.jobs.database.connection import open_database
from worker.jobs.execution.batch_finalizer import BatchFinalizer
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.records.batches import BatchRecords


def _lines(service, lines, **query):
    content = b"\n".join(line if isinstance(line, bytes) else json.dumps(line).encode() for line in lines)
    return service.post("/v1/batches", content=content, params=query, headers={"Content-Type": LINES_TYPE})


def _batch(*specs, **more):
    return {"batch": "1", "name": "kitchen", "specs": list(specs), **more}


@pytest.fixture
def bad(spec):
    return {**spec, "name": "bad", "drawers": [{"name": "top", "width": -1, "depth": 136, "height": 40}]}


def test_each_good_spec_is_a_job(service, spec, bad):
    answer = service.post("/v1/batches", json=_batch(spec, bad, {**spec, "name": "other"}))
    assert answer.status_code == 202
    document = answer.json()
    assert answer.headers["location"] == document["links"]["self"]
    assert (document["name"], document["state"]) == ("kitchen", "running")
    assert document["counts"] == {
        "refused": 1, "queued": 2, "running": 0, "succeeded": 0, "failed": 0, "cancelled": 0, "removed": 0,
    }  # fmt: skip
    assert [(entry["index"], entry["name"], entry["state"]) for entry in document["entries"]] == [
        (0, "bench left", "queued"), (1, "bad", "refused"), (2, "other", "queued"),
    ]  # fmt: skip
    problem = document["entries"][1]["problem"]
    assert problem["pointer"] == "/drawers/0/width"
    assert problem["type"].startswith("http://drawers.test/problems/")
    assert service.get(document["entries"][0]["job"]).json()["name"] == "bench left"
    assert service.get(document["links"]["self"]).json() == document


def test_lines_are_the_same(service, spec, bad):
    answer = _lines(service, [spec, b"", bad, b"nonsense", b"  \r", spec], name="shed")
    assert answer.status_code == 202, answer.text
    document = answer.json()
    assert document["name"] == "shed"
    assert [entry["state"] for entry in document["entries"]] == ["queued", "refused", "refused", "queued"]
    assert document["entries"][2]["name"] is None
    assert "not valid JSON" in document["entries"][2]["problem"]["detail"]


@pytest.mark.parametrize("form", ["document", "lines"])
def test_strictly_one_bad_spec_stops_all(service, engine, spec, bad, form):
    before = len(engine.jobs(limit=200))
    if form == "lines":
        answer = _lines(service, [spec, bad], strict=True)
    else:
        answer = service.post("/v1/batches", json=_batch(spec, bad, strict=True))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/specs/1/drawers/0/width"
    assert len(engine.jobs(limit=200)) == before


@pytest.mark.parametrize(
    ("document", "pointer"),
    [
        ({"batch": "1", "name": "a", "specs": []}, "/specs"),
        ({"batch": "2", "name": "a", "specs": [1]}, "/batch"),
        ({"batch": "1", "specs": [1]}, "/name"),
        ({"batch": "1", "name": "a", "specs": [1], "colour": "red"}, "/colour"),
        ({"batch": "1", "name": "a", "specs": [1, {}]}, "/specs"),
        ([], ""),
    ],
)
def test_a_batch_of_nothing_good_is_refused(service, document, pointer):
    answer = service.post("/v1/batches", json=document)
    assert answer.status_code == 422
    assert answer.json().get("pointer", "") == pointer


def test_drawers_are_split_into_jobs(service, spec):
    two = {**spec, "drawers": [{**spec["drawers"][0], "name": name} for name in ("top", "bottom")]}
    document = service.post("/v1/batches", json=_batch(two, spec, split=True)).json()
    assert [entry["name"] for entry in document["entries"]] == ["bench left: top", "bench left: bottom", "bench left"]


def test_limits_hold(service, engine, spec):
    before = len(engine.jobs(limit=200))
    assert _lines(service, [spec, b'"' + b"x" * 100_001 + b'"']).status_code == 413
    assert _lines(service, [spec, b"x" * 100_001]).status_code == 413
    assert _lines(service, [b"{}"] * 501).status_code == 413
    for answer in (
        _lines(service, [b"x" * 100_001]),
        service.post("/v1/batches", content=b" " * 100_001, headers={"Content-Type": "application/json"}),
    ):
        assert answer.status_code == 413
        for limit in (service.app.state.shared.settings.largest_body, service.app.state.shared.settings.largest_batch):
            assert str(limit) in answer.json()["limit"]
        assert answer.json()["remedy"]
    assert _lines(service, [b""]).status_code == 422
    assert _lines(service, [spec], colour="red").status_code == 422
    assert service.post("/v1/batches", content=b"", headers={"Content-Type": "text/csv"}).status_code == 415
    assert len(engine.jobs(limit=200)) == before


def test_sent_twice_it_is_one_batch(service, engine, spec, bad):
    before = len(engine.jobs(limit=200))
    first, again = (
        service.post("/v1/batches", json=_batch(spec, bad), headers={"Idempotency-Key": '"b-1"'}) for _ in range(2)
    )
    assert first.json() == again.json()
    assert len(engine.jobs(limit=200)) == before + 1
    other = service.post("/v1/batches", json=_batch(spec), headers={"Idempotency-Key": '"b-1"'})
    assert other.status_code == 422
    job = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": '"b-1"'})
    assert job.status_code == 422


@pytest.mark.parametrize("batch", ["x", "0" * 26, "%00"])
def test_no_such_batch(service, batch):
    for method, path in (("GET", ""), ("DELETE", ""), ("GET", "/manifest"), ("DELETE", "/files"), ("GET", "/files/a")):
        answer = service.request(method, f"/v1/batches/{batch}{path}")
        assert (answer.status_code, answer.json()["type"].rpartition("/")[2]) == (404, "batch-not-found")


def test_a_cancelled_batch_is_gathered_and_removed(service, settings, records, spec, bad):
    document = service.post("/v1/batches", json=_batch(spec, bad)).json()
    at, batch = document["links"]["self"], document["id"]
    assert service.get(f"{at}/manifest").status_code == 409
    assert service.delete(f"{at}/files").status_code == 409
    assert service.delete(at).json()["counts"]["cancelled"] == 1
    database = open_database(settings.database)
    BatchFinalizer(records, BatchRecords(database), ObjectStore.open(settings)).finalize(batch)
    database.dispose()
    done = service.get(at).json()
    assert done["state"] == "ended"
    manifest = service.get(done["links"]["manifest"])
    assert [entry["state"] for entry in manifest.json()["entries"]] == ["cancelled", "refused"]
    published = service.get("/openapi.json").json()
    jsonschema.Draft202012Validator({**published, "$ref": "#/components/schemas/BatchManifest"}).validate(
        manifest.json()
    )
    tag = manifest.headers["etag"]
    assert service.get(f"{at}/manifest", headers={"If-None-Match": tag}).status_code == 304
    file = service.get(f"{at}/files/manifest.json")
    assert file.content == manifest.content
    content = published["paths"]["/v1/batches/{batch_id}/files/{name}"]["get"]["responses"]["200"]["content"]
    assert file.headers["content-type"] in content
    assert service.get(f"{at}/files/run-01.3mf").status_code == 404
    assert service.delete(f"{at}/files").status_code == 204
    assert service.get(at).status_code == 404


def test_batches_are_listed_newest_first_page_by_page(service, spec, bad):
    ids = [
        service.post("/v1/batches", json=_batch(spec, bad, name=f"list {number}")).json()["id"] for number in range(3)
    ]
    first = service.get("/v1/batches", params={"limit": 2, "name": "LIST"})
    assert [batch["id"] for batch in first.json()["batches"]] == [ids[2], ids[1]]
    assert first.headers["link"] == f'<{first.json()["next"]}>; rel="next"'
    second = service.get(first.json()["next"]).json()
    assert [batch["id"] for batch in second["batches"]] == [ids[0]]
    assert second["next"] is None
    entry = second["batches"][0]
    whole = service.get(entry["self"]).json()
    assert entry == {**{name: whole[name] for name in entry if name != "self"}, "self": whole["links"]["self"]}
    assert entry["counts"] == {**dict.fromkeys(entry["counts"], 0), "refused": 1, "queued": 1}


def test_batches_are_chosen_by_state_and_time(service, spec):
    made = service.post("/v1/batches", json=_batch(spec, name="chosen")).json()

    def listed(**query):
        answer = service.get("/v1/batches", params={"name": "chosen", **query})
        assert answer.status_code == 200, answer.text
        return [batch["id"] for batch in answer.json()["batches"]]

    assert listed(state=["running", "ended"]) == [made["id"]]
    assert listed(state="ended") == listed(created_after=made["created"]) == []
    assert service.get("/v1/batches", params={"state": "eaten"}).status_code == 422
    assert service.get("/v1/batches", params={"colour": "red"}).status_code == 422


def test_jobs_are_listed_by_their_batch(service, spec):
    service.post("/v1/jobs", json=spec)
    made = service.post("/v1/batches", json=_batch(spec, spec)).json()
    jobs = service.get("/v1/jobs", params={"batch": made["id"]}).json()["jobs"]
    assert {job["links"]["self"] for job in jobs} == {entry["job"] for entry in made["entries"]}
    assert service.get("/v1/jobs", params={"batch": "0" * 26}).json()["jobs"] == []


def test_a_batch_has_an_entity_tag_and_is_waited_for(service, spec):
    at = service.post("/v1/batches", json=_batch(spec)).headers["location"]
    answer = service.get(at)
    assert service.get(at, headers={"If-None-Match": answer.headers["etag"]}).status_code == 304
    waited = service.get(at, headers={"Prefer": "wait=1"})
    assert waited.headers["preference-applied"] == "wait=1"
    assert waited.json() == answer.json()  # no worker runs here
    service.delete(at)
    assert service.get(at, headers={"If-None-Match": answer.headers["etag"]}).status_code == 200
