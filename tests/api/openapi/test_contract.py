import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlsplit

import jsonschema
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.app import create_app
from api.http.problems.status_codes import problem_kinds, status_of
from api.openapi import contract, examples
from api.openapi import document as openapi
from worker.layout.planner import lay_out
from worker.spec import load

_OPENAPI = Path(__file__).parents[3] / "openapi"


@pytest.fixture(scope="module")
def published():
    return json.loads((_OPENAPI / "openapi.json").read_text("utf-8"))


def test_what_is_published_is_current():
    assert contract.stale() == []
    assert contract.main(["check"]) == 0


def test_it_is_the_same_every_time():
    assert contract.files() == contract.files()


def test_it_says_when_something_is_not_current(tmp_path):
    for name, data in contract.files().items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
    assert contract.stale(tmp_path) == []
    (tmp_path / "openapi.json").write_text("{}")
    (tmp_path / "examples" / "small.json").unlink()
    (tmp_path / "examples" / "left-over.json").write_text("{}")
    assert contract.stale(tmp_path) == ["examples/left-over.json", "examples/small.json", "openapi.json"]


def test_the_service_serves_what_is_published(service, published):
    assert service.get("/openapi.json").json() == published


def test_it_is_made_once_and_beside_the_event_loop(job_service, started, monkeypatch):
    made, make = [], openapi._document

    def seen(app):
        with pytest.raises(RuntimeError):
            asyncio.get_running_loop()
        made.append(app)
        return make(app)

    monkeypatch.setattr(openapi, "_document", seen)
    with started(create_app(job_service)) as client, ThreadPoolExecutor(4) as several:
        assert len({answer.content for answer in several.map(client.get, ["/openapi.json"] * 4)}) == 1
    assert len(made) == 1


def test_it_tells_where_a_proxy_has_put_the_service(job_service, started, published):
    app = create_app(job_service)
    app.root_path = "/drawers"
    with started(app) as client:
        assert client.get("/drawers/openapi.json").json() == {**published, "servers": [{"url": "/drawers"}]}


def test_it_is_openapi(published):
    assert list(OpenAPIV31SpecValidator(published).iter_errors()) == []


def test_each_operation_is_told_of_in_full(published):
    seen = []
    for path, operations in published["paths"].items():
        for method, operation in operations.items():
            seen.append(operation["operationId"])
            assert operation["summary"], (method, path)
            assert operation["description"], (method, path)
            for status, answer in operation["responses"].items():
                if int(status) >= 400:
                    assert list(answer["content"]) == ["application/problem+json"], (method, path, status)
    assert len(seen) == len(set(seen))


def test_every_route_of_the_issue_is_there(published):
    routes = {(method.upper(), path) for path, operations in published["paths"].items() for method in operations}
    assert routes >= {
        ("POST", "/v1/jobs"),
        ("GET", "/v1/jobs"),
        ("GET", "/v1/jobs/{job_id}"),
        ("DELETE", "/v1/jobs/{job_id}"),
        ("GET", "/v1/jobs/{job_id}/manifest"),
        ("GET", "/v1/jobs/{job_id}/files/{name}"),
        ("HEAD", "/v1/jobs/{job_id}/files/{name}"),
        ("GET", "/v1/jobs/{job_id}/bundle.zip"),
        ("POST", "/v1/plans"),
    }


@pytest.mark.parametrize("name", examples.names())
def test_each_example_runs_and_is_what_the_published_schema_takes(published, name):
    document = json.loads((_OPENAPI / "examples" / f"{name}.json").read_text("utf-8"))
    jsonschema.Draft202012Validator({**published, "$ref": "#/components/schemas/Spec"}).validate(document)
    assert lay_out(load(document)).parts


def test_the_schema_refuses_what_the_service_refuses(published, spec):
    validator = jsonschema.Draft202012Validator({**published, "$ref": "#/components/schemas/Spec"})
    validator.validate(spec)
    for wrong in ({**spec, "colour": "red"}, {**spec, "spec": "2"}, {**spec, "drawers": []}):
        with pytest.raises(jsonschema.ValidationError):
            validator.validate(wrong)


def test_the_demo_is_one_of_the_examples():
    assert examples.DEMO in examples.names()
    trays = examples.document(examples.DEMO)["drawers"][0]["trays"]
    assert len(trays) >= 10


def _names(schema):
    if isinstance(schema, dict):
        for name, value in schema.items():
            yield name
            yield from _names(value)
    elif isinstance(schema, list):
        for subschema in schema:
            yield from _names(subschema)


def test_bounds_have_the_names_of_json_schema(published):
    schemas = published["components"]["schemas"]
    assert not {"ge", "gt", "le", "lt"} & set(_names(schemas))
    assert schemas["Tray"]["properties"]["quantity"]["minimum"] == 1
    assert schemas["Tray"]["properties"]["quantity"]["maximum"] == 200
    assert schemas["Tray"]["properties"]["cells"]["prefixItems"][0]["maximum"] == 40.0


def _json_content(published):
    for path, operations in published["paths"].items():
        for method, operation in operations.items():
            if "requestBody" in operation:
                for media_type, content in operation["requestBody"]["content"].items():
                    yield f"{method} {path} {media_type}", media_type, content
            for status, answer in operation["responses"].items():
                for media_type, content in answer.get("content", {}).items():
                    if media_type.endswith("json") and content.get("schema") and method != "head" and status != "206":
                        yield f"{method} {path} {status}", media_type, content


def _model_examples(published, schema):
    """Return the examples of the model to which a schema, or the items of a list, refers."""
    name = schema.get("$ref", schema.get("items", {}).get("$ref", "")).rpartition("/")[2]
    return published["components"]["schemas"].get(name, {}).get("examples", [])


def _shown_examples(published, content):
    """Yield the examples beside a body or an answer."""
    if "example" in content:
        yield content["example"]
    for example in content.get("examples", {}).values():
        name = example.get("$ref", "").rpartition("/")[2]
        yield published["components"]["examples"][name]["value"] if name else example["value"]


def test_each_body_and_each_answer_in_json_has_an_example(published):
    lacking = [
        where
        for where, _, content in _json_content(published)
        if not [*_shown_examples(published, content), *_model_examples(published, content["schema"])]
    ]

    assert lacking == []


def test_each_example_beside_a_body_or_an_answer_is_of_its_schema(published):
    schemas = {}
    for _, media_type, content in _json_content(published):
        if not media_type.endswith("ndjson"):
            schemas.setdefault(json.dumps(content), content)

    checked = 0
    for content in schemas.values():
        for example in _shown_examples(published, content):
            jsonschema.Draft202012Validator({**published, **content["schema"]}).validate(example)
            checked += 1

    assert checked > 10


def test_each_example_of_a_model_is_of_its_schema(published):
    examples_by_model = {
        name: schema["examples"] for name, schema in published["components"]["schemas"].items() if "examples" in schema
    }

    for name, shown in examples_by_model.items():
        validator = jsonschema.Draft202012Validator({**published, "$ref": f"#/components/schemas/{name}"})
        for example in shown:
            validator.validate(example)

    assert examples_by_model.keys() >= {
        "BatchDocument",
        "BatchManifest",
        "Health",
        "JobDocument",
        "JobPage",
        "Manifest",
        "NewWebhookDocument",
        "PlanDocument",
        "PrintDocument",
        "PrintsDocument",
        "Problem",
        "ProblemKind",
        "Readiness",
        "RunsDocument",
        "ScheduleLinkDocument",
        "WebhookDocument",
        "WebhookList",
    }


def _problem_examples(node):
    """Yield every problem document and kind of problem in a document."""
    if isinstance(node, dict):
        if "/problems/" in str(node.get("type")):
            yield node
        for value in node.values():
            yield from _problem_examples(value)
    elif isinstance(node, list):
        for item in node:
            yield from _problem_examples(item)


def test_each_example_of_a_problem_has_the_title_and_status_of_its_kind(published):
    problems = list(_problem_examples(published))

    assert len(problems) >= 3
    for problem in problems:
        kind = problem_kinds()[problem["type"].rpartition("/")[2]]
        assert (problem["title"], problem["status"]) == (kind().title, status_of(kind))


def test_the_service_really_answers_with_the_example_of_a_problem(service, published):
    (example,) = published["components"]["schemas"]["Problem"]["examples"]
    drawer = {"name": "keys and coins", "width": "wide", "depth": 146, "height": "x"}
    spec = {"spec": "1", "name": "hall table", "drawers": [drawer], "printer": {"bed": [160, 160, 160]}}

    answer = service.post("/v1/jobs", json=spec).json()

    assert {**answer, "type": urlsplit(answer["type"]).path} == {**example, "type": urlsplit(example["type"]).path}


def test_a_refused_spec_of_the_batch_example_has_the_problem_that_the_service_sends(service, published):
    (example,) = published["components"]["schemas"]["BatchDocument"]["examples"]
    (refused,) = [entry for entry in example["entries"] if entry["state"] == "refused"]
    small = examples.document("small")
    specs = [small, {name: value for name, value in small.items() if name != "drawers"}]

    answer = service.post("/v1/batches", json={"batch": "1", "name": "kitchen", "specs": specs}).json()
    entry = answer["entries"][1]

    for problem in (entry["problem"], refused["problem"]):
        problem["type"] = urlsplit(problem["type"]).path
    assert entry["problem"] == refused["problem"]


def test_every_operation_answer_parameter_header_and_tag_is_described(published):
    lacking = [tag["name"] for tag in published["tags"] if not tag["description"]]
    for path, operations in published["paths"].items():
        for method, operation in operations.items():
            where = f"{method} {path}"
            lacking += [where for name in ("summary", "description") if not operation.get(name)]
            lacking += [
                f"{where} {parameter['name']}"
                for parameter in operation.get("parameters", [])
                if not parameter.get("description")
            ]
            for status, answer in operation["responses"].items():
                lacking += [f"{where} {status}"] * (not answer.get("description"))
                lacking += [
                    f"{where} {status} {name}"
                    for name, header in answer.get("headers", {}).items()
                    if not header.get("description")
                ]
    used = {
        tag
        for operations in published["paths"].values()
        for operation in operations.values()
        for tag in operation["tags"]
    }

    assert lacking == []
    assert used == {tag["name"] for tag in published["tags"]}


def test_no_text_is_the_framework_s_placeholder(published):
    assert "Successful Response" not in json.dumps(published)
    assert '"title": "Response' not in json.dumps(published)


def test_links_lead_from_what_is_made_to_all_that_can_be_asked_of_it(published):
    operations = [operation for path in published["paths"].values() for operation in path.values()]
    linked = {
        link["operationId"]
        for operation in operations
        for answer in operation["responses"].values()
        for link in answer.get("links", {}).values()
    }
    with_an_id = {
        operation["operationId"]
        for path, methods in published["paths"].items()
        for method, operation in methods.items()
        if method != "head" and any(parameter in path for parameter in ("{job_id}", "{batch_id}", "{webhook_id}"))
    }
    assert with_an_id - linked == {"followJob", "followBatch"}
