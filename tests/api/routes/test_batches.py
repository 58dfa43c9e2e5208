"""Batches over HTTP: documents and lines, each spec judged by itself."""

import io
import json
import zipfile

import jsonschema
import pytest

from api.http.requests.batch_body import LINES_TYPE
from worker.jobs.database.connection import open_database
from worker.jobs.execution.batch_finalizer import BatchFinalizer
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.stored_files import store_file
from worker.jobs.records.batches import BatchRecords
from worker.output.bundle.zip_writer import Entry, write_zip
from worker.spec.manifest import JSON_TYPE, THREEMF_TYPE, ZIP_TYPE


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
def test_strictly_one_bad_spec_stops_all(service, job_service, spec, bad, form):
    before = len(job_service.jobs(limit=200))
    if form == "lines":
        answer = _lines(service, [spec, bad], strict=True)
    else:
        answer = service.post("/v1/batches", json=_batch(spec, bad, strict=True))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/specs/1/drawers/0/width"
    assert len(job_service.jobs(limit=200)) == before


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


@pytest.mark.parametrize("form", ["document", "lines"])
def test_specs_name_drawers_and_things_of_the_household(service, spec, form):
    top, bottom = (
        service.post("/v1/drawers", json={**spec["drawers"][0], "name": name}).json()["id"]
        for name in ("upper", "lower")
    )
    thing = {"name": "clips", "shape": {"kind": "box", "size": [40, 20, 10]}, "drawer": top}
    clips = service.post("/v1/things", json=thing).json()["id"]
    both = {**spec, "drawers": [{"id": top}, {"id": bottom, "items": [{"id": clips}]}]}
    missing = {**spec, "drawers": [{"id": "0" * 26}]}

    if form == "lines":
        answer = _lines(service, [both, missing, spec], split="true")
    else:
        answer = service.post("/v1/batches", json=_batch(both, missing, spec, split=True))

    entries = answer.json()["entries"]
    assert [(entry["name"], entry["state"]) for entry in entries] == [
        ("bench left: upper", "queued"), ("bench left: lower", "queued"), ("bench left", "refused"),
        ("bench left", "queued"),
    ]  # fmt: skip
    problem = entries[2]["problem"]
    assert (problem["status"], problem["pointer"], problem["value"]) == (404, "/drawers/0/id", "0" * 26)
    for entry in entries[:2]:
        (drawer,) = service.get(f"{entry['job']}/spec").json()["drawers"]
        assert drawer["width"] == [136.0]
        assert [item["id"] for item in drawer["items"]] == [clips]


def test_limits_hold(service, job_service, spec):
    before = len(job_service.jobs(limit=200))
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
    assert len(job_service.jobs(limit=200)) == before


def test_sent_twice_it_is_one_batch(service, job_service, spec, bad):
    before = len(job_service.jobs(limit=200))
    first, again = (
        service.post("/v1/batches", json=_batch(spec, bad), headers={"Idempotency-Key": '"b-1"'}) for _ in range(2)
    )
    assert first.json() == again.json()
    assert len(job_service.jobs(limit=200)) == before + 1
    other = service.post("/v1/batches", json=_batch(spec), headers={"Idempotency-Key": '"b-1"'})
    assert other.status_code == 422
    job = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": '"b-1"'})
    assert job.status_code == 422


@pytest.mark.parametrize("batch", ["x", "0" * 26, "%00"])
def test_no_such_batch(service, batch):
    for method, path in (
        ("GET", ""),
        ("DELETE", ""),
        ("GET", "/manifest"),
        ("DELETE", "/files"),
        ("GET", "/files/a"),
        ("GET", "/bundle.zip"),
    ):
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


@pytest.fixture
def finished(service, job_service, records, blobs, spec):
    """Give a function that submits a batch of these names and ends it: each job has a bundle of one file."""

    def make(*names):
        specs = [{**spec, "name": name} for name in names]
        document = service.post("/v1/batches", json=_batch(*specs)).json()
        for entry in document["entries"]:
            claim = records.claim(entry["job"].rpartition("/")[2], lease_seconds=600.0, attempts=3)
            data = write_zip([Entry("parts/t1.stl", entry["name"].encode() * 99), Entry("READ-FIRST.txt", b"first")])
            records.succeed(claim, [store_file(blobs, f"jobs/{claim.job_id}", "bundle.zip", ZIP_TYPE, data)])
        token = job_service.batches.claim(document["id"], lease_seconds=600.0, attempts=3)
        own = [
            store_file(blobs, f"batches/{document['id']}", "manifest.json", JSON_TYPE, b"{}"),
            store_file(blobs, f"batches/{document['id']}", "run-01.3mf", THREEMF_TYPE, b"run"),
        ]
        assert job_service.batches.finish(document["id"], token, own)
        return service.get(document["links"]["self"]).json()

    return make


def test_the_files_of_all_jobs_are_one_archive(service, finished):
    batch = finished("shelf above", "shelf above", "Über/..")
    answer = service.get(batch["links"]["bundle"])
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    assert int(answer.headers["content-length"]) == len(answer.content)
    assert answer.headers["content-disposition"] == 'attachment; filename="bundle.zip"'
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert archive.testzip() is None
        folders = ("001-shelf-above", "002-shelf-above", "003-ber")
        assert archive.namelist() == [
            "manifest.json",
            "runs/run-01.3mf",
            *(f"{folder}/{name}" for folder in folders for name in ("parts/t1.stl", "READ-FIRST.txt")),
        ]
        assert archive.read("003-ber/parts/t1.stl") == "Über/..".encode() * 99
    head = service.request("HEAD", batch["links"]["bundle"])
    assert (head.content, head.headers["content-length"]) == (b"", str(len(answer.content)))
    assert head.headers["etag"] == answer.headers["etag"]


def test_an_archive_of_a_batch_is_resumed_and_changes_when_a_job_is_removed(service, finished):
    batch = finished("left", "right")
    at = batch["links"]["bundle"]
    whole = service.get(at)
    tag = whole.headers["etag"]
    assert service.get(at, headers={"If-None-Match": tag}).status_code == 304
    part = service.get(at, headers={"Range": "bytes=100-", "If-Range": tag})
    assert (part.status_code, part.content) == (206, whole.content[100:])
    assert part.headers["content-range"] == f"bytes 100-{len(whole.content) - 1}/{len(whole.content)}"
    beyond = service.get(at, headers={"Range": f"bytes={len(whole.content)}-"})
    assert (beyond.status_code, beyond.headers["content-range"]) == (416, f"bytes */{len(whole.content)}")
    assert service.delete(f"{batch['entries'][0]['job']}/files").status_code == 204
    changed = service.get(at, headers={"Range": "bytes=100-", "If-Range": tag})
    assert changed.status_code == 200  # not a rest of the archive that it was
    assert changed.headers["etag"] != tag
    with zipfile.ZipFile(io.BytesIO(changed.content)) as archive:
        assert {name.partition("/")[0] for name in archive.namelist()} == {"manifest.json", "runs", "002-right"}
    assert service.get(at, headers={"If-Match": tag}).status_code == 412


def test_a_batch_that_has_not_ended_has_no_archive(service, job_service, spec):
    batch = service.post("/v1/batches", json=_batch(spec)).json()
    assert batch["links"]["bundle"] is None
    answer = service.get(f"{batch['links']['self']}/bundle.zip")
    assert (answer.status_code, answer.json()["type"].rpartition("/")[2]) == (409, "batch-not-ready")
    service.delete(batch["links"]["self"])
    token = job_service.batches.claim(batch["id"], lease_seconds=600.0, attempts=3)
    job_service.batches.fail(
        batch["id"], token, {"type": "about:blank", "title": "No.", "status": 500, "detail": "No."}
    )
    answer = service.get(f"{batch['links']['self']}/bundle.zip")
    assert (answer.status_code, answer.json()["detail"]) == (409, "The batch has no files: No.")


def test_a_batch_has_an_entity_tag_and_is_waited_for(service, spec):
    at = service.post("/v1/batches", json=_batch(spec)).headers["location"]
    answer = service.get(at)
    assert service.get(at, headers={"If-None-Match": answer.headers["etag"]}).status_code == 304
    waited = service.get(at, headers={"Prefer": "wait=1"})
    assert waited.headers["preference-applied"] == "wait=1"
    assert waited.json() == answer.json()  # no worker runs here
    service.delete(at)
    assert service.get(at, headers={"If-None-Match": answer.headers["etag"]}).status_code == 200
