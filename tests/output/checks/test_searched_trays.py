"""Trays that the search proposes, jointed or with nests: whatever they hold, they build and pass every check."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.layout.tray.pockets.test_nesting import corners_of, outlines
from worker.layout.planner import lay_out
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.part_checks import expected_of, inspect, require
from worker.output.meshes.stl import read_stl, write_stl
from worker.output.meshes.threemf import write_3mf
from worker.solids.kernel import build, genus
from worker.spec import load

THINGS = st.tuples(
    st.sampled_from(["box", "cylinder"]),
    st.integers(185, 330), st.integers(8, 120), st.integers(4, 45), st.integers(1, 3), st.booleans(),
)  # fmt: skip


def item_of(number, thing):
    kind, long, wide, high, count, label = thing
    shape = {"kind": "box", "size": [long, wide, high]}
    if kind == "cylinder":
        shape = {"kind": "cylinder", "diameter": high, "length": long}
    return {"name": f"thing {number}", "shape": shape, "count": count, "label": label}


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(THINGS, min_size=1, max_size=4),
    st.booleans(),
    st.sampled_from([(180, 180, 180), (256, 150, 200)]),
    st.sampled_from([0.4, 0.6]),
)
def test_any_jointed_tray_that_the_search_proposes_builds_and_passes_its_checks(things, half_cells, bed, nozzle):
    items = [item_of(number, thing) for number, thing in enumerate(things)]
    drawer = {"name": "top", "width": 440, "depth": 430, "height": 70, "items": items}
    spec = load(
        {
            "spec": "1", "name": "k", "drawers": [drawer], "grid": {"half_cells": half_cells}, "coupon": False,
            "printer": {"bed": list(bed), "nozzle": nozzle},
        }
    )  # fmt: skip
    check_built(spec)


def check_built(spec):
    """Check every part of a job as its files are read back, and the assembly; return the plan."""
    plan = lay_out(spec)
    meshes = {}
    for part in plan.parts:
        solid = build(part.shape)
        stl = write_stl(solid, f"drawerwright {part.mark}")
        packed = write_3mf(solid, name=part.mark, part_number=part.mark)
        require(inspect(stl, packed, expected_of(part, solid, genus(part.shape)), spec.printer).checks, part.mark)
        meshes[part.mark] = read_stl(stl)
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []
    return plan


@settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(st.tuples(outlines(), st.sampled_from([2, 8]), st.integers(1, 2)), min_size=1, max_size=3),
    st.booleans(),
    st.sampled_from([0.4, 0.6]),
)
def test_any_nest_of_several_kinds_builds_and_passes_its_checks(kinds, engraved, nozzle):
    items = [
        {
            "name": f"kind {number}", "count": count, "storage": "pocket", "group": "g", "engraved": engraved,
            "shape": {"kind": "polygon", "points": corners_of(shape),
                "height": high},
        }
        for number, (shape, high, count) in enumerate(kinds)
    ] + [{"name": "coin", "storage": "pocket", "group": "g", "engraved": engraved,
          "shape": {"kind": "cylinder", "diameter": 23.25, "length": 2.3}}]  # fmt: skip
    drawer = {"name": "top", "width": 300, "depth": 300, "height": 60, "items": items}
    plan = check_built(
        load(
            {
                "spec": "1", "name": "k", "drawers": [drawer], "coupon": False,
                "printer": {"bed": [256, 256, 256], "nozzle": nozzle},
            }
        )
    )  # fmt: skip
    assert {each.item for each in plan.drawers[0].contents} | {each.item for each in plan.unplaced} == {
        item["name"] for item in items
    }
