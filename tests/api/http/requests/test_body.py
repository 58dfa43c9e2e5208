import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

ROUTES = ["/v1/jobs", "/v1/plans"]
JSON = {"Content-Type": "application/json"}


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/xml", "application/json; charset=utf-16", "multipart/form-data", ""]
)
def test_only_json_is_taken(service, spec, route, kind):
    headers = {} if kind is None else {"Content-Type": kind}
    answer = service.post(route, content=json.dumps(spec).encode(), headers=headers)
    assert answer.status_code == 415
    assert answer.json()["type"].endswith("/problems/body-type-refused")


@pytest.mark.parametrize("kind", ["application/json", "Application/JSON", 'application/json; charset="UTF-8"'])
def test_json_may_be_written_in_several_ways(service, spec, kind):
    answer = service.post("/v1/plans", content=json.dumps(spec).encode(), headers={"Content-Type": kind})
    assert answer.status_code == 200


@pytest.mark.parametrize("coding", ["gzip", "br", "deflate, gzip"])
def test_a_compressed_body_is_refused(service, spec, coding):
    headers = {**JSON, "Content-Encoding": coding}
    answer = service.post("/v1/jobs", content=json.dumps(spec).encode(), headers=headers)
    assert answer.status_code == 415
    assert answer.json()["value"] == coding


@pytest.mark.parametrize("route", ROUTES)
def test_a_body_that_is_too_large_is_refused(service, job_service, route):
    before = len(job_service.jobs(limit=200))
    answer = service.post(route, content=b" " * 100_001, headers=JSON)
    assert answer.status_code == 413
    assert answer.json()["type"].endswith("/problems/body-too-large")
    assert answer.json()["limit"] == "at most 100000 bytes"
    assert len(job_service.jobs(limit=200)) == before


def test_a_body_of_no_told_length_is_read_no_further_than_it_may_be(service):
    sent = []

    async def pieces():
        for _ in range(1000):
            sent.append(1)
            yield b" " * 1000

    answer = service.post("/v1/jobs", content=pieces(), headers=JSON)
    assert answer.status_code == 413
    assert len(sent) <= 102


@pytest.mark.parametrize("route", ROUTES)
def test_each_problem_of_a_spec_has_its_pointer(service, spec, route):
    spec["drawers"][0]["width"] = 5
    spec["drawers"][0]["colour"] = "red"
    spec["printer"]["bed"] = [180, 180]
    answer = service.post(route, json=spec)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == "http://drawers.test/problems/invalid-spec"
    assert problem["instance"] == route
    assert {fault["pointer"] for fault in problem["errors"]} == {
        "/drawers/0/width",
        "/drawers/0/colour",
        "/printer/bed/2",
    }


@given(st.binary(max_size=200) | st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["spec", "drawers", "x", ""]), inner),
    max_leaves=12,
).map(lambda value: json.dumps(value).encode()))  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_no_body_is_our_fault(service, body):
    answer = service.post("/v1/plans", content=body, headers=JSON)
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("/problems/invalid-spec")
