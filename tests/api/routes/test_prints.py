"""The routes about printing, over a job that was ended by hand: no worker runs, so new runs get no file."""

import json
from datetime import UTC, datetime
from hashlib import sha256
from itertools import count

import icalendar
import jsonschema
import pytest

from api.documents.print_progress import beginning
from api.openapi import contract
from tests.printing.progress.planned_manifest import bench
from worker.jobs.records.models import StoredFile
from worker.spec.manifest import JSON_TYPE

_names = count()


@pytest.fixture(scope="module")
def job(records, blobs):
    """Give a function that makes a job that succeeded, and returns its path."""

    def make(*, timed=True, change=None, spec=None):
        spec, manifest = bench(timed=timed) if spec is None else spec
        data = (manifest if change is None else manifest.model_copy(update=change)).model_dump_json().encode()
        added = records.add("bench left", spec.model_dump_json())
        stored = []
        for name, media, content in (("manifest.json", JSON_TYPE, data), ("run-01.3mf", "model/3mf", b"a run")):
            key = f"test/{next(_names)}"
            blobs.put(key, content)
            stored.append(StoredFile(name, media, len(content), sha256(content).hexdigest(), key))
        assert records.succeed(records.claim(added.id, lease_seconds=600.0, attempts=3), stored)
        return f"/v1/jobs/{added.id}"

    return make


@pytest.fixture(scope="module")
def valid():
    """Give a function that compares an answer with a model of the contract."""
    published = json.loads(contract.files()["openapi.json"])

    def check(answer, model):
        assert answer.is_success, answer.text
        jsonschema.Draft202012Validator({**published, "$ref": f"#/components/schemas/{model}"}).validate(answer.json())
        return answer.json()

    return check


def test_at_first_nothing_is_printed(service, job, valid):
    at = job()
    links = service.get(at).json()["links"]
    assert links["prints"].endswith(f"{at}/prints")
    prints = valid(service.get(links["prints"]), "PrintsDocument")
    manifest = bench()[1]
    assert not prints["done"]
    assert prints["pieces_left"] == manifest.work.pieces
    assert prints["files"]["state"] == "complete"
    assert prints["runs_left"] == len(manifest.runs) == len(prints["runs"])
    assert {mark["mark"]: mark["left"] for mark in prints["marks"]} == {
        mark.mark: mark.quantity for mark in manifest.parts
    }
    assert prints["runs"][0]["file"] == f"http://drawers.test{at}/runs/1.3mf"
    assert service.get(prints["runs"][0]["file"]).content == b"a run"
    assert prints["events"] == []
    assert prints["next"] is None


def test_a_run_is_printed_and_placed(service, job, valid):
    at = job()
    answer = service.post(f"{at}/prints", json={"outcome": "printed", "run": 3, "at": "2026-03-07T18:42:00+01:00"})
    assert answer.status_code == 201
    recorded = valid(answer, "PrintDocument")
    assert (recorded["number"], recorded["run"], recorded["mark"], recorded["count"]) == (1, 3, None, None)
    assert recorded["at"] == "2026-03-07T17:42:00Z"
    assert abs(datetime.fromisoformat(recorded["recorded"]) - datetime.now(UTC)).total_seconds() < 60
    assert service.post(f"{at}/prints", json={"outcome": "placed", "run": 3, "note": "fits"}).status_code == 201
    after = valid(service.get(f"{at}/prints"), "PrintsDocument")
    assert [event["outcome"] for event in after["events"]] == ["placed", "printed"]
    assert after["runs"][2]["state"] == "printed"
    (moved,) = {mark["mark"]: mark for mark in after["marks"] if mark["placed"]}.values()
    assert moved["printed"] == moved["placed"] == 1
    assert sum(spool["used"] for spool in after["filament"]) == pytest.approx(10.0)
    remaining = valid(service.get(f"{at}/runs"), "RunsDocument")
    assert [run["number"] for run in remaining["runs"]] == [run.number for run in bench()[1].runs if run.number != 3]
    assert remaining["work"]["pieces"] == bench()[1].work.pieces - 1


@pytest.mark.parametrize("by", ["body", "header", "both"])
def test_an_event_counts_once(service, job, by):
    at = job()
    event = {"outcome": "printed", "mark": "T1", "count": 2}
    named = {"json": event if by == "header" else {**event, "id": "a.1"}}
    if by != "body":
        named["headers"] = {"Idempotency-Key": '"a.1"' if by == "both" else "a.1"}
    first = service.post(f"{at}/prints", **named)
    again = service.post(f"{at}/prints", **named)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.json()["id"] == "a.1"
    other = service.post(f"{at}/prints", json={**event, "count": 1, "id": "a.1"})
    assert (other.status_code, other.json()["type"]) == (422, "http://drawers.test/problems/print-repeated")
    assert len(service.get(f"{at}/prints").json()["events"]) == 1


@pytest.mark.parametrize(
    ("pointer", "event"),
    [
        ("/outcome", {}),
        ("/run", {"outcome": "printed"}),
        ("/run", {"outcome": "printed", "run": 77}),
        ("/mark", {"outcome": "printed", "run": 1, "mark": "T1"}),
        ("/mark", {"outcome": "printed", "mark": "T999"}),
        ("/mark", {"outcome": "printed", "mark": "../T1"}),
        ("/count", {"outcome": "printed", "mark": "T1", "count": 500}),
        ("/count", {"outcome": "printed", "run": 1, "count": 1}),
        ("/failed", {"outcome": "failed", "run": 1, "failed": {"C1": 1}}),
        ("/failed/T1", {"outcome": "printed", "run": 1, "failed": {"T1": 1}}),
        ("/note", {"outcome": "printed", "run": 1, "note": "x" * 201}),
        ("/note", {"outcome": "printed", "run": 1, "note": "a\u0000b"}),
        ("/at", {"outcome": "printed", "run": 1, "at": "2026-03-07T18:42:00"}),
        ("/at", {"outcome": "printed", "run": 1, "at": "0001-01-01T00:00:00+23:59"}),
        ("/id", {"outcome": "printed", "run": 1, "id": "a b"}),
        ("/weight", {"outcome": "printed", "run": 1, "weight": 4}),
    ],
)
def test_what_cannot_be_is_a_problem_and_nothing_is_lost(service, job, pointer, event):
    at = job()
    answer = service.post(f"{at}/prints", json=event)
    problem = answer.json()
    assert (answer.status_code, problem["type"]) == (422, "http://drawers.test/problems/print-refused")
    assert problem["pointer"] == pointer
    assert problem.get("limit") or problem.get("remedy")
    assert service.get(f"{at}/prints").json()["events"] == []
    assert service.post(f"{at}/prints", json={"outcome": "printed", "run": 1}).status_code == 201


def test_names_that_differ_are_refused(service, job):
    event = {"outcome": "printed", "run": 1, "id": "a"}
    answer = service.post(f"{job()}/prints", json=event, headers={"Idempotency-Key": "b"})
    assert (answer.status_code, answer.json()["pointer"]) == (422, "/id")
    bad = service.post(f"{job()}/prints", json={"outcome": "printed", "run": 1}, headers={"Idempotency-Key": "a b"})
    assert bad.status_code == 422


def test_the_body_is_json_and_small(service, job):
    at = job()
    assert service.post(f"{at}/prints", content=b"{", headers={"Content-Type": "application/json"}).status_code == 422
    assert service.post(f"{at}/prints", content=b"{}").status_code == 415
    long = json.dumps({"outcome": "printed", "run": 1, "note": "x" * 70_000}).encode()
    headers = {"Content-Type": "application/json"}
    assert service.post(f"{at}/prints", content=long, headers=headers).status_code == 413


def test_only_a_job_that_succeeded_takes_prints(service, claimed):
    at = f"/v1/jobs/{claimed().job_id}"
    for answer in (
        service.post(f"{at}/prints", json={"outcome": "printed", "run": 1}),
        service.get(f"{at}/prints"),
        service.get(f"{at}/runs"),
        service.get(f"{at}/schedule.ics"),
        service.get(f"{at}/runs/1.3mf"),
    ):
        assert (answer.status_code, answer.json()["type"]) == (409, "http://drawers.test/problems/job-not-ready")
    for path in ("prints", "runs", "schedule.ics", "runs/1.3mf"):
        assert service.get(f"/v1/jobs/{'0' * 26}/{path}").status_code == 404
    assert service.post(f"/v1/jobs/{'0' * 26}/prints", json={"outcome": "printed", "run": 1}).status_code == 404


def test_a_job_of_before_there_were_runs_says_so(service, job):
    at = job(change={"runs": (), "work": None})
    answer = service.get(f"{at}/prints")
    assert (answer.status_code, answer.json()["type"]) == (409, "http://drawers.test/problems/runs-unknown")
    assert answer.json()["remedy"]


def test_a_job_with_nothing_to_print_is_done(service, job, valid):
    work = bench()[1].work.model_copy(update={"pieces": 0, "runs": 0, "least_runs": 0})
    at = job(change={"runs": (), "work": work})
    assert valid(service.get(f"{at}/prints"), "PrintsDocument")["done"]
    assert valid(service.get(f"{at}/runs"), "RunsDocument")["runs"] == []


def test_the_history_comes_in_pages(service, job):
    at = job()
    for number in range(1, 6):
        assert service.post(f"{at}/prints", json={"outcome": "printed", "run": number}).status_code == 201
    seen, page = [], f"{at}/prints?limit=2"
    while page is not None:
        history = service.get(page).json()
        seen += [event["number"] for event in history["events"]]
        page = history["next"]
    assert seen == [5, 4, 3, 2, 1]
    assert service.get(f"{at}/prints?after=x").status_code == 422


def test_a_failed_run_comes_again_and_its_file_is_waited_for(service, job, job_service, valid):
    at = job()
    last = len(bench()[1].runs)
    event = {"outcome": "failed", "run": last}
    assert service.post(f"{at}/prints", json=event).json()["runs_left"] == last
    runs = valid(service.get(f"{at}/runs"), "RunsDocument")
    again = next(run for run in runs["runs"] if run["number"] == last + 1)
    assert again["file"] is None
    assert runs["files"] == {"state": "awaited", "problem": None, "retry": None}
    answer = service.get(f"{at}/runs/{last + 1}.3mf")
    assert (answer.status_code, answer.headers["retry-after"]) == (409, "2")
    assert answer.json()["type"] == "http://drawers.test/problems/run-not-ready"
    assert service.head(f"{at}/runs/{last + 1}.3mf").status_code == 409
    for number in (last + 2, "x", "0", "01", "9" * 30):
        assert service.get(f"{at}/runs/{number}.3mf").status_code == 404
    job_id = at.rpartition("/")[2]
    assert job_id in job_service.prints.waiting(quiet_seconds=60.0, limit=200)  # no broker: it is sent later
    used = {spool["material"]: spool for spool in runs["filament"]}
    assert used["PLA"]["used"] == used["PLA"]["used_for_failed"] > 0
    assert used["PLA"]["spools"] == [pytest.approx(120.0 - used["PLA"]["used"])]


def test_why_a_run_has_no_file_is_told(service, job, job_service):
    at = job()
    service.post(f"{at}/prints", json={"outcome": "failed", "run": 1})
    assert job_service.prints.fail(at.rpartition("/")[2], 1, {"detail": "A stored file is damaged."})
    answer = service.get(f"{at}/runs/{len(bench()[1].runs) + 1}.3mf")
    assert (answer.status_code, "damaged" in answer.json()["detail"]) == (500, True)
    for document in ("prints", "runs"):
        files = service.get(f"{at}/{document}").json()["files"]
        assert (files["state"], files["problem"]) == ("failed", "A stored file is damaged.")
        assert datetime.fromisoformat(files["retry"]) > datetime.now(UTC)


def test_a_manifest_is_read_from_the_store_once_for_many_events(service, job, job_service, monkeypatch):
    read = []
    monkeypatch.setattr(job_service._blobs, "get", lambda key, get=job_service._blobs.get: read.append(key) or get(key))
    first, other = job(change={"name": "one"}), job(change={"name": "other"})
    for at, run in ((first, 1), (other, 1), (first, 2), (other, 2)):
        assert service.post(f"{at}/prints", json={"outcome": "printed", "run": run}).status_code == 201
        assert service.get(f"{at}/runs").status_code == 200
    assert len(read) == 2


def test_the_schedule_moves_on(service, job, valid):
    at = job()
    before = valid(service.get(f"{at}/runs"), "RunsDocument")["schedule"]
    assert len(before["steps"]) == len(bench()[1].runs)
    assert datetime.fromisoformat(before["begin"]) >= datetime.now(UTC)
    for run in bench()[1].runs[1:]:
        assert service.post(f"{at}/prints", json={"outcome": "printed", "run": run.number}).status_code == 201
    runs = service.get(f"{at}/runs").json()
    assert len(runs["schedule"]["steps"]) == 1
    assert datetime.fromisoformat(runs["schedule"]["finish"]) < datetime.fromisoformat(before["finish"])
    assert service.post(f"{at}/prints", json={"outcome": "printed", "run": 1}).json()["pieces_left"] == 0
    assert service.get(f"{at}/runs").json()["schedule"]["finish"] is None


def test_the_calendar_can_be_subscribed_to(service, job):
    at = job()
    answer = service.get(f"{at}/schedule.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    calendar = icalendar.Calendar.from_ical(answer.content)
    assert len(calendar.walk("VEVENT")) >= len(bench()[1].runs)
    head = service.head(f"{at}/schedule.ics")
    assert (head.status_code, head.content) == (200, b"")
    again = service.get(f"{at}/schedule.ics", headers={"If-None-Match": answer.headers["etag"]})
    # in the moment between two quarters of an hour it is another one
    assert again.status_code == 304 or again.headers["etag"] != answer.headers["etag"]
    service.post(f"{at}/prints", json={"outcome": "printed", "run": 1})
    changed = service.get(f"{at}/schedule.ics", headers={"If-None-Match": answer.headers["etag"]})
    assert changed.status_code == 200


def test_without_a_schedule_there_is_no_calendar(service, job, valid):
    spec, manifest = bench()
    at = job(spec=(spec.model_copy(update={"schedule": None}), manifest))
    answer = service.get(f"{at}/schedule.ics")
    assert (answer.status_code, answer.json()["type"]) == (404, "http://drawers.test/problems/file-not-found")
    assert valid(service.get(f"{at}/runs"), "RunsDocument")["schedule"] is None


def test_a_job_without_estimates_is_told_of_without_figures(service, job, valid):
    at = job(timed=False)
    assert service.post(f"{at}/prints", json={"outcome": "printed", "run": 1}).status_code == 201
    runs = valid(service.get(f"{at}/runs"), "RunsDocument")
    assert (runs["schedule"], runs["filament"], runs["purchases"]) == (None, [], [])
    assert valid(service.get(f"{at}/prints"), "PrintsDocument")["filament"] == []


def test_remaining_runs_are_dated_from_the_next_quarter():
    at = datetime(2026, 3, 7, 18, 42, 1, tzinfo=UTC)
    assert beginning(at) == datetime(2026, 3, 7, 18, 45, tzinfo=UTC)
    assert beginning(beginning(at)) == beginning(at)


def test_the_clearance_read_from_the_coupon_gives_the_next_spec(service, job, valid):
    at = job()
    refused = service.get(f"{at}/refit")
    assert (refused.status_code, refused.json()["type"]) == (409, "http://drawers.test/problems/clearance-not-read")
    event = {"outcome": "printed", "run": 1, "clearance": 0.25, "printer": "by the window", "seconds": 4000}
    recorded = valid(service.post(f"{at}/prints", json=event), "PrintDocument")
    assert (recorded["clearance"], recorded["printer"], recorded["seconds"]) == (0.25, "by the window", 4000.0)
    prints = valid(service.get(f"{at}/prints"), "PrintsDocument")
    assert (prints["clearance"], prints["refit"]) == (0.25, f"http://drawers.test{at}/refit")
    again = valid(service.get(prints["refit"]), "Spec")
    assert (again["grid"]["clearance"], again["coupon"]) == (0.25, False)
    same = service.post(f"{at}/prints", json={"outcome": "printed", "run": 2})
    assert same.status_code == 201
    measured = service.post(f"{at}/prints", json={"outcome": "measured", "clearance": bench()[0].grid.clearance})
    assert (measured.status_code, measured.json()["run"], measured.json()["mark"]) == (201, None, None)
    assert service.get(f"{at}/prints").json()["refit"] is None


@pytest.mark.parametrize(
    ("pointer", "event"),
    [
        ("/clearance", {"outcome": "measured"}),
        ("/run", {"outcome": "measured", "clearance": 0.2, "run": 1}),
        ("/clearance", {"outcome": "failed", "run": 1, "clearance": 0.2}),
        ("/printer", {"outcome": "printed", "mark": "T1", "printer": "one"}),
        ("/seconds", {"outcome": "failed", "run": 1, "seconds": 60}),
    ],
)
def test_a_reading_that_cannot_be_is_refused(service, job, pointer, event):
    answer = service.post(f"{job()}/prints", json=event)
    assert answer.status_code == 422
    assert pointer in {error["pointer"] for error in answer.json()["errors"]}


def test_each_run_has_a_sheet_that_its_calendar_event_links_to(service, job):
    at = job()
    sheet = service.get(f"{at}/runs/2.pdf")
    assert (sheet.status_code, sheet.headers["content-type"]) == (200, "application/pdf")
    assert sheet.content.startswith(b"%PDF-")
    assert service.head(f"{at}/runs/2.pdf").headers["etag"] == sheet.headers["etag"]
    assert service.get(f"{at}/runs/2.pdf", headers={"If-None-Match": sheet.headers["etag"]}).status_code == 304
    for number in ("99", "0", "x"):
        assert service.get(f"{at}/runs/{number}.pdf").status_code == 404
    events = icalendar.Calendar.from_ical(service.get(f"{at}/schedule.ics").content).walk("VEVENT")
    assert f"http://drawers.test{at}/runs/2.pdf" in {str(event["url"]) for event in events}


def test_failed_runs_tell_what_they_do_to_the_finish_and_count_for_their_printer(service, job, valid):
    at = job()
    before = valid(service.get(f"{at}/runs"), "RunsDocument")
    assert before["reprints"] == {"runs": 0, "pieces": 0, "seconds": 0.0, "grams": 0.0, "finish_without": None}
    earlier = {record["printer"]: record for record in valid(service.get(f"{at}/prints"), "PrintsDocument")["printers"]}
    last = before["runs"][-1]["number"]
    for event in (
        {"outcome": "printed", "run": 1, "printer": "printer", "seconds": before["runs"][0]["seconds"] * 1.5},
        {"outcome": "failed", "run": last, "printer": "printer"},
    ):
        assert service.post(f"{at}/prints", json=event).status_code == 201
    after = valid(service.get(f"{at}/runs"), "RunsDocument")
    assert after["reprints"]["runs"] == 1
    assert after["reprints"]["finish_without"] < after["schedule"]["finish"] < after["schedule"]["late_finish"]
    (record,) = valid(service.get(f"{at}/prints"), "PrintsDocument")["printers"]
    assert record["runs"] == earlier["printer"]["runs"] + 2
    assert record["failed"] == earlier["printer"]["failed"] + 1
    assert record["failure_rate"] > earlier["printer"]["failure_rate"]
    assert record["time_factor"] > 1.0


def test_waste_is_what_failed_and_what_each_start_takes(service, job, valid):
    at = job()
    assert valid(service.get(f"{at}/prints"), "PrintsDocument")["waste"] == 0.0
    runs = bench()[1].runs
    material = runs[-1].material
    assert service.post(f"{at}/prints", json={"outcome": "failed", "run": runs[-1].number}).status_code == 201
    assert service.post(f"{at}/prints", json={"outcome": "printed", "run": runs[0].number}).status_code == 201
    prints = valid(service.get(f"{at}/prints"), "PrintsDocument")
    wasted = {entry["material"]: entry["waste"] for entry in prints["filament"]}
    # one gram for the start of each run, and all pieces of the one that failed
    assert wasted[material] == pytest.approx(runs[-1].grams + 1.0 + (runs[0].material == material))
    assert prints["waste"] == pytest.approx(runs[-1].grams + 2.0)
