"""Stacked trays: whatever stands in each other builds, keeps the clearance and rests where the plan places it."""

import itertools
from math import sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.plan import Cell, DrawerPlan, Lattice, Plan
from worker.layout.model.shapes import Part, Placement
from worker.layout.planner import lay_out
from worker.layout.tray.tray_builder import tray_shape, tray_size
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.part_checks import expected_of, inspect, require
from worker.output.meshes.stl import read_stl, write_stl
from worker.output.meshes.threemf import write_3mf
from worker.solids.kernel import build, genus
from worker.spec import Spec, load
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.drawer.tray import Tray
from worker.spec.printer.printer import Printer

PITCH = 42.0
PRINTER = Printer(bed=(256, 256, 256))
FEATURES = (
    {},
    {"compartments": [3, 1]},
    {"compartments": [2, 2]},
    {"dividers": [{"axis": "x", "at": 30.0}, {"axis": "y", "at": 25.0, "height": 8.0}]},
    {"label_ledge": True},
    {"compartments": [2, 1], "label_ledge": True, "finger_ramp": True},
    {"label_ledge": True, "text": {"text": "M4", "face": "ledge", "style": "raised"}},
    {"text": {"text": "bits", "face": "floor", "style": "raised"}},
    {"pockets": [{"shape": "circle", "at": [30, 30], "diameter": 20, "depth": 6}]},
)
#: Own profiles: vertical all the way, a seat steeper than 45 degrees, two seats.
PROFILES = (
    ((2.4, 0.0), (2.4, 3.0)),
    ((3.0, 0.0), (3.0, 1.0), (2.4, 2.2), (2.4, 3.5)),
    ((3.6, 0.0), (3.6, 1.8), (3.0, 2.4), (3.0, 3.6), (2.4, 4.2), (2.4, 5.0)),
)


def tray_of(height, wall, feature):
    fields = {"name": "bits", "cells": [2, 2], "height": height, "wall": wall}
    return Tray.model_validate(fields | feature)


def stacked(joint, trays, line_width):
    """Return trays of one footprint that rest in each other, as a plan, and their meshes as read back."""
    parts, meshes, places, z = [], {}, [], 0.0
    for number, tray in enumerate(trays):
        shape = tray_shape(tray, joint=joint, pitch=PITCH, line_width=line_width, half_feet=False, pointer="")
        mark = f"T{number}"
        solid = build(shape)
        part = Part(mark, "tray", tray.name, shape, tray_size(shape), 1)
        stl = write_stl(solid, mark)
        printer = PRINTER.model_copy(update={"line_width": line_width, "nozzle": line_width / 1.1})
        require(inspect(stl, write_3mf(solid, name=mark, part_number=mark), expected_of(part, solid, genus(shape)),
                        printer).checks, mark)  # fmt: skip
        parts.append(part)
        meshes[mark] = read_stl(stl)
        places.append(Placement(mark, (joint.body_inset, joint.body_inset, round(z, 3)), cell=(0.0, 0.0)))
        z += tray.height - joint.nesting_depth
    size = (2 * PITCH, 2 * PITCH, places[-1].at[2] + trays[-1].height)
    outline = (((0.0, 0.0), (size[0], 0.0), (size[0], size[1]), (0.0, size[1])),)
    drawer = DrawerPlan(
        name="top", outline=outline, size=size, lattice=Lattice((0.0, 0.0), PITCH, (Cell(0, 0, 2, 2),)),
        whole=4, half=0, across=(2, 2), leftover=(0.0, 0.0), free=0, placements=tuple(places), seams=(), copies=1,
    )  # fmt: skip
    return Plan("bench", (drawer,), tuple(parts), (), ()), meshes


@st.composite
def stacks(draw):
    clearance = draw(st.sampled_from([0.05, 0.1, 0.25, 0.3, 0.5, 0.77, 1.0]) | st.floats(0.05, 1.0))
    line_width = draw(st.sampled_from([0.44, 0.66, 0.88]))
    profiles = [profile for profile in PROFILES if profile[-1][0] - clearance >= 2 * line_width]
    profile = draw(st.sampled_from([default_profile(clearance, line_width), *profiles]))
    wall = st.sampled_from([2 * line_width, 2.0, 3.2])
    trays = [
        tray_of(draw(st.integers(36, 50)), draw(wall), feature)
        for feature in draw(st.lists(st.sampled_from(FEATURES), min_size=2, max_size=3))
    ]
    return Joint(profile, clearance, line_width), trays, line_width


@settings(max_examples=40, deadline=None)
@given(stacks())
def test_any_stack_builds_and_passes_its_checks(stack):
    plan, meshes = stacked(*stack)
    checks = check_assembly(plan, meshes)
    assert "stack" in {check.name for check in checks}
    assert [check for check in checks if not check.passed] == []


@settings(max_examples=20, deadline=None)
@given(stacks())
def test_a_stack_rests_where_it_is_placed(stack):
    """Oracle: the solids nearly touch there, and share plastic a hundredth of a millimetre further down."""
    plan, meshes = stacked(*stack)
    (drawer,) = plan.drawers
    for lower, upper in itertools.pairwise(drawer.placements):
        below = meshes[lower.mark].manifold().translate(lower.at)
        above = meshes[upper.mark].manifold().translate(upper.at)
        assert (below ^ above).volume() == 0.0
        assert below.min_gap(above, 1.0) < 0.008
        assert (below ^ above.translate((0.0, 0.0, -0.02))).volume() > 0.0


@pytest.mark.parametrize(("lowered", "failed"), [(0.0, set()), (-5.0, set()), (0.02, {"stack", "apart"})])
def test_a_tray_that_would_sink_into_its_rim_is_found(lowered, failed):
    joint = Joint(default_profile(0.3, 0.44), 0.3, 0.44)
    plan, meshes = stacked(joint, [tray_of(30, 1.2, {}), tray_of(30, 1.2, {})], 0.44)
    (drawer,) = plan.drawers
    bottom, top = drawer.placements
    moved = Placement(top.mark, (*top.at[:2], top.at[2] - lowered), cell=top.cell)
    size = (*drawer.size[:2], 100.0)
    places = DrawerPlan(**{name: getattr(drawer, name) for name in drawer.__slots__}
                        | {"placements": (bottom, moved), "size": size})  # fmt: skip
    checks = check_assembly(Plan("bench", (places,), plan.parts, (), ()), meshes)
    assert {check.name for check in checks if not check.passed} == failed


@pytest.mark.parametrize("clearance", [0.05, 0.25, 0.3, 0.5, 1.0])
def test_stacked_items_rest_on_each_other(clearance):
    """A job whose drawer is too small for its trays side by side: what `lay_out` stacks rests as it places it."""
    items = [
        {"name": name, "shape": {"kind": "box", "size": [60, 40, high]}, "stack": True, "label": True}
        for name, high in (("hooks", 12), ("clips", 14), ("rings", 16))
    ]
    spec = Spec.model_validate(
        {
            "spec": "1", "name": "bench", "printer": {"bed": [256, 256, 256]}, "grid": {"clearance": clearance},
            "drawers": [{"name": "top", "width": 90, "depth": 90, "height": 150, "items": items}], "coupon": False,
        }
    )  # fmt: skip
    plan = lay_out(spec)
    (drawer,) = plan.drawers
    shapes = {part.mark: part for part in plan.parts}
    trays = sorted((place for place in drawer.placements if place.cell is not None), key=lambda place: place.at[2])
    assert not plan.unplaced
    assert len({tray.at[2] for tray in trays}) == 3
    for lower, upper in itertools.pairwise(trays):
        settled = upper.at[2] - lower.at[2] - shapes[lower.mark].size[2] + spec.joint().height
        assert settled == pytest.approx(-clearance * sqrt(2.0), abs=0.005)
    meshes = {part.mark: read_stl(write_stl(build(part.shape), part.mark)) for part in plan.parts}
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []


@pytest.mark.parametrize("bed", [120, 150])
def test_trays_in_pieces_stand_in_each_other(bed):
    """A piece reaches over the seam, so it overlaps pieces of the other tray on both sides of it a little."""
    trays = [
        {"name": "lower", "cells": [4, 5], "height": 60, "at": [0, 0], "rim": "stacking"},
        {"name": "upper", "cells": [4, 5], "height": 40, "on": "lower", "rim": "straight"},
    ]
    drawer = {"name": "top", "width": 190, "depth": 190, "height": 120, "trays": trays}
    grid = {"pitch": 35}
    printer = {"bed": [bed, bed, 150]}
    spec = {"spec": "1", "name": "k", "coupon": False, "drawers": [drawer], "grid": grid, "printer": printer}
    plan = lay_out(load(spec))
    assert len(plan.drawers[0].jointed) == 2
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    checks = check_assembly(plan, meshes)
    assert {"stack", "splice"} <= {check.name for check in checks}
    assert [check for check in checks if not check.passed] == []
