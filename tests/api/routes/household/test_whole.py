"""Export, import and the report over HTTP, over jobs that were ended by hand."""

import json
from functools import partial

import jsonschema
import pytest

from api.app import create_app
from api.openapi import contract
from tests.jobs.household.printed_jobs import TOP, add_job
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService

_BOX = {"kind": "box", "size": [60, 30, 15]}


@pytest.fixture(scope="module")
def published():
    return {name: json.loads(data) for name, data in contract.files().items() if name.endswith(".json")}


@pytest.fixture
def other(tmp_path, started):
    """A service elsewhere, with an empty household."""
    settings = Settings.read(data_dir=tmp_path, allowed_hosts="drawers.test")
    with JobService.open(settings) as job_service, started(create_app(job_service)) as client:
        yield client


@pytest.fixture
def laid(service, job_service, records, blobs):
    """Give a function that adds a drawer with these things, laid out; it returns its id and theirs by name."""
    return partial(_lay, service, job_service, records, blobs)


def _lay(service, job_service, records, blobs, name, things):  # noqa: PLR0917 - fixtures
    drawer = service.post("/v1/drawers", json={**TOP, "name": name}).json()["id"]
    ids = {thing["name"]: service.post("/v1/things", json={**thing, "drawer": drawer}).json()["id"] for thing in things}
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer}]}
    job = add_job(records, blobs, job_service.household.resolve(spec, None))
    assert service.request("PUT", f"/v1/drawers/{drawer}/layout", json={"job": job.id}).status_code == 200
    return drawer, ids


def test_a_household_moves_to_another_service(service, laid, other, published):
    drawer, ids = laid("moving", [{"name": "stamps", "shape": _BOX, "tags": ["post"]}])
    answer = service.get("/v1/household")
    assert answer.status_code == 200
    jsonschema.Draft202012Validator(published["household.schema.json"]).validate(answer.json())
    unchanged = service.get("/v1/household", headers={"If-None-Match": answer.headers["etag"]})
    assert unchanged.status_code == 304
    manifest = next(entry for entry in answer.json()["drawers"] if entry["id"] == drawer)["layout"]["manifest"]
    jsonschema.Draft202012Validator(published["manifest.schema.json"]).validate(manifest)

    added = other.post("/v1/household", content=answer.content, headers={"Content-Type": "application/json"})

    assert added.status_code == 201, added.text
    assert added.json() == {name: len(answer.json()[name]) for name in ("drawers", "things", "pieces")}
    again = other.get(added.headers["location"])
    assert again.content == answer.content
    assert again.headers["etag"] == answer.headers["etag"]
    assert other.get(f"/v1/drawers/{drawer}/contents").json()["missing"] == 0
    assert other.get("/v1/things?q=stamp").json()["things"][0]["id"] == ids["stamps"]
    assert other.get(f"/v1/drawers/{drawer}/map.svg?thing={ids['stamps']}").status_code == 200

    twice = other.post("/v1/household", json=answer.json())
    problem = twice.json()
    assert (twice.status_code, problem["type"].rpartition("/")[2]) == (409, "household-conflict")
    assert {"/drawers/0/id", "/things/0/id", "/pieces/0/id"} <= {error["pointer"] for error in problem["errors"]}
    assert other.get("/v1/household").content == answer.content

    assert other.post("/v1/household?ids=new", json=answer.json()).status_code == 201
    assert len(other.get("/v1/household").json()["drawers"]) == 2 * len(answer.json()["drawers"])


def test_a_document_that_contradicts_itself_is_refused_whole(other):
    thing = {"id": "1" * 26, "thing": {"name": "pen", "drawer": "2" * 26}}
    answer = other.post(
        "/v1/household", json={"household": "1", "things": [{**thing, "id": "3" * 26, "size": 1}, thing]}
    )
    problem = answer.json()
    assert (answer.status_code, problem["type"].rpartition("/")[2]) == (422, "household-refused")
    assert [error["pointer"] for error in problem["errors"]] == ["/things/0/size"]
    answer = other.post("/v1/household", json={"household": "1", "things": [thing]})
    assert answer.json()["pointer"] == "/things/0/thing/drawer"
    assert other.post("/v1/household?ids=old", json={"household": "1"}).status_code == 422
    assert other.get("/v1/things").json()["things"] == []


def test_an_import_belongs_to_its_key(tmp_path, started):
    document = {
        "household": "1",
        "things": [{"id": "1" * 26, "thing": {"name": "pen"}}],
        "pieces": [{"id": "2" * 26, "piece": {"mark": "T1", "name": "x", "digest": "0" * 64, "state": "spare"}}],
    }
    with JobService.open(Settings.read(data_dir=tmp_path)) as job_service, started(create_app(job_service)) as client:

        def key(*scopes):
            _, secret = job_service.keys.create("-".join(scopes), scopes)
            return {"Authorization": f"Bearer {secret.get_secret_value()}"}

        owner, submits, reader, admin = (
            key(*scopes) for scopes in (("submit", "record", "read"), ("submit", "read"), ("read",), ("admin",))
        )
        assert client.post("/v1/household", json=document, headers=reader).status_code == 403
        refused = client.post("/v1/household", json=document, headers=submits)
        assert (refused.status_code, refused.json()["limit"]) == (403, "record")
        assert client.post("/v1/household", json=document, headers=owner).status_code == 201
        assert client.get("/v1/household", headers=submits).json()["things"] == []
        assert [thing["id"] for thing in client.get("/v1/household", headers=owner).json()["things"]] == ["1" * 26]
        assert len(client.get("/v1/household", headers=admin).json()["pieces"]) == 1
        taken = client.post("/v1/household", json={**document, "pieces": []}, headers=submits)
        assert (taken.status_code, taken.json()["pointer"]) == (409, "/things/0/id")


def test_the_report_says_what_could_be_tidied(service, laid, published):
    """A thing alone in its tray takes the whole tray; free and used cells are those of the layout."""
    dryer = {"name": "hair dryer", "shape": {"kind": "box", "size": [150, 120, 40]}, "access": "rarely"}
    cups = {"name": "measuring cups", "shape": _BOX, "access": "often"}
    drawer, ids = laid("bathroom", [dryer, cups])
    second = service.post("/v1/drawers", json={**TOP, "name": "kitchen"}).json()["id"]
    cup = service.post("/v1/things", json={"name": "Measuring cup", "count": 2, "drawer": second}).json()["id"]

    answer = service.get("/v1/household/report")

    assert answer.status_code == 200
    report = answer.json()
    jsonschema.Draft202012Validator(
        {**published["openapi.json"], "$ref": "#/components/schemas/HouseholdReport"}
    ).validate(report)
    own = next(entry for entry in report["drawers"] if entry["drawer"] == drawer)
    contents = service.get(f"/v1/drawers/{drawer}/contents").json()
    trays = {
        item["thing"]: round(place["size"][0] / 42) * round(place["size"][1] / 42)
        for place in contents["places"]
        if place["kind"] == "tray"
        for item in place["items"]
    }
    assert {thing["thing"]: thing["cells"] for thing in own["things"]} == trays
    assert own["used"] == sum(trays.values())
    assert own["used"] + own["free"] == 42.0, "7 x 6 cells of 42 mm fit into 300 x 260 mm"
    (rare,) = [thing for thing in report["rare"] if thing["drawer"] == drawer]
    assert rare["thing"] == ids["hair dryer"]
    assert rare["sentence"] == f"Hair dryer takes {trays[ids['hair dryer']]} cells of bathroom and is used rarely."
    (duplicate,) = [entry for entry in report["duplicates"] if cup in entry["things"]]
    assert duplicate["things"] == [ids["measuring cups"], cup]
    assert duplicate["sentence"] == "Measuring cups is in 2 drawers: 1 in bathroom and 2 in kitchen."

    single = service.get(f"/v1/household/report?drawer={second}").json()
    assert [entry["sentence"] for entry in single["drawers"]] == ["Kitchen has no layout yet."]
    assert single["duplicates"] == [duplicate]
    assert service.get(f"/v1/household/report?drawer={'0' * 26}").status_code == 404
