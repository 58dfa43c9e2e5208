"""Jointed trays for items: only what the bed kept out gets one, on free floor, with all of it clear of the walls."""

import manifold3d
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from worker.layout.planner import lay_out
from worker.solids import build
from worker.spec import load

WHISK = {"name": "whisk", "shape": {"kind": "box", "size": [240, 30, 25]}, "count": 2}


def plan_of(*items, width=430, depth=300, **fields):
    drawer = {"name": "top", "width": width, "depth": depth, "height": 80, "items": list(items)}
    return lay_out(
        load(
            {
                "spec": "1", "name": "k", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}, "coupon": False,
                **fields,
            }
        )
    )  # fmt: skip


def assert_clear(plan):
    """Nothing that is stored touches a piece of a jointed tray."""
    (drawer,) = plan.drawers
    pieces = [index for tray in drawer.jointed for index in tray.pieces]
    solids = {index: build(plan.part(drawer.placements[index].mark).shape).manifold() for index in pieces}
    placed = [solid.translate(drawer.placements[index].at) for index, solid in solids.items()]
    for content in drawer.contents:
        if content.placement in solids:
            box = manifold3d.Manifold.cube(content.size).translate(content.at).translate((0.0, 0.0, 0.02))
            assert all((box ^ solid).volume() < 1e-3 for solid in placed)


def test_what_the_bed_kept_out_gets_a_tray_in_pieces():
    plan = plan_of(WHISK)
    assert not plan.unplaced
    (tray,) = plan.drawers[0].jointed
    assert len(tray.pieces) == 2
    (content,) = plan.drawers[0].contents
    assert (content.item, content.count, content.placement) == ("whisk", 2, tray.pieces[0])
    assert_clear(plan)


def test_without_joints_it_is_reported():
    (lack,) = plan_of(WHISK, joints=False).unplaced
    assert (lack.item, lack.cause) == ("whisk", "bed")


def test_what_the_bed_takes_gets_no_jointed_tray():
    plan = plan_of({"name": "clips", "shape": {"kind": "box", "size": [30, 20, 15]}, "count": 6})
    assert not plan.unplaced
    assert not plan.drawers[0].jointed


def test_without_free_floor_it_stays_out():
    (lack,) = plan_of(WHISK, width=250, depth=130).unplaced
    assert lack.item == "whisk"


def test_the_same_spec_gives_the_same_plan():
    assert plan_of(WHISK) == plan_of(WHISK)


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(178, 340), st.integers(8, 110), st.integers(5, 40), st.integers(1, 4), st.booleans())
def test_things_in_jointed_trays_touch_nothing(long, wide, high, count, half_cells):
    item = {"name": "thing", "shape": {"kind": "box", "size": [long, wide, high]}, "count": count}
    plan = plan_of(item, width=460, depth=420, grid={"half_cells": half_cells})
    stored = sum(content.count for content in plan.drawers[0].contents)
    assert stored + sum(lack.count for lack in plan.unplaced) == count
    assert_clear(plan)


@pytest.mark.parametrize("label", ["whisks", None])
def test_a_label_that_cannot_be_carried_keeps_nothing_out(label):
    plan = plan_of(WHISK | ({"label": label} if label else {}))
    assert not plan.unplaced
