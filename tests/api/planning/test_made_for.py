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


def test_a_plan_and_its_job_make_each_tray_for_the_same_printer():
    """Of two equal trays one is whole for the large printer, the other in pieces for the small one."""
    tray = {"name": "deep", "cells": [4, 3], "height": 85, "quantity": 2}
    drawer = {"name": "d", "width": 172, "depth": 256, "height": 90, "trays": [tray]}
    printers = [{"name": "large", "bed": [190, 190, 200]}, {"name": "small", "bed": [130, 130, 200]}]
    job = {"spec": "1", "name": "bench", "coupon": True, "drawers": [drawer], "printers": printers}
    plan = make_plan(load(job))
    assert make_plan(load(job)) == plan
    made = run_pipeline(load(job), part_store=InMemoryPartCache(), now=datetime(2026, 3, 2, tzinfo=UTC))
    manifest = orjson.loads(made.manifest)
    made_for = {part.mark: part.made_for for part in plan.parts}
    assert {part["mark"]: part["made_for"] for part in manifest["parts"]} == made_for
    kinds = {part.kind: part.made_for for part in plan.parts if part.kind != "tray"}
    assert kinds == {kind: plan.made_for_kinds.get(kind, plan.made_for) for kind in kinds}
    trays = [part for part in manifest["parts"] if part["kind"] == "tray"]
    assert {(part["made_for"], part["piece"] is None) for part in trays} == {("large", True), ("small", False)}
    beds = [next(check for check in part["checks"] if check["name"] == "bed") for part in trays]
    limits = {"large": "190 x 190 x 200", "small": "130 x 130 x 200"}
    assert all(limits[part["made_for"]] in bed["limit"] for part, bed in zip(trays, beds, strict=True))
    printed = {piece["mark"]: run["printers"] for run in manifest["runs"] for piece in run["pieces"]}
    assert all(printed[part["mark"]] == ["large"] for part in trays if part["made_for"] == "large")
    assert {name for names in printed.values() for name in names} == {"large", "small"}


def test_parts_of_a_job_of_one_printer_name_none():
    drawer = {"name": "d", "width": 90, "depth": 90, "height": 40}
    job = {"spec": "1", "name": "bench", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}}
    assert {part.made_for for part in make_plan(load(job)).parts} == {None}
