"""The routes of drawers, things and pieces, over a job that was ended by hand."""

import json

import jsonschema
import pytest
from lxml import etree

from api.app import create_app
from api.auth.access import scope_of
from api.openapi import contract
from tests.jobs.household.printed_jobs import TOP, TRAYS, add_job
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService

_BOX = {"kind": "box", "size": [60, 30, 15]}
_PIECE = {"mark": "T1", "name": "screws", "digest": "ab" * 32, "state": "spare"}
_BODIES = {"drawers": TOP, "things": {"name": "clips", "shape": _BOX, "tags": ["office"]}, "pieces": _PIECE}
_CHANGED = {
    "drawers": {**TOP, "height": 50},
    "things": {"name": "paper clips", "shape": _BOX},
    "pieces": {**_PIECE, "state": "retired"},
}
_MODELS = {"drawers": "DrawerDocument", "things": "ThingDocument", "pieces": "PieceDocument"}
_UNKNOWN = "0" * 26


@pytest.fixture(scope="module")
def valid():
    """Give a function that compares an answer with a model of the contract, and returns it."""
    published = json.loads(contract.files()["openapi.json"])

    def check(answer, model, status=200):
        assert answer.status_code == status, answer.text
        jsonschema.Draft202012Validator({**published, "$ref": f"#/components/schemas/{model}"}).validate(answer.json())
        return answer.json()

    return check


def _address(document):
    return document["self"] if "self" in document else document["links"]["self"]


@pytest.mark.parametrize("kind", _BODIES)
def test_a_resource_is_made_listed_changed_and_removed(service, valid, kind):
    answer = service.post(f"/v1/{kind}", json=_BODIES[kind])
    made = valid(answer, _MODELS[kind], 201)
    at = answer.headers["location"]
    assert at == _address(made)
    got = service.get(at)
    assert valid(got, _MODELS[kind]) == made
    assert got.headers["etag"] == answer.headers["etag"]
    assert service.get(at, headers={"If-None-Match": got.headers["etag"]}).status_code == 304
    assert service.get(f"/v1/{kind}").json()[kind][0] == made

    changed = service.request("PUT", at, json=_CHANGED[kind], headers={"If-Match": got.headers["etag"]})

    document = valid(changed, _MODELS[kind])
    assert document != made
    assert changed.headers["etag"] != got.headers["etag"]
    assert service.get(at).json() == document
    assert service.delete(at, headers={"If-Match": got.headers["etag"]}).status_code == 412
    assert service.delete(at, headers={"If-Match": changed.headers["etag"]}).status_code == 204
    missing = service.get(at)
    assert (missing.status_code, missing.json()["type"].rpartition("/")[2]) == (404, f"{kind[:-1]}-not-found")
    assert service.delete(at).status_code == 404
    assert service.request("PUT", at, json=_CHANGED[kind]).status_code == 404


@pytest.mark.parametrize("kind", _BODIES)
def test_of_two_changes_at_a_time_the_second_is_refused(service, kind):
    at = service.post(f"/v1/{kind}", json=_BODIES[kind]).headers["location"]
    seen = {"If-Match": service.get(at).headers["etag"]}

    first = service.request("PUT", at, json=_CHANGED[kind], headers=seen)
    second = service.request("PUT", at, json=_BODIES[kind], headers=seen)

    assert (first.status_code, second.status_code) == (200, 412)
    assert second.json()["type"].endswith("/problems/precondition-failed")
    assert service.get(at).headers["etag"] == first.headers["etag"]
    assert service.request("PUT", at, json=_BODIES[kind], headers={"If-Match": "*"}).status_code == 200
    assert (
        service.request("PUT", at, json=_BODIES[kind], headers={"If-Match": f"W/{first.headers['etag']}"}).status_code
        == 412
    )


@pytest.mark.parametrize("kind", _BODIES)
def test_lists_have_pages(service, kind):
    made = [service.post(f"/v1/{kind}", json=_BODIES[kind]).json()["id"] for _ in range(5)][::-1]
    listed, url = [], f"/v1/{kind}?limit=2"
    while url is not None:
        answer = service.get(url)
        page = answer.json()
        listed += [entry["id"] for entry in page[kind]]
        url = page["next"]
        assert answer.headers.get("link") == (None if url is None else f'<{url}>; rel="next"')
    assert listed[:5] == made


def test_lists_are_filtered(service):
    drawer = service.post("/v1/drawers", json={**TOP, "name": "100 % oak", "tags": ["hall", "a_b"]}).json()["id"]
    service.post("/v1/drawers", json={**TOP, "name": "oak", "tags": ["acb"]})
    for query in ("name=0 %", "name=100 % OAK", "tag=hall", "tag=a_b"):
        assert [entry["id"] for entry in service.get(f"/v1/drawers?{query}").json()["drawers"]] == [drawer], query
    thing = service.post(
        "/v1/things", json={"name": "needle", "tags": ["sewing"], "access": "rarely", "drawer": drawer}
    )
    for query in ("name=eedl", "tag=sewing", f"drawer={drawer}", "access=rarely"):
        assert [entry["id"] for entry in service.get(f"/v1/things?{query}").json()["things"]] == [thing.json()["id"]]
    piece = service.post("/v1/pieces", json={**_PIECE, "mark": "T77", "digest": "cd" * 32, "drawer": drawer})
    for query in ("mark=T77", f"digest={'cd' * 32}", f"drawer={drawer}&state=spare&state=placed"):
        assert [entry["id"] for entry in service.get(f"/v1/pieces?{query}").json()["pieces"]] == [piece.json()["id"]]
    assert service.get(f"/v1/pieces?drawer={drawer}&state=placed").json()["pieces"] == []
    for query in ("limit=0", "colour=red", "after=x"):
        assert service.get(f"/v1/drawers?{query}").status_code == 422


@pytest.mark.parametrize(
    ("kind", "change", "pointer"),
    [
        ("drawers", {"height": "high"}, "/height"),
        ("drawers", {"items": []}, "/items"),
        ("drawers", {"copies": 2}, "/copies"),
        ("drawers", {"tags": ["a", "a"]}, "/tags"),
        ("drawers", {"gap": 49.0, "width": 50.0}, "/gap"),
        ("things", {"shape": {"kind": "standard", "id": "battery-zz"}}, "/shape/id"),
        ("things", {"count": 0}, "/count"),
        ("things", {"drawer": "top"}, "/drawer"),
        ("pieces", {"state": "lost"}, "/state"),
        ("pieces", {"state": "placed"}, "/drawer"),
        ("pieces", {"digest": "12"}, "/digest"),
    ],
)
def test_what_cannot_be_is_a_problem_with_its_place(service, kind, change, pointer):
    answer = service.post(f"/v1/{kind}", json={**_BODIES[kind], **change})
    problem = answer.json()
    assert (answer.status_code, problem["type"].rpartition("/")[2]) == (422, "household-refused")
    assert problem["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize("kind", ["things", "pieces"])
def test_a_drawer_that_is_not_there_is_a_problem(service, kind):
    answer = service.post(f"/v1/{kind}", json={**_BODIES[kind], "drawer": _UNKNOWN})
    assert (answer.status_code, answer.json()["type"].rpartition("/")[2]) == (404, "drawer-not-found")


def test_a_job_over_a_drawer_is_complete_and_its_spec_can_be_fetched(service):
    drawer = service.post("/v1/drawers", json=TOP).json()
    thing = service.post("/v1/things", json={**_BODIES["things"], "drawer": drawer["id"]}).json()
    spec = {"spec": "1", "name": "from the household", "drawers": [{"id": drawer["id"]}]}

    job = service.post("/v1/jobs", json=spec)

    assert job.status_code == 202, job.text
    answer = service.get(f"{job.json()['links']['self']}/spec")
    assert answer.status_code == 200
    complete = answer.json()
    assert complete["drawers"][0]["items"][0]["id"] == thing["id"]
    assert complete["drawers"][0]["width"] == [300.0]
    assert complete["printer"]["bed"] == [220.0, 220.0, 220.0]
    unchanged = {"If-None-Match": answer.headers["etag"]}
    assert service.get(f"{job.json()['links']['self']}/spec", headers=unchanged).status_code == 304
    service.delete(f"/v1/drawers/{drawer['id']}")
    assert service.post("/v1/jobs", json=spec).status_code == 404
    assert service.post("/v1/plans", json=spec).json()["pointer"] == "/drawers/0/id"
    again = {name: value for name, value in complete["drawers"][0].items() if name != "id"}
    again["items"] = [{name: value for name, value in item.items() if name != "id"} for item in again["items"]]
    assert service.post("/v1/plans", json={**complete, "drawers": [again]}).status_code == 200


def test_the_contents_follow_the_print_events(service, valid, job_service, records, blobs):
    drawer = service.post("/v1/drawers", json=TOP).json()
    at = drawer["links"]["self"]
    entry = {"id": drawer["id"], "trays": TRAYS}
    spec = job_service.household.resolve({"spec": "1", "name": "job", "drawers": [entry]}, None)
    job = add_job(records, blobs, spec)
    assert service.get(f"{at}/contents").status_code == 409
    mark = next(part.mark for part in job.manifest.parts if part.name == "bits")

    assert service.post(f"/v1/jobs/{job.id}/prints", json={"outcome": "placed", "mark": mark}).status_code == 201

    contents = valid(service.get(f"{at}/contents"), "ContentsDocument")
    (place,) = [place for place in contents["places"] if place["piece"] is not None]
    assert (place["mark"], place["name"], contents["job"]) == (mark, "bits", job.id)
    assert contents["missing"] == len(contents["places"]) - 1
    after = valid(service.get(at), "DrawerDocument")
    assert after["layout"]["job"] == job.id
    assert after["pieces"] == {"printed": 0, "placed": 1, "spare": 0, "retired": 0}
    (piece,) = service.get(after["links"]["pieces"]).json()["pieces"]
    assert (piece["id"], piece["placement"]) == (place["piece"], place["number"])

    whole = service.request("PUT", f"{at}/layout", json={"job": job.id})

    assert valid(whole, "DrawerDocument")["pieces"]["placed"] == len(contents["places"])
    assert service.request("PUT", f"{at}/layout", json={"job": _UNKNOWN}).status_code == 404
    assert service.request("PUT", f"{at}/layout", json={"job": job.id, "drawer": "x"}).status_code == 422
    queued = service.post("/v1/jobs", json={**spec, "name": "queued"}).json()["id"]
    assert service.request("PUT", f"{at}/layout", json={"job": queued}).status_code == 409


def test_the_contents_name_what_lies_in_lanes(service, valid, job_service, records, blobs):
    drawer = service.post("/v1/drawers", json={**TOP, "width": 700, "depth": 400}).json()
    things = {}
    for name, size in {"towel": [200, 150, 20], "batten": [310, 20, 20]}.items():
        body = {"name": name, "shape": {"kind": "box", "size": size}, "drawer": drawer["id"]}
        things[name] = service.post("/v1/things", json=body).json()["id"]
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer["id"], "floor": "none"}]}
    job = add_job(records, blobs, job_service.household.resolve(spec, None))
    at = drawer["links"]["self"]
    assert service.request("PUT", f"{at}/layout", json={"job": job.id}).status_code == 200

    contents = valid(service.get(f"{at}/contents"), "ContentsDocument")

    entry = job.manifest.drawers[0]
    assert [lane["name"] for lane in contents["lanes"]] == [lane.name for lane in entry.lanes]
    lying = {item["name"]: item["thing"] for lane in contents["lanes"] for item in lane["items"]}
    assert lying == things
    assert not any(place["items"] for place in contents["places"])
    assert {place["kind"] for place in contents["places"]} <= {"panel", "shoe", "clip"}
    changed = service.post(f"{at}/changes", json={"remove": [things["towel"]]})
    changes = valid(changed, "ChangesDocument")
    assert (changes["print"], changes["move"], changes["retire"], changes["unplaced"]) == ([], [], [], [])


def test_a_search_says_where_a_thing_lies(service, valid, job_service, records, blobs):
    drawer = service.post("/v1/drawers", json={**TOP, "place": "in the attic"}).json()
    names = {"theodolite": [60, 30, 15], "plumb bob": [40, 40, 20]}
    for name, size in names.items():
        thing = {"name": name, "shape": {"kind": "box", "size": size}, "drawer": drawer["id"]}
        assert service.post("/v1/things", json=thing).status_code == 201
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer["id"]}]}
    job = add_job(records, blobs, job_service.household.resolve(spec, None))
    assert service.get(f"{drawer['links']['self']}/map.svg").status_code == 409
    layout = f"{drawer['links']['self']}/layout"
    assert service.request("PUT", layout, json={"job": job.id}).status_code == 200

    page = valid(service.get("/v1/things", params={"q": "where is the teodolites", "limit": 3}), "ThingPage")

    match = page["things"][0]["match"]
    assert page["next"] is None
    assert match["sentence"].startswith("Theodolite: in top drawer in the attic, tray T")
    (place,) = match["places"]
    assert (place["drawer"], place["drawer_place"], place["placed"]) == (drawer["id"], "in the attic", True)
    marked = service.get(place["map"])
    plain = service.get(f"{drawer['links']['self']}/map.svg")
    assert (marked.status_code, marked.headers["content-type"]) == (200, "image/svg+xml")
    svg = etree.fromstring(marked.content)
    assert svg.find("{http://www.w3.org/2000/svg}title").text == "theodolite in top drawer"
    assert place["mark"] in "".join(svg.itertext())
    assert len(marked.content) > len(plain.content)
    assert service.get(f"{drawer['links']['self']}/map.svg?thing={_UNKNOWN}").status_code == 404
    assert service.get("/v1/things?q=xylophone").json() == {"things": [], "next": None}
    refused = service.get("/v1/things?q=a&tag=b")
    assert (refused.status_code, refused.json()["parameter"]) == (422, "tag")


def test_a_household_belongs_to_its_key(tmp_path, started):
    with JobService.open(Settings.read(data_dir=tmp_path)) as job_service, started(create_app(job_service)) as client:

        def asker(*scopes):
            _, secret = job_service.keys.create("-".join(scopes), scopes)
            return {"Authorization": f"Bearer {secret.get_secret_value()}"}

        owner, other, reader, admin = (
            asker(*scopes)
            for scopes in (("submit", "read", "record"), ("submit", "read", "record"), ("read",), ("admin",))
        )
        for kind, body in _BODIES.items():
            at = client.post(f"/v1/{kind}", json=body, headers=owner).headers["location"]
            assert client.get(at, headers=other).status_code == 404
            assert client.get(f"/v1/{kind}", headers=other).json()[kind] == []
            assert client.request("PUT", at, json=body, headers=other).status_code == 404
            assert client.delete(at, headers=other).status_code == 404
            assert client.post(f"/v1/{kind}", json=body, headers=reader).status_code == 403
            assert client.delete(at, headers=reader).status_code == 403
            assert client.get(at, headers=admin).status_code == 200
        drawer = client.get("/v1/drawers", headers=owner).json()["drawers"][0]["id"]
        thing = {**_BODIES["things"], "drawer": drawer}
        assert client.post("/v1/things", json=thing, headers=other).status_code == 404
        spec = {"spec": "1", "name": "x", "drawers": [{"id": drawer}]}
        assert client.post("/v1/jobs", json=spec, headers=other).status_code == 404
        assert client.post("/v1/jobs", json=spec, headers=owner).status_code == 202


def test_scopes_are_those_of_jobs_and_prints():
    assert scope_of("POST", "/v1/drawers") == scope_of("PUT", "/v1/things/x") == "submit"
    assert scope_of("PUT", "/v1/pieces/x") == scope_of("PUT", "/v1/drawers/x/layout") == "record"
    assert scope_of("GET", "/v1/drawers/x/contents") == "read"


def test_changes_are_planned_with_hours_and_grams_and_applied(service, valid, job_service, records, blobs):
    drawer = service.post("/v1/drawers", json=TOP).json()
    at = f"{drawer['links']['self']}/changes"
    assert service.post(at, json={}).status_code == 409
    things = {
        name: service.post("/v1/things", json={"name": name, "shape": {"kind": "box", "size": size}}).json()["id"]
        for name, size in {"stamps": [60, 30, 15], "sealing wax": [90, 30, 30]}.items()
    }
    entry = {"id": drawer["id"], "items": [{"id": things["stamps"]}]}
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [entry]}
    job = add_job(records, blobs, job_service.household.resolve(spec, None))
    layout = f"{drawer['links']['self']}/layout"
    assert service.request("PUT", layout, json={"job": job.id}).status_code == 200

    same = valid(service.post(at, json={}), "ChangesDocument")
    planned = valid(service.post(at, json={"add": [things["sealing wax"]]}), "ChangesDocument")

    assert (same["print"], same["hours"], same["grams"], same["retire"]) == ([], 0.0, 0.0, [])
    assert [entry["kind"] for entry in planned["print"]] == ["tray"]
    assert planned["hours"] > 0.0
    assert planned["grams"] == pytest.approx(sum(run["grams"] for run in planned["runs"]), abs=0.06)
    assert planned["job"] is None
    assert service.get(f"/v1/things/{things['sealing wax']}").json()["drawer"] is None

    applied = service.post(f"{at}?apply=true", json={"add": [things["sealing wax"]]})

    submitted = valid(applied, "ChangesDocument", 202)
    assert submitted["print"] == planned["print"]
    assert applied.headers["location"] == submitted["job"]["links"]["self"]
    assert service.get(f"/v1/things/{things['sealing wax']}").json()["drawer"] == drawer["id"]
    kept = service.get(f"{submitted['job']['links']['self']}/spec").json()
    assert {item["name"] for item in kept["drawers"][0]["items"]} == {"stamps", "sealing wax"}
    assert kept["previous"]["drawers"][0]["name"] == "top drawer"
    assert service.post(at, json={"remove": [_UNKNOWN]}).json()["pointer"] == "/remove/0"
    assert service.post(at, json={"count": 2}).status_code == 422
