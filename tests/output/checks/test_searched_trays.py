"""Jointed trays that the search proposes: whatever they hold, their pieces build and pass every check."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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
    plan = lay_out(spec)
    meshes = {}
    for part in plan.parts:
        solid = build(part.shape)
        stl = write_stl(solid, f"drawerwright {part.mark}")
        packed = write_3mf(solid, name=part.mark, part_number=part.mark)
        require(inspect(stl, packed, expected_of(part, solid, genus(part.shape)), spec.printer).checks, part.mark)
        meshes[part.mark] = read_stl(stl)
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []
