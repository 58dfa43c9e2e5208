"""The checks of panels fail where panels do not go together, and pass where they do."""

from dataclasses import replace
from functools import cache

import manifold3d
import pytest

from tests.layout.panels.jobs import floor_plan, panel_plan
from worker.output.checks.assembly_checks import check_assembly
from worker.output.meshes.standing import stood
from worker.solids import build
from worker.solids.mesh import Mesh


@cache
def panel_job():
    """Return the plan of two panels that cross, one of them spliced, and the parts' meshes."""
    plan = panel_plan(
        {"along": "x", "at": 150, "height": 60}, {"along": "y", "at": 120, "height": 50}, bed=(350, 200, 200)
    )
    return plan, {part.mark: build(part.shape) for part in plan.parts}


@cache
def floor_job():
    """Return the plan of two panels that cross on a floor of tiles, and the parts' meshes."""
    plan = floor_plan({"along": "x", "at": 150, "height": 60}, {"along": "y", "at": 125, "height": 50},
                      bed=(350, 200, 200))  # fmt: skip
    return plan, {part.mark: build(part.shape) for part in plan.parts}


def failed(plan, meshes):
    return {check.name for check in check_assembly(plan, meshes) if not check.passed}


def test_panels_pass_every_check():
    plan, meshes = panel_job()
    names = {check.name for check in check_assembly(plan, meshes)}
    assert failed(plan, meshes) == set()
    assert {"lap", "lowered", "tab", "tab lock", "clip", "shoe press", "shoe", "upright", "buckling"} <= names


def test_panels_on_tiles_pass_every_check():
    plan, meshes = floor_job()
    names = {check.name for check in check_assembly(plan, meshes)}
    assert failed(plan, meshes) == set()
    assert {"foot", "foot lock", "carried", "lap", "shoe press", "upright"} <= names


def mark_of(plan, panel, group, number=0):
    """Return the mark of a strip, shoe or clip of a panel."""
    (drawer,) = plan.drawers
    return drawer.placements[getattr(drawer.panels[panel], group)[number]].mark


def grown(meshes, mark, low, high):
    """Return the meshes with a block on a part, in its own frame."""
    size = tuple(b - a for a, b in zip(low, high, strict=True))
    block = manifold3d.Manifold.cube(size).translate(low)
    return {**meshes, mark: Mesh.of(meshes[mark].manifold() + block)}


def shifted(plan, panel, group, by, number=0):
    """Return the plan with a strip, shoe or clip moved."""
    (drawer,) = plan.drawers
    index = getattr(drawer.panels[panel], group)[number]
    places = list(drawer.placements)
    places[index] = replace(places[index], at=tuple(a + b for a, b in zip(places[index].at, by, strict=True)))
    return replace(plan, drawers=(replace(drawer, placements=tuple(places)),))


def with_panel(plan, panel, **changes):
    (drawer,) = plan.drawers
    panels = list(drawer.panels)
    panels[panel] = replace(panels[panel], **changes)
    return replace(plan, drawers=(replace(drawer, panels=tuple(panels)),))


def tight_lap(plan, meshes):
    """A panel that stands 0.06 mm beside its slots."""
    return shifted(plan, 1, "pieces", (0.06, 0.0, 0.0)), meshes


def barred_lap(plan, meshes):
    """A nose on the strip from front to back, above the slot of the other: it does not get past the other's edge."""
    drawer = plan.drawers[0]
    along = drawer.panels[1].crossings[0] - drawer.panels[1].start
    return plan, grown(meshes, mark_of(plan, 1, "pieces"), (along - 4.0, 10.0, 1.0), (along + 4.0, 20.0, 2.0))


def loose_tabs(plan, meshes):
    """A first strip that has lost its tabs."""
    mark = mark_of(plan, 0, "pieces")
    length = plan.part(mark).size[0]
    block = manifold3d.Manifold.cube((4.0, 70.0, 9.0)).translate((length - 4.0, -1.0, -1.0))
    return plan, {**meshes, mark: Mesh.of(meshes[mark].manifold() - block)}


CHANGES = {
    "lap": tight_lap,
    "lowered": barred_lap,
    "tab": lambda plan, meshes: (shifted(plan, 0, "pieces", (-0.06, 0.0, 0.0), 1), meshes),
    "tab lock": loose_tabs,
    "clip": lambda plan, meshes: (shifted(plan, 0, "clips", (0.0, 0.05, 0.0)), meshes),
    "shoe press": lambda plan, meshes: (shifted(plan, 0, "shoes", (0.5, 0.0, 0.0)), meshes),
    "shoe": lambda plan, meshes: (shifted(plan, 0, "shoes", (0.0, 0.05, 0.0)), meshes),
    "upright": lambda plan, meshes: (with_panel(plan, 0, height=61.0), meshes),
    "buckling": lambda plan, meshes: (with_panel(plan, 0, buckling=1.0), meshes),
}


def thin_foot(plan, meshes):
    """A foot that has lost 1 mm of its base at both sides of its panel."""
    mark = mark_of(plan, 0, "feet")
    wide, deep, _ = plan.part(mark).size
    sides = [manifold3d.Manifold.cube((1.0, deep + 2.0, 9.0)).translate((x, -1.0, -1.0)) for x in (0.0, wide - 1.0)]
    return plan, {**meshes, mark: Mesh.of(meshes[mark].manifold() - sides[0] - sides[1])}


def without_floor(plan, meshes):
    """Panels whose shoe at the left stands over nothing: that side of the tiles has lost its upper half."""
    block = manifold3d.Manifold.cube((26.0, 999.0, 9.0)).translate((-1.0, -1.0, 1.5))
    tiles = {part.mark for part in plan.parts if part.kind == "tile"}
    return plan, {
        mark: Mesh.of(mesh.manifold() - block) if mark in tiles else mesh for mark, mesh in meshes.items()
    }  # fmt: skip


#: Changes of panels on a floor of tiles, by the check that fails.
FLOOR_CHANGES = {
    "foot": lambda plan, meshes: (shifted(plan, 0, "feet", (0.0, 0.1, 0.0)), meshes),
    "foot lock": thin_foot,
    "carried": without_floor,
}


def failures_of(name):
    """Return the failed checks of two panels that are changed so that the check of this name fails."""
    if name in FLOOR_CHANGES:
        return failed(*FLOOR_CHANGES[name](*floor_job()))
    return failed(*CHANGES[name](*panel_job()))


def test_a_strip_presses_its_shoe_as_planned():
    checks = {check.name: check for check in check_assembly(*panel_job())}
    assert checks["shoe press"].value == pytest.approx(0.0, abs=0.002)


@pytest.mark.parametrize(("times", "expected"), [(0.99, {"buckling"}), (1.0, set()), (1.01, set()), (1.9, set())])
def test_a_panel_carries_the_press_of_its_shoes(times, expected):
    plan, meshes = panel_job()
    press = plan.drawers[0].panels[0].press
    assert failed(with_panel(plan, 0, buckling=times * press), meshes) == expected


@pytest.mark.parametrize("clearance", [0.15, 1.0])
def test_panels_of_the_least_and_the_most_clearance_pass_every_check(clearance):
    """With the most, the sides of a half lap have more air than the bottoms of its slots."""
    plan = panel_plan(
        {"along": "x", "at": 150, "height": 60}, {"along": "y", "at": 120, "height": 50},
        bed=(350, 200, 200), grid={"clearance": clearance},
    )  # fmt: skip
    assert failed(plan, {part.mark: build(part.shape) for part in plan.parts}) == set()


@cache
def spliced_job(along):
    """Return the plan of one panel of two strips, and the parts' meshes."""
    plan = panel_plan({"along": along, "at": 150, "height": 60}, width=420, depth=420, bed=(350, 200, 200))
    return plan, {part.mark: build(part.shape) for part in plan.parts}


def tongued(plan, meshes):
    """Return the meshes with a straight tongue in a slot, in place of the tabs of a splice; it has no heads."""
    first, second = mark_of(plan, 0, "pieces"), mark_of(plan, 0, "pieces", 1)
    length, height, thick = plan.part(first).size
    air = plan.drawers[0].panels[0].air
    end = manifold3d.Manifold.cube((12.0, height + 2.0, thick + 2.0)).translate((length - 4.0, -1.0, -1.0))
    tongue = manifold3d.Manifold.cube((8.0, 12.0, thick / 3.0)).translate((length - 8.0, 24.0, thick / 3.0))
    slot = manifold3d.Manifold.cube((9.0, 12.0 + 2.0 * air, thick / 3.0 + 2.0 * air))
    start = manifold3d.Manifold.cube((8.0, height, thick))  # where the recesses of the tabs were
    blank = meshes[second].manifold() + start
    return {
        **meshes,
        first: Mesh.of(meshes[first].manifold() - end + tongue),
        second: Mesh.of(blank - slot.translate((-1.0, 24.0 - air, thick / 3.0 - air))),
    }


@pytest.mark.parametrize("along", ["x", "y"])
def test_a_tongue_without_a_head_holds_no_strip(along):
    """It stops the strip from moving up, down and to its sides, not along."""
    plan, meshes = spliced_job(along)
    assert failed(plan, meshes) == set()
    assert "tab lock" in failed(plan, tongued(plan, meshes))


@pytest.mark.parametrize("number", [0, 1])
@pytest.mark.parametrize(("z", "expected"), [("first", set()), ("last", set()), ("middle", {"shoe press"})])
def test_a_press_is_measured_between_a_shoes_first_and_last_layers(number, z, expected):
    plan, meshes = panel_job()
    mark = mark_of(plan, 0, "shoes", number)
    low, high = meshes[mark].bounds
    start = {"first": 0.0, "last": high[2] - 0.4, "middle": high[2] / 2.0}[z]
    shoe = grown(meshes, mark, (*low[:2], start), (*high[:2], start + 0.4))
    assert failed(plan, shoe) & {"shoe press"} == expected


@pytest.mark.parametrize(("number", "sense"), [(0, 1.0), (1, -1.0)])
def test_a_shoe_that_is_a_little_too_near_has_no_air(number, sense):
    """By 0.03 mm the press is still as planned."""
    plan, meshes = panel_job()
    assert failed(shifted(plan, 0, "shoes", (0.03 * sense, 0.0, 0.0), number), meshes) == {"shoe"}


@pytest.mark.parametrize("name", [*CHANGES, *FLOOR_CHANGES])
def test_a_check_of_panels_fails(name):
    assert name in failures_of(name)


def test_a_strip_stands_on_its_front_edge_with_its_face_to_the_front():
    box = Mesh.of(manifold3d.Manifold.cube((100.0, 60.0, 2.4)))
    standing = stood(box)
    assert standing.bounds[1].tolist() == pytest.approx([100.0, 2.4, 60.0])
    assert standing.volume == pytest.approx(box.volume)
    # the corner at the back of the top face is at the front of the upper edge
    corner = box.vertices.tolist().index([100.0, 60.0, 2.4])
    assert standing.vertices[corner].tolist() == pytest.approx([100.0, 0.0, 60.0])


@pytest.mark.parametrize("along", ["x", "y"])
def test_tabs_hold_a_strip_before_it_has_moved_further_than_their_air(along):
    """Flanks at 45 degrees meet after the air times the square root of 2; one pushed 0.08 mm further in is later."""
    plan, meshes = spliced_job(along)
    assert "tab lock" not in failed(plan, meshes)
    push = (-0.08, 0.0, 0.0) if along == "x" else (0.0, -0.08, 0.0)
    assert "tab lock" in failed(shifted(plan, 0, "pieces", push, 1), meshes)
