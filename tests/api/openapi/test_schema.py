"""The running service against its own OpenAPI document, by schemathesis: every operation, then along the links.

No answer may be a 5xx, of a status, type or shape that the document does not tell of, or take what it calls wrong.
"""

import json
import os
import subprocess
import sys
from collections import defaultdict
from copy import deepcopy
from pathlib import Path

import httpx
import pytest

from api.command.server import listening
from api.openapi import examples
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.processes.supervisor import Supervisor

pytestmark = pytest.mark.service

_ROOT = Path(__file__).parents[3]

#: Streams go on for as long as a job does, or longer: tests/api/test_events.py reads them.
_STREAMS = frozenset({"followJob", "followJobs", "followBatch", "followSilhouette"})

_PHOTO = _ROOT / "tests" / "silhouettes" / "photo" / "data" / "washer.jpg"

#: They end what the others are asked about; along the links they are asked for all the same.
_ENDING = frozenset(
    {
        "cancelJob",
        "removeJob",
        "removeBatch",
        "removeWebhook",
        "removeDrawer",
        "removeThing",
        "removePiece",
        "removeSilhouette",
        "revokeKey",
    }
)

#: A rule between fields (a tray that is no wider than its walls, a run that the job has not) is told by no schema.
#: What breaks one is refused with 422, as the document says.
_RULED = (
    *("submitJob", "submitBatch", "plan", "recordPrint", "createWebhook", "placeWholeDrawer"),
    *("changeDrawer", "listThings", "createKey", "changeJob", "importHousehold"),
    *("submitSilhouette", "correctSilhouette"),
    *(f"{verb}{noun}" for verb in ("create", "replace", "remove") for noun in ("Drawer", "Thing", "Piece")),
)

#: Thousands of variations of a spec, each in a request of its own: tests/spec/test_fuzz.py has many more, faster. Those
#: of a household (5,300 of 12,200 requests) are tried in createDrawer, createThing and createPiece.
_LARGE = ("submitJob", "submitBatch", "plan", "replaceDrawer", "importHousehold")

#: Their limit of bytes refuses (413) some of what has too many items before it is read.
_BRIEF = ("submitSilhouette", "correctSilhouette")

_REJECTED = ("400", "401", "403", "404", "405", "406", "409", "413", "415", "422", "428", "429", "5xx")
_ACCEPTED = ("2xx", "401", "403", "404", "409", "412", "422", "429")


@pytest.fixture(scope="module")
def bodies():
    """Good bodies by operation. The spec is small, since workers make each job."""
    spec = {**examples.document("small"), "schedule": examples.document("workshop-week")["schedule"]}
    webhook = {"url": "https://home.example/drawers"}
    (drawer,) = spec["drawers"]
    drawer = {name: drawer[name] for name in ("name", "width", "depth", "height")}
    drawers = [drawer, {**drawer, "place": "in the hall", "printer": spec["printer"]}]
    things = [{"name": "calliper", "shape": {"kind": "box", "size": [235, 78, 16]}, "tags": ["measuring"]}]
    pieces = [{"mark": "T1", "name": "keys", "digest": "5f" * 32, "state": "spare"}]
    return {
        "submitJob": [spec],
        "plan": [spec],
        "submitBatch": [{"batch": "1", "name": "one", "specs": [spec]}],
        "recordPrint": [
            {"outcome": "printed", "run": 1, "id": "press-1"},
            {"outcome": "failed", "run": 1, "note": "came loose"},
        ],
        "createKey": [{"name": "screen", "scopes": ["read"]}],
        "changeJob": [{"name": "renamed", "tags": ["kitchen"], "notes": "in grey"}],
        "createWebhook": [webhook, {**webhook, "events": ["job.succeeded"], "jobs": "named"}],
        **dict.fromkeys(("createDrawer", "replaceDrawer"), drawers),
        **dict.fromkeys(("createThing", "replaceThing"), things),
        **dict.fromkeys(("createPiece", "replacePiece"), pieces),
        "submitSilhouette": [{"name": "shim", "points": [[0, 0], [40, 0], [40, 20], [0, 20]], "depth": 2}],
        "correctSilhouette": [{"points": [[0, 0], [41, 0], [41, 20], [0, 20]]}],
        "changeDrawer": [{}],
        "importHousehold": [{"household": "1", "things": [{"id": "7" * 26, "thing": things[0]}]}],
    }


@pytest.fixture(scope="module")
def settings(tmp_path_factory):
    # no limits: they are tested in test_limits and test_rates, and here they would answer in the place of the routes
    data = tmp_path_factory.mktemp("schema") / "data"
    return Settings.read(
        data_dir=data,
        port=0,
        requests_per_minute=0,
        failures_per_minute=0,
        jobs_waiting=0,
        most_cells=400,
        open_loopback="never",
    )


@pytest.fixture(scope="module")
def job_service(settings):
    with Supervisor(settings), JobService.open(settings) as job_service:
        yield job_service


@pytest.fixture(scope="module")
def closed(job_service):
    """The address of the service with keys."""
    with listening(job_service.settings) as address:
        yield address


@pytest.fixture(scope="module")
def opened(job_service):
    """The address of the service that needs no key."""
    with listening(job_service.settings.model_copy(update={"open_loopback": "always"})) as address:
        yield address


@pytest.fixture(scope="module")
def document(closed):
    return httpx.get(f"{closed}/openapi.json", timeout=60.0).json()


@pytest.fixture
def schemathesis(tmp_path, pytestconfig):
    """Give a function that runs it; it returns by operation what was answered, and which links led to which status.

    Any finding fails. The same examples are tried each time.
    """

    def run(address, document, configuration, phases, examples):
        (tmp_path / "openapi.json").write_text(json.dumps(document))
        (tmp_path / "schemathesis.toml").write_text(configuration)
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("DRAWERWRIGHT_", "CI"))}
        examples = pytestconfig.getoption("schema_examples") or examples
        ended = subprocess.run(
            [
                *(sys.executable, "-m", "schemathesis.cli", "--no-color", "--config-file", "schemathesis.toml"),
                *("run", "openapi.json", "--url", address, "--phases", phases, "--max-examples", str(examples)),
                *("--generation-deterministic", "--no-shrink", "--continue-on-failure"),
                *("--exclude-checks", "use_after_free,ensure_resource_availability"),  # schema_hooks has its own
                *(word for operation_id in sorted(_STREAMS) for word in ("--exclude-operation-id", operation_id)),
                *("--report-ndjson-path", "told.ndjson"),
            ],
            cwd=tmp_path,
            env={**kept, "PYTHONPATH": str(_ROOT), "SCHEMATHESIS_HOOKS": "tests.api.openapi.schema_hooks"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert ended.returncode == 0, f"{ended.stdout}{ended.stderr}"
        return _answers_and_links(tmp_path / "told.ndjson", document)

    return run


def _answers_and_links(path, document):
    names = {(method.upper(), path): operation["operationId"] for method, path, operation in _operations(document)}
    answers, followed = defaultdict(set), set()
    for line in path.read_text().splitlines():
        for recorder in (event["recorder"] for event in json.loads(line).values() if "recorder" in event):
            for name, case in recorder.get("cases", {}).items():
                answer = recorder["interactions"].get(name, {}).get("response")
                if answer is None:
                    continue
                value, link = case["value"], case.get("transition")
                if (operation := names.get((value["method"], value["path"]))) is not None:
                    answers[operation].add(answer["status_code"])
                if link is not None and case["is_transition_applied"]:
                    followed.add((link["id"], answer["status_code"]))
    return answers, followed


def _operations(document):
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            yield method, path, operation


def _links(document):
    """Return where each link leads, by the name that schemathesis has for it."""
    label = {operation["operationId"]: f"{method.upper()} {path}" for method, path, operation in _operations(document)}
    return {
        f"{label[operation['operationId']]} -> [{status}] {name} -> {label[link['operationId']]}": link["operationId"]
        for _, _, operation in _operations(document)
        for status, answer in operation["responses"].items()
        for name, link in answer.get("links", {}).items()
    }


def _configuration(document, given, *general):
    """Return a configuration with what is said above; ``given`` has the parameters of paths."""
    lines = ["warnings = false", *general, "[phases.coverage]", 'unexpected-methods = ["PATCH"]']
    for _, path, operation in _operations(document):
        name, own = operation["operationId"], []
        values = [
            f'"path.{parameter}" = {json.dumps(value)}'
            for parameter, value in given.items()
            if f"{{{parameter}}}" in path
        ]
        if name in _ENDING:
            own += [f"phases.{phase}.extra-data-sources.responses = false" for phase in ("coverage", "fuzzing")]
        elif values:
            own.append(f"parameters = {{ {', '.join(values)} }}")
        if name in _RULED:
            own.append(f"checks.positive_data_acceptance.expected-statuses = {json.dumps(_ACCEPTED)}")
        if name in _BRIEF:
            own.append(f"checks.negative_data_rejection.expected-statuses = {json.dumps(_REJECTED)}")
        if name in _LARGE:
            own.append("phases.coverage.enabled = false")
        if own:
            lines += ["[[operations]]", f'include-operation-id = "{name}"', *own]
    return "\n".join([*lines, ""])


def _given_bodies(document, bodies):
    """Show these bodies in the place of the document's own, of which some are large and some are about another job."""
    for _, _, operation in _operations(document):
        if operation["operationId"] in bodies:
            content = operation["requestBody"]["content"]["application/json"]
            content["examples"] = {str(n): {"value": body} for n, body in enumerate(bodies[operation["operationId"]])}


def test_the_service_with_keys_keeps_to_its_document(schemathesis, document, job_service, *, closed, bodies, until):
    _, key = job_service.keys.create("integrator", frozenset({"admin"}))
    key = key.get_secret_value()
    reduced = deepcopy(document)
    # specs are tried as jobs and as plans; in a batch anything may stand for one, and is refused by itself
    reduced["components"]["schemas"]["BatchRequest"]["properties"]["specs"]["items"] = {}
    for _, _, operation in _operations(reduced):
        # a service without keys needs none, so the document lets each be left out; this one has some
        operation["security"] = [requirement for requirement in operation["security"] if requirement]
    with httpx.Client(base_url=closed, headers={"Authorization": f"Bearer {key}"}, timeout=60.0) as client:

        def made(path, name, **fields):
            return client.post(path, json={**bodies[name][0], **fields}).raise_for_status().json()["id"]

        given = {
            "job_id": made("/v1/jobs", "submitJob", coupon=True),
            "batch_id": made("/v1/batches", "submitBatch"),
            "webhook_id": made("/v1/webhooks", "createWebhook"),
            "key_id": made("/v1/keys", "createKey"),
            "name": "manifest.json",
            "number": "1",
            "slug": "job-not-found",
            "entry_id": client.get("/v1/catalogue").json()["things"][0]["id"],
            "drawer_id": made("/v1/drawers", "createDrawer"),
            "thing_id": made("/v1/things", "createThing"),
            "piece_id": made("/v1/pieces", "createPiece"),
        }
        options = {"thickness": 3, "body": "flat", "bar": 150}
        photo = {"file": ("washer.jpg", _PHOTO.read_bytes()), "options": (None, json.dumps(options))}
        given["silhouette_id"] = client.post("/v1/silhouettes", files=photo).raise_for_status().json()["id"]
        picture = f"/v1/silhouettes/{given['silhouette_id']}/overlay.png"
        tested = client.post(f"/v1/webhooks/{given['webhook_id']}/test").raise_for_status()
        given["delivery_id"] = tested.json()["id"]
        for path in (f"/v1/batches/{given['batch_id']}/manifest", f"/v1/jobs/{given['job_id']}/manifest", picture):
            until(lambda path=path: client.get(path).status_code == 200, 120.0)
        read = {"outcome": "printed", "run": 1, "clearance": 0.25}
        client.post(f"/v1/jobs/{given['job_id']}/prints", json=read).raise_for_status()
        layout = {"job": given["job_id"]}
        client.put(f"/v1/drawers/{given['drawer_id']}/layout", json=layout).raise_for_status()
    again = {"outcome": "measured", "clearance": 0.25}
    _given_bodies(reduced, {**bodies, "placeWholeDrawer": [layout], "recordPrint": [again]})
    configuration = _configuration(document, given, "[auth.openapi.key]", f"bearer = {json.dumps(key)}")
    answers, _ = schemathesis(closed, reduced, configuration, "examples,coverage,fuzzing", 3)
    assert set(answers) == {operation["operationId"] for _, _, operation in _operations(document)} - _STREAMS
    good = {name for name, statuses in answers.items() if any(200 <= status < 300 for status in statuses)}
    # none of these jobs fails, so none can be retried: tests/api/routes/test_jobs.py retries one that has failed;
    # and what is delivered here is a test, which is not delivered again: tests/jobs/records has other messages
    assert set(answers) - good - _ENDING == {"retryJob", "redeliver"}


def test_the_open_service_keeps_to_its_document_along_the_links(schemathesis, document, opened, bodies):
    reduced = deepcopy(document)
    for _, _, operation in _operations(reduced):
        # only what is good leads on; the other test sends what is not
        if operation["operationId"] in bodies:
            schema = {"enum": bodies[operation["operationId"]]}
            operation["requestBody"]["content"] = {"application/json": {"schema": schema}}
        kept = [
            parameter
            for parameter in operation.get("parameters", [])
            if parameter.get("required") or parameter["name"] == "after"
        ]
        if operation["operationId"] == "submitJob":
            prefer = {"name": "Prefer", "in": "header", "schema": {"enum": ["wait=20", "respond-async"]}}
            kept.append({**prefer, "required": True})  # so that many have ended
        operation["parameters"] = kept
    # few walks but long ones: a walk begins with two requests of each kind that needs nothing made before
    longer = ("[phases.stateful]", "max-steps = 90", "inference.algorithms = []", 'generation.mode = "positive"')
    _, followed = schemathesis(opened, reduced, _configuration(document, {}, *longer), "stateful", 9)
    links = _links(document)
    targets = set(links.values())
    missed = links.keys() - {name for name, _ in followed}
    empty = targets - {links[name] for name, status in followed if 200 <= status < 300}
    # where a walk goes depends on how fast the jobs are
    assert len(missed) <= len(links) / 3, missed
    assert len(empty) <= len(targets) / 3, empty
