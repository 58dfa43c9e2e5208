"""The checks of trays on others fail where one hangs, tips or is caught, and pass where it stands."""

from dataclasses import replace
from functools import cache

import manifold3d
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.panels.jobs import panel_plan
from worker.layout.model.shapes import Placement
from worker.layout.planner import lay_out
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.upper_tray_checks import check_upper_trays
from worker.output.meshes.stl import read_stl, write_stl
from worker.solids import build
from worker.solids.mesh import Mesh
from worker.spec import load


def laid(*trays, **fields):
    drawer = {"name": "top", "width": 180, "depth": 130, "height": 90, "trays": list(trays)}
    spec = {"spec": "1", "name": "k", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}, **fields}
    plan = lay_out(load(spec))
    return plan, {part.mark: build(part.shape) for part in plan.parts}


@cache
def layered_job():
    """Return the plan of a tray on two others, and the parts' meshes."""
    return laid(
        {"name": "left", "cells": [2, 2], "height": 30, "at": [0, 0]},
        {"name": "right", "cells": [1, 2], "height": 30, "at": [2, 0]},
        {"name": "upper", "cells": [3, 2], "height": 25, "on": ["left", "right"], "rim": "straight"},
    )


@cache
def panel_job():
    """Return the plan of a tray on two panels, and the parts' meshes."""
    panels = [{"name": name, "along": "y", "at": at, "height": 60} for name, at in (("left", 42.5), ("right", 168.5))]
    upper = {"name": "upper", "cells": [3, 2], "height": 25, "on": ["left", "right"], "rim": "straight"}
    plan = panel_plan(*panels, width=260, depth=180, height=120, trays=[upper])
    return plan, {part.mark: build(part.shape) for part in plan.parts}


def failed(plan, meshes):
    return {check.name for check in check_assembly(plan, meshes) if not check.passed}


def test_a_tray_on_others_passes():
    plan, meshes = layered_job()
    checks = {check.name: check for check in check_upper_trays(plan.drawers[0], meshes)}
    assert list(checks) == ["rests", "tips", "lifted out"]
    assert checks["lifted out"].value == 0.0
    assert failed(plan, meshes) == set()


def test_a_tray_on_panels_passes():
    plan, meshes = panel_job()
    checks = {check.name: check for check in check_assembly(plan, meshes)}
    assert {"rests", "tips", "lifted out"} <= set(checks)
    assert failed(plan, meshes) == set()


@pytest.mark.parametrize("order", [1, -1])
def test_whatever_stands_on_a_tray_is_lifted_out_with_it(order):
    """Four tiers: each tray that carries others carries all of them, in whatever order the plan has them."""
    tiers = [
        {"name": name, "cells": [3, 2], "height": 15, "on": below, "rim": "stacking"}
        for name, below in (("second", ["left", "right"]), ("third", "second"), ("fourth", "third"))
    ]
    plan, meshes = laid(
        {"name": "left", "cells": [2, 2], "height": 20, "at": [0, 0]},
        {"name": "right", "cells": [1, 2], "height": 20, "at": [2, 0]},
        *tiers,
    )
    (drawer,) = plan.drawers
    checks = list(check_upper_trays(replace(drawer, upper=drawer.upper[::order]), meshes))
    assert [check.name for check in checks] == ["rests", "tips", "lifted out"] * 3
    assert all(check.passed for check in checks)


def test_a_tray_above_its_panels_does_not_rest():
    plan, meshes = panel_job()
    (drawer,) = plan.drawers
    tray, *others = drawer.placements
    x, y, z = tray.at
    raised = replace(drawer, placements=(replace(tray, at=(x, y, z + 0.2)), *others))
    assert "rests" in failed(replace(plan, drawers=(raised,)), meshes)


def test_a_tray_beside_one_of_its_panels_does_not_rest():
    plan, meshes = panel_job()
    (drawer,) = plan.drawers
    shorter = [
        replace(place, at=(place.at[0] + 8.0, *place.at[1:])) if place.name == "right" else place
        for place in drawer.placements
    ]
    assert "rests" in failed(replace(plan, drawers=(replace(drawer, placements=tuple(shorter)),)), meshes)


def _raised(plan, meshes):
    """Return the plan with the upper tray 0.2 mm above its seat."""
    (drawer,) = plan.drawers
    *others, upper = drawer.placements
    x, y, z = upper.at
    return replace(plan, drawers=(replace(drawer, placements=(*others, replace(upper, at=(x, y, z + 0.2)))),)), meshes


def _one_sided(plan, meshes):
    """Return the plan as if only the narrow tray carried the upper one."""
    (drawer,) = plan.drawers
    (upper,) = drawer.upper
    return replace(plan, drawers=(replace(drawer, upper=(replace(upper, on=upper.on[1:]),)),)), meshes


def _caught(plan, meshes):
    """Return the meshes with a hook on a lower tray that reaches over the wall of the upper one."""
    mark = plan.drawers[0].placements[plan.drawers[0].upper[0].on[0]].mark
    stem = manifold3d.Manifold.cube((4.0, 0.5, 40.0)).translate((30.0, -0.5, 25.0))
    hook = manifold3d.Manifold.cube((4.0, 3.0, 2.0)).translate((30.0, -0.5, 63.0))
    return plan, {**meshes, mark: Mesh.of(meshes[mark].manifold() + stem + hook)}


CHANGES = {"rests": _raised, "tips": _one_sided, "lifted out": _caught}


def failures_of(name):
    """Return the failed checks of a tray on two others, changed so that the check of this name fails."""
    return failed(*CHANGES[name](*layered_job()))


@pytest.mark.parametrize("name", CHANGES)
def test_a_check_of_trays_on_others_fails(name):
    assert name in failures_of(name)


@settings(max_examples=30, deadline=None)
@given(st.floats(-12.0, 140.0), st.floats(-12.0, 100.0))
def test_a_bar_above_a_tray_keeps_it_from_being_lifted_out(x, y):
    """The tray's floor is below every place in its footprint, so the bar's own area counts there."""
    plan, meshes = layered_job()
    (drawer,) = plan.drawers
    upper = drawer.placements[drawer.upper[0].placement]
    low, high = meshes[upper.mark].bounds
    size = high - low
    bar = Placement("X1", (upper.at[0] + x, upper.at[1] + y, upper.at[2] + float(size[2]) + 1.0))
    barred = replace(drawer, placements=(*drawer.placements, bar))
    made = {**meshes, "X1": Mesh.of(manifold3d.Manifold.cube((9.0, 7.0, 4.0)))}
    lifted = next(check for check in check_upper_trays(barred, made) if check.name == "lifted out")
    sides = [min(at + wide, along) - max(at, 0.0) for at, wide, along in ((x, 9.0, size[0]), (y, 7.0, size[1]))]
    inside = min(x, y, size[0] - 9.0 - x, size[1] - 7.0 - y) > 6.0  # clear of the round corners
    if inside:
        assert lifted.value == pytest.approx(63.0, abs=0.01)
    elif min(sides) <= 0.0:
        assert lifted.passed
        assert lifted.value == 0.0


def test_a_bar_near_the_front_is_seen_above_a_tray_far_from_the_left():
    """Along each axis what counts is where the two lie along it, whatever lies along the other."""
    plan, meshes = laid(
        {"name": "left", "cells": [1, 2], "height": 30, "at": [2, 0]},
        {"name": "right", "cells": [1, 2], "height": 30, "at": [3, 0]},
        {"name": "upper", "cells": [2, 2], "height": 25, "on": ["left", "right"], "rim": "straight"},
    )
    (drawer,) = plan.drawers
    x, y, z = drawer.placements[drawer.upper[0].placement].at
    made = {**meshes, "X1": Mesh.of(manifold3d.Manifold.cube((9.0, 7.0, 4.0)))}
    bar = Placement("X1", (x + 12.0, y + 12.0, z + 26.0))
    checks = check_upper_trays(replace(drawer, placements=(*drawer.placements, bar)), made)
    lifted = next(check for check in checks if check.name == "lifted out")
    assert lifted.value == pytest.approx(63.0, abs=0.01)
    assert not lifted.passed


@pytest.mark.parametrize(("above", "expected"), [(True, False), (False, True)])
def test_a_nose_of_a_tray_below_a_bar_keeps_it_from_being_lifted_out(above, expected):
    """The nose is 1.5 mm high and stands off the wall by 6 mm, where nothing else of the tray is."""
    plan, meshes = layered_job()
    (drawer,) = plan.drawers
    index = drawer.upper[0].placement
    upper = drawer.placements[index]
    x, y, z = upper.at
    nose = manifold3d.Manifold.cube((10.0, 8.0, 1.5)).translate((30.0, -6.0, 19.0))
    made = {
        **meshes,
        upper.mark: Mesh.of(meshes[upper.mark].manifold() + nose),
        "X1": Mesh.of(manifold3d.Manifold.cube((20.0, 4.0, 2.0))),
    }
    bar = Placement("X1", (x + 25.0, y - 5.0, z + (22.0 if above else 16.0)))
    places = [*drawer.placements, bar]
    places[index] = replace(upper, at=(x, y - 6.0, z))
    checks = check_upper_trays(replace(drawer, placements=tuple(places)), made)
    lifted = next(check for check in checks if check.name == "lifted out")
    assert lifted.passed == expected
    assert lifted.value == pytest.approx(0.0 if expected else 40.0, abs=0.01)


@settings(max_examples=8, deadline=None)
@given(
    st.sampled_from([1.0, 1.5, 2.0]),
    st.sampled_from([25.0, 33.3]),
    st.sampled_from([0.15, 0.3, 0.5]),
    st.sampled_from(["stacking", "straight"]),
)
def test_whatever_stands_on_two_trays_keeps_the_clearance(split, height, clearance, rim):
    plan, meshes = laid(
        {"name": "left", "cells": [split, 2], "height": height, "at": [0, 0]},
        {"name": "right", "cells": [3 - split, 2], "height": height, "at": [split, 0]},
        {"name": "upper", "cells": [3, 2], "height": 20, "on": "left", "rim": rim, "compartments": [2, 1]},
        grid={"half_cells": True, "clearance": clearance},
    )
    (upper,) = plan.drawers[0].upper
    assert len(upper.on) == 2
    assert upper.balance is None
    assert failed(plan, meshes) == set()


def test_a_tray_that_lies_flat_on_panels_passes_as_read_back_from_its_file():
    """Coordinates of an STL file are single precision: the panel's top may be a little over the tray's bottom."""
    panels = [
        {"name": name, "along": "y", "at": across, "height": 60.2} for name, across in (("a", 63.0), ("b", 147.0))
    ]
    upper = {"name": "upper", "cells": [3, 2], "height": 25, "on": ["a", "b"], "at": [1, 0], "rim": "straight"}
    plan = panel_plan(*panels, width=260, depth=180, height=120, trays=[upper])
    meshes = {part.mark: read_stl(write_stl(build(part.shape), part.mark)) for part in plan.parts}
    assert failed(plan, meshes) == set()
