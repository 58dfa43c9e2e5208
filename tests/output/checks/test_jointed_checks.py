"""The checks of jointed trays fail where pieces do not join, and pass where they do."""

from dataclasses import replace
from functools import cache

import manifold3d
import pytest

from worker.layout.planner import lay_out
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.jointed_checks import check_jointed
from worker.solids import build
from worker.solids.mesh import Mesh
from worker.spec import load


@cache
def jointed_job():
    """Return the plan of a tray in two pieces, and the parts' meshes."""
    trays = [{"name": "spoons", "cells": [5, 2], "height": 30, "at": [0, 0]}]
    drawer = {"name": "top", "width": 230, "depth": 100, "height": 60, "trays": trays}
    plan = lay_out(load({"spec": "1", "name": "k", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}}))
    return plan, {part.mark: build(part.shape) for part in plan.parts}


@pytest.fixture
def job():
    return jointed_job()


def results(plan, meshes):
    parts = {part.mark: part for part in plan.parts}
    return {check.name: check.passed for check in check_jointed(plan.drawers[0], parts, meshes)}


def pieces(plan):
    (drawer,) = plan.drawers
    (tray,) = drawer.jointed
    return [drawer.placements[index].mark for index in tray.pieces]


def test_a_jointed_tray_passes(job):
    assert results(*job) == {"lowered": True, "floor lock": True, "wall lock": True}
    assert all(check.passed for check in check_assembly(*job))


@pytest.mark.parametrize(
    "features",
    [
        {"cells": [5, 5], "grip": True, "finger_ramp": True, "label_ledge": True},
        {"cells": [6, 5], "grip": True, "compartments": [2, 2], "magnets": {"diameter": 6, "depth": 2}},
        {"cells": [5, 2], "compartments": [1, 2], "finger_ramp": {"rows": "all"}, "magnets": {"diameter": 4, "depth": 2,
         "per_cell": True}},
    ],
)  # fmt: skip
def test_a_jointed_tray_with_grips_ramps_and_magnets_passes_what_a_whole_one_does(features):
    tray = {"name": "spoons", "height": 40, "at": [0, 0], **features}
    across, deep = (42 * cells + 20 for cells in features["cells"])
    drawer = {"name": "top", "width": across, "depth": deep, "height": 60, "trays": [tray]}
    plan = lay_out(load({"spec": "1", "name": "k", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}}))
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    names = [check.name for check in check_assembly(plan, meshes)]
    assert {"lowered", "floor lock", "wall lock"} <= set(names)
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []
    # the joined pieces are the whole tray less the air of the seams: as much plastic at every height of the lips
    pieces = [part for part in plan.parts if part.kind == "tray"]
    shape = pieces[0].shape.tray
    whole, z = build(shape).manifold(), shape.height - 5.2
    joined = sum(meshes[part.mark].manifold().slice(z).area() for part in pieces)
    seams = {line for part in pieces for line in (part.shape.right, part.shape.back) if line is not None}
    # each seam cuts two walls and its tongues; 40 mm2 is their air at most: 2 x 0.2 mm x 100 mm of outline
    assert 0.0 < whole.slice(z).area() - joined < 40.0 * len(seams)


def changed(meshes, mark, cutter, *, add=False):
    solid = meshes[mark].manifold()
    return {**meshes, mark: Mesh.of(solid + cutter if add else solid - cutter)}


def barred(plan, meshes):
    """Return the meshes with a bar on the first piece, over the second one's way down."""
    first, _ = pieces(plan)
    width, depth, height = next(part.size for part in plan.parts if part.mark == first)
    bar = manifold3d.Manifold.cube((20.0, 4.0, 2.0)).translate((width - 10.0, depth / 2.0, height - 5.0))
    return changed(meshes, first, bar, add=True)


def roofed(plan, meshes):
    """Return the meshes with a bar on the first piece that hangs high over the second one."""
    first, _ = pieces(plan)
    width, depth, height = next(part.size for part in plan.parts if part.mark == first)
    bar = manifold3d.Manifold.cube((20.0, 4.0, 2.0)).translate((width - 10.0, depth / 2.0, height + 30.0))
    return changed(meshes, first, bar, add=True)


def unlocked(plan, meshes, low, high):
    """Return the meshes with the second piece cut back at its seam between two heights, mm."""
    _, second = pieces(plan)
    return changed(meshes, second, manifold3d.Manifold.cube((2.9, 200.0, high - low)).translate((0.0, -50.0, low)))


def moved(plan):
    """Return the plan with the second piece 0.15 mm nearer to the first."""
    (drawer,) = plan.drawers
    index = drawer.jointed[0].pieces[1]
    placements = list(drawer.placements)
    x, y, z = placements[index].at
    placements[index] = replace(placements[index], at=(x - 0.15, y, z))
    return replace(plan, drawers=(replace(drawer, placements=tuple(placements)),))


def test_a_bar_over_the_way_down_is_seen(job):
    plan, meshes = job
    assert not results(plan, barred(plan, meshes))["lowered"]
    assert not results(plan, roofed(plan, meshes))["lowered"]


@pytest.mark.parametrize(("name", "low", "high"), [("floor lock", -1.0, 5.6), ("wall lock", 5.6, 40.0)])
def test_each_lock_is_tested_alone(job, name, low, high):
    plan, meshes = job
    # the second piece without its tabs, or without its tongues
    assert results(plan, unlocked(plan, meshes, low, high)) == {
        "lowered": True, "floor lock": name != "floor lock", "wall lock": name != "wall lock",
    }  # fmt: skip


def test_pieces_that_touch_fail_the_gap(job):
    plan, meshes = job
    checks = {check.name: check for check in check_assembly(moved(plan), meshes)}
    assert not checks["splice"].passed


def shifted(plan, by, numbers):
    """Return the plan with some placements moved by so many mm."""
    (drawer,) = plan.drawers
    places = [
        replace(place, at=tuple(a + b for a, b in zip(place.at, by, strict=True))) if index in numbers else place
        for index, place in enumerate(drawer.placements)
    ]
    return replace(plan, drawers=(replace(drawer, placements=tuple(places)),))


def test_a_jointed_tray_is_checked_at_whatever_height_it_stands(job):
    plan, meshes = job
    whole = plan.drawers[0].jointed[0].pieces
    assert results(shifted(plan, (0.0, 0.0, 31.0), whole), meshes) == results(plan, meshes)
    assert not results(shifted(plan, (0.0, 0.0, 31.0), whole), barred(plan, meshes))["lowered"]


def test_pieces_that_do_not_meet_hold_nothing(job):
    plan, meshes = job
    (drawer,) = shifted(plan, (50.0, 0.0, 0.0), plan.drawers[0].jointed[0].pieces[1:]).drawers
    checks = {check.name: check for check in check_jointed(drawer, {part.mark: part for part in plan.parts}, meshes)}
    assert {name: check.value for name, check in checks.items()} == {"lowered": 0.0, "floor lock": 1, "wall lock": 1}


@pytest.mark.parametrize(
    ("low", "nose", "expected"), [(1.0, (21.0, 4.0), False), (28.0, (21.0, 4.0), True), (28.0, (0.3, 0.7), True)]
)
def test_a_bar_counts_where_it_is_above_a_part_of_the_piece_at_any_height(job, low, nose, expected):
    """A nose on the second piece, above or below a bar of the first one, beside the tray."""
    plan, meshes = job
    first, second = pieces(plan)
    width = next(part.size[0] for part in plan.parts if part.mark == first)
    bar = manifold3d.Manifold.cube((40.0, 4.0, 2.0)).translate((width - 20.0, -6.0, low))
    stem = manifold3d.Manifold.cube((4.0, 8.0, low + 2.0)).translate((width - 20.0, -6.0, 0.0))
    ledge = manifold3d.Manifold.cube((12.0, 8.0, nose[1])).translate((6.0, -6.0, nose[0]))
    made = changed(changed(meshes, first, bar + stem, add=True), second, ledge, add=True)
    # both parts begin 6 mm further in front now
    index = plan.drawers[0].jointed[0].pieces
    assert results(shifted(plan, (0.0, -6.0, 0.0), index), made)["lowered"] != expected
