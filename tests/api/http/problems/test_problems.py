import re
from urllib.parse import quote

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from starlette.requests import Request

from api.app import create_app
from api.http.problems.problem_documents import Fault, Problem
from api.http.problems.status_codes import problem_kinds
from api.http.requests.base_url import path_of
from worker.silhouettes.errors import SilhouetteError
from worker.spec.errors import DrawerwrightError


def _is_problem(answer):
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["x-content-type-options"] == "nosniff"
    problem = answer.json()
    Problem.model_validate(problem)
    assert problem["status"] == answer.status_code
    assert problem["type"].startswith("http://drawers.test/problems/")
    return problem


@pytest.mark.parametrize(
    "path", ["/kiosk/nope", "/nope", "/v1", "/v1/jobs/", "/v1/jobs/a/b", "/docs", "/problems/nope", "/a//b"]
)
def test_an_unknown_address_is_a_problem(service, path):
    problem = _is_problem(service.get(path))
    assert problem["status"] == 404
    assert problem["type"].endswith("/problems/address-unknown")
    assert problem["instance"] == path


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("PUT", "/v1/jobs", "GET, HEAD, POST"),
        ("POST", "/v1/jobs/x", "DELETE, GET, HEAD, PATCH"),
        ("DELETE", "/v1/jobs/x/manifest", "GET, HEAD"),
        ("PATCH", "/livez", "GET, HEAD"),
        ("OPTIONS", "/v1/plans", "POST"),
        ("BREW", "/openapi.json", "GET, HEAD"),
    ],
)
def test_a_method_that_is_not_taken_is_told_which_are(service, method, path, allowed):
    answer = service.request(method, path)
    assert answer.status_code == 405
    assert answer.headers["allow"] == allowed
    assert _is_problem(answer)["value"] == method


def test_what_nobody_expected_is_a_problem_without_a_trace(job_service, started):
    app = create_app(job_service)

    @app.get("/broken")
    def broken():
        raise RuntimeError("the inside")

    with started(app) as client:
        answer = client.get("/broken")
    assert answer.status_code == 500
    problem = _is_problem(answer)
    assert problem["type"].endswith("/problems/internal-error")
    assert "inside" not in answer.text
    assert "Traceback" not in answer.text


def test_each_kind_has_a_page_where_its_type_leads(service):
    listed = service.get("/problems").json()
    assert [entry["type"].rpartition("/")[2] for entry in listed] == list(problem_kinds())
    for entry in listed:
        assert service.get(entry["type"]).json() == entry
    by_slug = {entry["type"].rpartition("/")[2]: entry for entry in listed}
    assert by_slug["invalid-spec"]["title"] == "The spec is invalid."
    assert by_slug["job-not-found"]["status"] == 404


def test_no_two_kinds_share_a_slug():
    def below(kind):
        for subclass in kind.__subclasses__():
            yield subclass
            yield from below(subclass)

    # a private one is of the kind of its base
    slugs = [error.slug for error in below(DrawerwrightError) if not error.__name__.startswith("_")]
    assert len(set(slugs)) == len(slugs)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", slug) for slug in slugs)


def test_the_models_know_every_field_of_an_error():
    error = DrawerwrightError(
        "x", pointer="/a", value=1, limit="b", remedy="c", part="T1", errors=[DrawerwrightError()]
    )
    document = error.problem(instance="/v1", status=500)
    of_silhouettes = set(SilhouetteError("x", reason="r").fields()) - set(DrawerwrightError("x").fields())
    assert of_silhouettes == {"reason"}
    assert set(document) | {"parameter"} | of_silhouettes == set(Problem.model_fields)
    assert set(error.fields()) | {"parameter"} | of_silhouettes == set(Fault.model_fields)
    assert Problem.model_validate(document).model_dump(mode="json") == document


@pytest.mark.parametrize(
    "host", ["", "[bad", "a b", "evil.test/x?", 'a"b', "[::1]:80", "drawers.test:8080", "a@b", "x" * 300]
)
def test_a_host_is_repeated_only_when_it_is_one(service, host):
    answer = service.get("/nope", headers={"Host": host})
    kind = answer.json()["type"]
    good = host in ("[::1]:80", "drawers.test:8080")
    assert answer.status_code == (404 if good or not host else 403)
    assert kind == f"http://{host}/problems/address-unknown" if good else host not in kind or not host


@given(st.text(st.characters(codec="utf-8"), max_size=30))
@example("a\x00b")
@example("\u2028")
@settings(max_examples=50, deadline=None)
def test_no_address_is_our_fault(service, path):
    answer = service.get("/" + quote(path))
    assert answer.status_code < 500
    assert answer.json()["instance"].isascii() if answer.status_code == 404 else True


def test_an_instance_is_never_another_host():
    assert path_of(Request({"type": "http", "path": "//evil.test/x"})) == "/.//evil.test/x"
