"""Estimates of parts are made once for each mesh and process."""

import pytest

from worker.layout.planner import lay_out
from worker.printing.estimating import part_estimates
from worker.printing.estimating.estimate import estimate
from worker.solids import build
from worker.solids.recent_values import RecentValues
from worker.spec import load

_SPEC = {
    "spec": "1",
    "name": "remembered",
    "coupon": False,
    "printer": {"bed": [180, 180, 180]},
    "drawers": [
        {
            "name": "one",
            "width": 90,
            "depth": 90,
            "height": 61.5,
            "trays": [{"name": "one", "cells": [1, 1], "height": 31.5}],
        }
    ],
}


@pytest.fixture
def made(monkeypatch):
    """Return the estimates that are made, in a process that remembers none."""
    calls = []

    def counted(mesh, process):
        calls.append((mesh, process))
        return estimate(mesh, process)

    monkeypatch.setattr(part_estimates, "estimate", counted)
    monkeypatch.setattr(part_estimates, "_ESTIMATES", RecentValues(1024))
    return calls


def _priced(**printing):
    spec = load(_SPEC | {"printing": printing})
    plan = lay_out(spec)
    return part_estimates.price_parts(spec, plan, {part.mark: build(part.shape) for part in plan.parts})


def test_a_known_part_is_not_estimated_again(made):
    first = _priced()
    count = len(made)
    assert 0 < count <= len(first)
    assert _priced() == first
    assert len(made) == count


def test_another_process_is_another_estimate(made):
    first = _priced()
    count = len(made)
    slower = _priced(process={"outer_speed": 40})
    assert len(made) == 2 * count
    assert all(slower[mark].seconds > entry.seconds for mark, entry in first.items())
