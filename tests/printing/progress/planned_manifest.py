"""A manifest of a job that is to be printed, without meshes: its runs are planned, its files are none."""

from functools import cache

from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.printing.runs.work_plan import runs_of
from worker.spec import load
from worker.spec.manifest import EstimateEntry, Generator, Manifest, PartEntry

BENCH = {
    "spec": "1",
    "name": "bench left",
    "printer": {"bed": [180, 180, 180]},
    "material": {"name": "PETG", "cost_per_kg": 20, "left": [400, 1000]},
    "printing": {"max_run_hours": 6, "tray": {"material": {"name": "PLA", "left": [120]}}},
    "schedule": {
        "timezone": "UTC",
        "wait_for_coupon": False,
        "attended": [{"days": ["mon", "tue", "wed", "thu", "fri"], "start": "08:00", "end": "18:00"}],
    },
    "drawers": [
        {
            "name": "top",
            "width": 300,
            "depth": 260,
            "height": 60,
            "trays": [
                {"name": "screws", "cells": [1, 1], "height": 30, "quantity": 5},
                {"name": "bits", "cells": [2, 1], "height": 25, "quantity": 4},
                {"name": "deep", "cells": [2, 2], "height": 45},
            ],
        },
        {
            "name": "low",
            "width": 130,
            "depth": 130,
            "height": 60,
            "copies": 2,
            "trays": [{"name": "screws", "cells": [1, 1], "height": 30, "quantity": 2}],
        },
    ],
}


@cache
def bench(*, timed=True):
    """Return the spec and the manifest of a job with a coupon, tiles and three kinds of trays."""
    return manifest_of(load(BENCH), timed=timed)


def manifest_of(spec, *, timed=True):
    """Return the spec and a manifest of it; a piece takes an hour and ten grams for each kind of letter."""
    plan = lay_out(spec)
    estimates = {part.mark: _estimate(spec, part) for part in plan.parts} if timed else None
    runs, work = runs_of(spec, plan, estimates)
    document = plan_document(plan)
    parts = tuple(
        PartEntry(
            **dict(part),
            triangles=4,
            volume=1.0,
            area=1.0,
            digest="0" * 64,
            estimate=None if estimates is None else estimates[part.mark],
            checks=(),
            files=(),
        )
        for part in document.parts
    )
    manifest = Manifest(
        generator=Generator(version="1", kernel="none"),
        name=spec.name,
        spec_digest="0" * 64,
        assembly=(),
        runs=runs,
        work=work,
        **{name: getattr(document, name) for name in ("drawers", "warnings", "cautions", "numbering")},
        parts=parts,
    )
    return spec, manifest


def _estimate(spec, part):
    material = spec.material_of(part.kind)
    return EstimateEntry(
        material=material.name,
        colour=material.colour,
        layer=spec.layer_of(part.kind),
        line_width=spec.line_width_of(part.kind),
        grams=10.0,
        metres=3.0,
        cost=None if material.cost_per_kg is None else 0.2,
        seconds=3900.0,
        laying_seconds=3600.0,
        layers=100,
    )
