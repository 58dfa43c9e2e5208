"""Things without a place, in a job that is strict and in one that is not."""

import pytest

from tests.layout.relayout.printed_manifest import first
from worker.layout.model.plan import Unplaced
from worker.layout.model.unplaced import settle_unplaced
from worker.spec import load
from worker.spec.errors import LayoutError


def job(items, **fields):
    return {
        "spec": "1",
        "name": "workbench",
        "drawers": [{"name": "top", "width": 130, "depth": 130, "height": 50, "items": items}],
        "printer": {"bed": [256, 256, 256]},
        **fields,
    }


LONG = {"name": "ruler", "shape": {"kind": "box", "size": [310, 30, 1]}}
HIGH = {"name": "bottle", "shape": {"kind": "cylinder", "diameter": 70, "length": 200}, "storage": "upright"}
SMALL = {"name": "dice", "shape": {"kind": "box", "size": [16, 16, 16]}, "count": 4}


def test_a_job_that_is_not_strict_names_them_and_lays_out_the_rest():
    plan = first(job([LONG, SMALL, HIGH]))
    assert {entry.item: entry.pointer for entry in plan.unplaced} == {
        "ruler": "/drawers/0/items/0",
        "bottle": "/drawers/0/items/2",
    }
    assert [entry.cause for entry in plan.unplaced] == ["shape", "height"]
    assert all(entry.reason for entry in plan.unplaced)
    assert plan.unplaced[1].remedy
    assert [content.item for content in plan.drawers[0].contents] == ["dice"]


def test_a_strict_job_is_refused_with_an_error_for_each():
    with pytest.raises(LayoutError, match="2 items") as caught:
        first(job([LONG, SMALL, HIGH], strict=True))
    assert [error.pointer for error in caught.value.errors] == ["/drawers/0/items/0", "/drawers/0/items/2"]
    assert all(error.remedy and error.limit for error in caught.value.errors)
    problem = caught.value.problem()
    assert problem["type"] == "/problems/no-layout"
    assert len(problem["errors"]) == 2


def test_one_alone_is_the_problem_itself():
    with pytest.raises(LayoutError, match="'ruler' cannot be placed in drawer 'top'") as caught:
        first(job([LONG, SMALL], strict=True))
    assert caught.value.pointer == "/drawers/0/items/0"
    assert not caught.value.errors


def test_a_strict_job_with_a_place_for_all_is_laid_out():
    assert first(job([SMALL], strict=True)).unplaced == ()


def test_counts_and_the_whole_job_are_told_of():
    spec = load(job([SMALL], strict=True))
    lost = Unplaced("dice", "/items/0", 3, "It is full.")
    with pytest.raises(LayoutError, match=r"3 of item 'dice' cannot be placed in the drawers\. It is full") as caught:
        settle_unplaced(spec, [lost])
    assert caught.value.remedy == "Set strict to false to leave it out."
    assert settle_unplaced(load(job([SMALL])), [lost]) == (lost,)
