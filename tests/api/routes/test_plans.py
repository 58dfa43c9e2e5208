from collections import Counter

import pytest

from api.openapi import examples
from worker.spec.manifest import PlanDocument


@pytest.mark.parametrize("name", examples.names())
def test_each_example_is_laid_out_at_once(service, name):
    document = examples.document(name)
    answer = service.post("/v1/plans", json=document)
    assert answer.status_code == 200
    plan = PlanDocument.model_validate(answer.json())
    assert plan.name == document["name"]
    counts = Counter()
    for drawer in document["drawers"]:
        for tray in drawer.get("trays", []):
            counts[tray["name"]] += tray.get("quantity", 1)
    placed = Counter(
        placement.name for drawer in plan.drawers for placement in drawer.placements if placement.name is not None
    )
    assert counts.items() <= placed.items()
    things = {item["name"] for holder in (document, *document["drawers"]) for item in holder.get("items", [])}
    assert things == {content.item for drawer in plan.drawers for content in drawer.contents}
    assert plan.unplaced == ()
    assert answer.headers["cache-control"] == "no-store"


def test_a_plan_is_not_kept(service, job_service, spec):
    before = len(job_service.jobs(limit=200))
    assert service.post("/v1/plans", json=spec).status_code == 200
    assert len(job_service.jobs(limit=200)) == before


def test_a_tray_that_does_not_fit_is_a_problem_with_its_place(service, spec):
    spec["drawers"][0]["trays"] = [{"name": "saws", "cells": [9, 1], "height": 20}]
    answer = service.post("/v1/plans", json=spec)
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["type"].endswith("/problems/invalid-tray")
    assert problem["pointer"].startswith("/drawers/0/trays/0")
    assert "saws" in problem["detail"]


def test_a_plan_is_asked_for_by_post(service):
    answer = service.get("/v1/plans")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "POST"


def test_a_plan_over_a_printed_job_tells_what_changes(service, spec):
    spec["drawers"][0]["trays"] = [{"name": "bits", "cells": [1, 1], "height": 20}]
    before = service.post("/v1/plans", json=spec).json()
    figures = {"triangles": 12, "volume": 1, "area": 1, "digest": "ab" * 32, "checks": [], "files": []}
    del before["plan"]
    previous = {
        **before,
        "parts": [{**part, **figures} for part in before["parts"]],
        "generator": {"version": "0", "kernel": "none"},
        "spec_digest": "ab" * 32,
        "assembly": [],
    }
    spec["drawers"][0]["trays"].append({"name": "saws", "cells": [2, 1], "height": 20})
    answer = service.post("/v1/plans", json={**spec, "previous": previous})
    assert answer.status_code == 200
    changes = answer.json()["changes"]
    assert [(entry["name"], entry["count"]) for entry in changes["new"]] == [("saws", 1)]
    assert (changes["moved"], changes["retired"]) == ([], [])
    assert "bits" in [entry["name"] for entry in changes["kept"]]


def test_a_strict_plan_with_things_left_over_is_a_problem_for_each(service, spec):
    spec["drawers"][0]["items"] = [
        {"name": name, "shape": {"kind": "box", "size": [400, 30, 1]}} for name in ("ruler", "level")
    ]
    assert len(service.post("/v1/plans", json=spec).json()["unplaced"]) == 2
    answer = service.post("/v1/plans", json={**spec, "strict": True})
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["type"].endswith("/problems/no-layout")
    assert [error["pointer"] for error in problem["errors"]] == ["/drawers/0/items/0", "/drawers/0/items/1"]
