import json
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner

from api.command import app
from api.routes.catalogue import CatalogueDocument
from worker.spec import CatalogueEntry, catalogue

_PUBLISHED = Path(__file__).parents[3] / "openapi" / "openapi.json"


@pytest.fixture(scope="module")
def published():
    return json.loads(_PUBLISHED.read_text("utf-8"))


def test_it_lists_every_thing_with_its_source(service):
    answer = service.get("/v1/catalogue")
    assert answer.status_code == 200
    document = CatalogueDocument.model_validate(answer.json())
    assert document.things == catalogue()
    assert all(thing["source"] and thing["status"] for thing in answer.json()["things"])


def test_answers_are_as_the_published_schema_says(service, published):
    for path, name in (("/v1/catalogue", "CatalogueDocument"), ("/v1/catalogue/battery-aa", "CatalogueEntry")):
        schema = {**published, "$ref": f"#/components/schemas/{name}"}
        jsonschema.Draft202012Validator(schema).validate(service.get(path).json())


def test_one_category_can_be_asked_for(service):
    things = service.get("/v1/catalogue", params={"category": "battery"}).json()["things"]
    assert [thing["id"] for thing in things] == [thing.id for thing in catalogue() if thing.category == "battery"]


@pytest.mark.parametrize("query", [{"category": "furniture"}, {"category": "x" * 81}, {"colour": "red"}])
def test_a_category_that_is_not_there_is_a_problem(service, query):
    answer = service.get("/v1/catalogue", params=query)
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("/problems/parameter-refused")
    if query == {"category": "furniture"}:
        assert "battery" in answer.json()["limit"]


@pytest.mark.parametrize("entry", catalogue()[::7], ids=lambda entry: entry.id)
def test_each_thing_has_an_address(service, entry):
    answer = service.get(f"/v1/catalogue/{entry.id}")
    assert CatalogueEntry.model_validate(answer.json()) == entry


def test_a_thing_that_is_not_there_is_a_problem_with_what_comes_close(service):
    answer = service.get("/v1/catalogue/batery-aa")
    assert answer.status_code == 404
    problem = answer.json()
    assert problem["type"].endswith("/problems/thing-unknown")
    assert "battery-aa" in problem["remedy"]


@pytest.mark.parametrize("path", ["/v1/catalogue", "/v1/catalogue?category=card", "/v1/catalogue/card-id1"])
def test_who_has_it_need_not_fetch_it_again(service, path):
    first = service.get(path)
    tag = first.headers["etag"]
    assert first.headers["cache-control"] == "public, max-age=3600"
    for listed in (tag, f'"other", W/{tag}', "*"):
        again = service.get(path, headers={"If-None-Match": listed})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert service.get(path, headers={"If-None-Match": '"other"'}).content == first.content
    head = service.head(path)
    assert (head.status_code, head.content) == (200, b"")
    assert (head.headers["etag"], int(head.headers["content-length"])) == (tag, len(first.content))


def test_different_answers_have_different_tags(service):
    paths = ("/v1/catalogue", "/v1/catalogue?category=card", "/v1/catalogue/card-id1")
    assert len({service.get(path).headers["etag"] for path in paths}) == len(paths)


def test_it_is_only_read(service):
    answer = service.post("/v1/catalogue", json={})
    assert (answer.status_code, answer.headers["allow"]) == (405, "GET, HEAD")


@pytest.fixture
def run(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    return lambda *arguments: CliRunner().invoke(app, ["catalogue", *arguments])


def test_the_command_prints_a_table_that_fits_a_narrow_terminal(run):
    result = run()
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert all(thing.id in result.stdout for thing in catalogue())


def test_the_command_prints_the_services_answer_for_a_program(run, service):
    result = run("--json", "--category", "card")
    assert json.loads(result.stdout) == service.get("/v1/catalogue?category=card").json()


def test_the_command_names_the_categories_that_there_are(run):
    result = run("--category", "furniture")
    assert result.exit_code == 2
    assert "battery" in result.stdout + result.stderr
