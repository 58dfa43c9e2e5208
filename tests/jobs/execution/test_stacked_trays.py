"""Trays that stand in the rims of others, as solids."""

import json
from datetime import UTC, datetime

from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.spec import load

NOW = datetime(2026, 3, 2, 17, 30, tzinfo=UTC)


def test_piled_trays_keep_the_joint_clearance_and_nothing_less():
    boxes = [
        {
            "name": name,
            "shape": {"kind": "box", "size": [60, 60, high]},
            "access": "rarely",
            "storage": "rows",
            "mass": mass,
        }
        for name, high, mass in (("light", 12, 20), ("heavy", 14, 300), ("plate", 16, 100))
    ]
    drawer = {"name": "bench", "width": 90, "depth": 92, "height": 90, "items": boxes}
    spec = load({"spec": "1", "name": "t", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}, "coupon": False})
    manifest = json.loads(run_pipeline(spec, part_store=InMemoryPartCache(), now=NOW).manifest)
    checks = {check["name"]: check for check in manifest["assembly"]}
    assert all(check["passed"] for check in checks.values())
    assert checks["stack"]["value"] >= 0.29  # the default clearance of 0.30 less rounding
    assert checks["apart"]["value"] == 0
    places = [placement for placement in manifest["drawers"][0]["placements"] if placement["cell"] is not None]
    # the heavy ones lie lower
    assert [placement["name"] for placement in sorted(places, key=lambda placement: placement["at"][2])] == [
        "heavy",
        "plate",
        "light",
    ]
    assert not manifest["unplaced"]
