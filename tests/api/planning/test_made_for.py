"""The planner's plans: what they say of a job's printers is what the job is made of."""

from datetime import UTC, datetime

import orjson
import pytest

from api.planning.planner import make_plan
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.spec import load


def test_a_plan_and_its_job_are_made_for_the_same_printers():
    """The floor for the small printer, the tray whole for the large one, whose lines are wider."""
    tray = {"name": "deep", "cells": [4, 4], "height": 30, "wall": 1.6, "floor": 1.2}
    drawer = {"name": "d", "width": 174, "depth": 174, "height": 40, "trays": [tray]}
    printers = [
        {"name": "large", "bed": [300, 300, 100], "nozzle": 0.6, "materials": ["PETG"]},
        {"name": "small", "bed": [90, 90, 100], "materials": ["PLA"]},
    ]
    job = {"spec": "1", "name": "bench", "coupon": False, "drawers": [drawer], "printers": printers}
    job["printing"] = {"tray": {"material": {"name": "PETG"}}}
    plan = make_plan(load(job))
    assert (plan.made_for, plan.made_for_kinds) == ("small", {"tray": "large"})
    assert make_plan(load(job)) == plan  # estimates that are remembered are those of the right printer
    made = run_pipeline(load(job), part_store=InMemoryPartCache(), now=datetime(2026, 3, 2, tzinfo=UTC))
    manifest = orjson.loads(made.manifest)
    assert (manifest["made_for"], manifest["made_for_kinds"]) == (plan.made_for, plan.made_for_kinds)
    sizes = {part["mark"]: tuple(part["size"]) for part in manifest["parts"]}
    assert sizes == {part.mark: part.size for part in plan.parts}
    lines = {part["kind"]: part["estimate"]["line_width"] for part in manifest["parts"]}
    assert lines == pytest.approx({"tile": 0.44, "tray": 0.66})
    kinds = {part["mark"]: part["kind"] for part in manifest["parts"]}
    printed = {(kinds[piece["mark"]], *run["printers"]) for run in manifest["runs"] for piece in run["pieces"]}
    assert printed == {("tile", "small"), ("tray", "large")}
