"""A plan and the job of the same request: the same parts at the same places."""

import json
from datetime import UTC, datetime

import pytest

from api.planning.planner import make_plan
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.spec import load

_THINGS = {
    "glue": ([30, 30, 95], 2),
    "pencil": ([180, 8, 8], 12),
    "eraser": ([45, 20, 12], 3),
    "tape": ([60, 60, 20], 2),
    "stapler": ([130, 35, 50], 1),
}


def _spec(counts=(), trays=(), previous=None, effort="quick"):
    """Return the spec of a small drawer; ``counts`` are those of things that there are more or less of."""
    items = [
        {"name": name, "shape": {"kind": "box", "size": size}, "count": dict(counts).get(name, count)}
        for name, (size, count) in _THINGS.items()
    ]
    return load(
        {
            "spec": "1",
            "name": "desk",
            "drawers": [{"name": "desk", "width": 300, "depth": 260, "height": 70, "trays": list(trays)}],
            "items": items,
            "layout": {"effort": effort},
            "printer": {"bed": [220, 220, 220]},
            "coupon": False,
            **({"previous": previous} if previous else {}),
        }
    )


def _made(document):
    """Return what is made and where it lies: parts, placements and contents."""
    parts = [[part[key] for key in ("mark", "kind", "quantity", "shape", "tray")] for part in document["parts"]]
    places = [(drawer["placements"], drawer["contents"], drawer["jointed"]) for drawer in document["drawers"]]
    return sorted(parts, key=lambda part: part[0]), places


def _plan(spec):
    return json.loads(make_plan(spec).model_dump_json(by_alias=True))


_FIXED = {"name": "own", "cells": [2, 3], "height": 40, "at": [0, 0], "hold": [{"item": "eraser"}, {"item": "tape"}]}


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({}, id="made from nothing"),
        pytest.param({"counts": (("glue", 5), ("tape", 1))}, id="continues another plan"),
        pytest.param({"trays": [_FIXED]}, id="a tray that holds things"),
        pytest.param({"effort": "normal"}, id="searched for longer"),
    ],
)
def test_a_job_of_the_request_makes_the_plan(changes):
    if "counts" in changes:
        changes = {**changes, "previous": _plan(_spec())}
    spec = _spec(**changes)
    plan = _plan(spec)
    made = json.loads(
        run_pipeline(spec, part_store=InMemoryPartCache(), now=datetime(2026, 11, 2, 8, tzinfo=UTC)).manifest
    )
    assert _made(made) == _made(plan)
    assert plan["unplaced"] == made["unplaced"]
