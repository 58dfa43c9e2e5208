"""Whole jobs through layout, solids and output: every real part and drawer passes its checks."""

from dataclasses import replace

import pytest

from worker.layout.planner import lay_out
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.part_checks import expected_of, inspect, require
from worker.output.meshes.stl import read_stl, write_stl
from worker.output.meshes.threemf import write_3mf
from worker.solids.kernel import build, genus
from worker.spec import Spec

DRAWER = {"name": "top", "width": 310, "depth": 425, "height": 70}
TRAYS = [
    {"name": "bits", "cells": [2, 1], "height": 50, "quantity": 3},
    {"name": "screws", "cells": [3, 2], "height": 40, "compartments": [3, 2], "finger_ramp": True, "label_ledge": True},
    {
        "name": "sockets",
        "cells": [2, 2],
        "height": 30,
        "pockets": [{"shape": "circle", "at": [30, 30], "diameter": 20, "depth": 6}],
        "magnets": {"diameter": 8, "depth": 3},
        "text": {"text": "M3", "face": "front", "style": "engraved"},
    },
]
PENS = {"name": "pens", "cells": [2.5, 0.5], "height": 40}
L_SHAPE = [[0, 0], [300, 0], [300, 150], [150, 150], [150, 320], [0, 320]]

JOBS = {
    "dovetail": {"drawers": [{**DRAWER, "trays": TRAYS}]},
    "key": {"drawers": [DRAWER], "grid": {"seam": "key"}},
    "out of square": {"drawers": [{**DRAWER, "width": [310, 313, 317], "corner_radius": 8}]},
    "L-shape with halves": {
        "drawers": [{"name": "L", "height": 60, "outline": L_SHAPE, "trays": [PENS]}],
        "grid": {"half_cells": True},
    },
    "jointed": {
        "drawers": [
            {
                **DRAWER,
                "trays": [
                    {"name": "spoons", "cells": [7, 2], "height": 40, "compartments": [2, 1]},
                    {"name": "whisks", "cells": [6, 6], "height": 30, "rim": "straight"},
                ],
            }
        ],
        "printer": {"bed": [180, 180, 180]},
    },
    "jointed, three in a row and two by three": {
        "drawers": [
            {
                **DRAWER,
                "trays": [
                    {"name": "spoons", "cells": [7, 2], "height": 40},
                    {"name": "trays", "cells": [5, 6], "height": 30, "rim": "straight", "label_ledge": True},
                ],
            }
        ],
        "printer": {"bed": [120, 120, 180]},
    },
    "obstacle": {"drawers": [{**DRAWER, "obstacles": [{"at": [140, 0], "size": [30, 12]}]}], "coupon": False},
}


@pytest.fixture(scope="module", params=JOBS, ids=str)
def job(request):
    """A spec, its plan, and each part's mesh as read back."""
    spec = Spec.model_validate(
        {"spec": "1", "name": "bench", "printer": {"bed": [256, 256, 256]}, **JOBS[request.param]}
    )
    plan = lay_out(spec)
    checks, meshes = {}, {}
    for part in plan.parts:
        solid = build(part.shape)
        stl = write_stl(solid, f"drawerwright {part.mark}")
        packed = write_3mf(solid, name=part.mark, part_number=part.mark)
        checks[part.mark] = inspect(stl, packed, expected_of(part, solid, genus(part.shape)), spec.printer).checks
        meshes[part.mark] = read_stl(stl)
    return plan, checks, meshes


def test_every_part_passes_its_checks(job):
    _, checks, _ = job
    for mark, of_part in checks.items():
        require(of_part, mark)


def test_every_drawer_passes_its_checks(job):
    plan, _, meshes = job
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []


def test_a_part_out_of_place_is_found(job):
    plan, _, meshes = job
    drawer = plan.drawers[0]
    first, *others = drawer.placements
    moved = replace(first, at=(first.at[0] + 0.1, *first.at[1:]))
    astray = replace(plan, drawers=(replace(drawer, placements=(moved, *others)),))
    assert [check for check in check_assembly(astray, meshes) if not check.passed]
