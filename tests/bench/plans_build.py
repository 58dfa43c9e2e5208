"""Whether what is planned also builds: random specs through the plan and the whole pipeline, in this process.

``python -m tests.bench plans_build 500`` runs the next 500 specs; ``plans_build 500 2000`` starts at spec 2000. They
have random grids, trays and items; with ``things`` they are drawers of random things of the practice drawers. A spec
that ``POST /v1/plans`` would accept and that then fails is written to ``tests/jobs/corpus``, which a test replays.
"""

import json
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any
from unittest.mock import patch

from api.planning.planner import make_plan
from tests.bench.random_things import things_spec
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.layout.items.reasons import remedies
from worker.spec import load
from worker.spec.errors import DrawerwrightError

CORPUS = Path(__file__).parents[1] / "jobs" / "corpus"
COUNT = 200
#: Specs between two lines of progress.
_PROGRESS = 10
#: Sizing trays for more pockets takes a minute.
_MOST_POCKETS = 4
#: One spec of so many is laid out with the effort of a job by default; the search is most of the time.
_SEARCHED = 20

_SHAPES: tuple[dict[str, Any], ...] = (
    {"kind": "standard", "id": "battery-aa"},
    {"kind": "standard", "id": "nut-m4"},
    {"kind": "box", "size": [60, 20, 9]},
    {"kind": "box", "size": [35, 34, 30]},
    {"kind": "cylinder", "diameter": 14, "length": 90},
    {"kind": "cylinder", "diameter": 30, "length": 12},
)
_TEXTS = ("M4", "bits", "Ågy")


def random_spec(seed: int) -> dict[str, Any]:
    """Return one spec of a fixed sequence: grids, printers, outlines, trays and items at and between their bounds."""
    random = Random(seed)
    line = random.choice([0.4, 0.4, 0.4, 0.6, 0.8])
    grid: dict[str, Any] = {
        "clearance": random.choice([0.05, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.75, 1.0, round(random.uniform(0.05, 1), 3)]),
        "pitch": random.choice([42, 42, 42, 30, 50, 60]),
        "seam": random.choice(["dovetail", "dovetail", "key", "plain"]),
        "half_cells": random.random() < 0.3,
    }
    bed = random.choice([120, 150, 180, 220, 256])
    drawers = [_drawer(random, index, halves=grid["half_cells"]) for index in range(random.choice([1, 1, 2]))]
    spec: dict[str, Any] = {
        "spec": "1", "name": f"random {seed}", "grid": grid, "drawers": drawers,
        "printer": {"bed": [bed, bed, random.choice([100, 256])], "nozzle": line, "layer": line / 2},
        "coupon": random.random() < 0.5,
        "layout": {"effort": "normal" if seed % _SEARCHED == 0 else "quick"},
    }  # fmt: skip
    if random.random() < 0.4:
        spec["items"] = [_item(random, f"kind {index}") for index in range(random.randint(1, 5))]
    return spec


def _drawer(random: Random, index: int, *, halves: bool) -> dict[str, Any]:
    width, depth = random.randint(90, 420), random.randint(90, 420)
    drawer: dict[str, Any] = {"name": f"drawer {index}", "height": random.choice([40, 55, 80, 120, 160])}
    if random.random() < 0.25:
        notch = (random.randint(40, width - 45), random.randint(40, depth - 45))
        drawer["outline"] = [[0, 0], [width, 0], [width, notch[1]], [notch[0], notch[1]], [notch[0], depth], [0, depth]]
    else:
        drawer |= {"width": [width, width + random.choice([0, 0, 2, 6])], "depth": depth}
        drawer["corner_radius"] = random.choice([0, 0, 5, 20])
    if random.random() < 0.3:
        size = [random.randint(5, 40), random.randint(5, 40)]
        drawer["obstacles"] = [{"at": [random.randint(0, width // 2), random.randint(0, depth // 2)], "size": size}]
    drawer["trays"] = [_tray(random, k, drawer["height"], halves=halves) for k in range(random.randint(0, 3))]
    if random.random() < 0.6:
        drawer["items"] = [_item(random, f"thing {index}.{k}") for k in range(random.randint(1, 6))]
    drawer["fill"] = random.random() < 0.2
    return drawer


def _tray(random: Random, index: int, most: int, *, halves: bool) -> dict[str, Any]:
    sizes = [0.5, 1, 1.5, 2, 2.5] if halves else [1, 1, 2, 3]
    tray: dict[str, Any] = {
        "name": f"tray {index}",
        "cells": [random.choice(sizes), random.choice(sizes)],
        "height": random.randint(15, most - 1),
        "rim": random.choice(["stacking", "stacking", "straight"]),
        "wall": random.choice([1.2, 1.2, 1.8, 2.4, 3.0]),
        "floor": random.choice([1.2, 0.8, 2.0]),
    }
    chosen = random.sample(
        [
            {"compartments": [random.randint(1, 3), random.randint(1, 3)]},
            {"label_ledge": True},
            {"finger_ramp": True},
            {"magnets": {"diameter": random.choice([4, 6]), "depth": 2}},
            {"text": {"text": random.choice(_TEXTS), "face": random.choice(["front", "floor"])}},
        ],
        random.randint(0, 3),
    )
    for feature in chosen:
        tray |= feature
    return tray


def _item(random: Random, name: str) -> dict[str, Any]:
    item: dict[str, Any] = {"name": name, "shape": random.choice(_SHAPES), "count": random.randint(1, 20)}
    item["stack"] = random.choice([True, True, None, False])
    item["label"] = random.random() < 0.5
    if random.random() < 0.3:
        item["storage"] = random.choice(["rows", "loose", "upright", "pocket"])
    if item.get("storage") == "pocket":
        item["count"] = min(item["count"], _MOST_POCKETS)
        item["group"] = random.choice(["bench", "desk"])
        if item["shape"]["kind"] == "box" and random.random() < 0.3:
            item["engraved"] = True
    return item


def fails(document: dict[str, Any], parts: InMemoryPartCache | None = None) -> tuple[bool, Exception | None]:
    """Return whether a spec can be planned, and the error with which its job then fails."""
    try:
        spec = load(document)
    except DrawerwrightError:
        return False, None
    try:
        run_pipeline(spec, part_store=parts or InMemoryPartCache(), now=datetime(2026, 1, 5, 8, tzinfo=UTC))
    except Exception as error:  # noqa: BLE001 - any error fails the job
        try:
            make_plan(spec)
        except DrawerwrightError:
            return False, None
        return True, error
    return True, None


def main() -> None:
    """Run specs, and keep those that are planned and do not build."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    count, first = (*numbers, *(COUNT, 0)[len(numbers) :])[:2]
    planned = failed = 0
    start = time.perf_counter()
    for seed in range(first, first + count):
        document = things_spec(seed) if "things" in sys.argv else random_spec(seed)
        # what would help a thing without a place takes half the time and changes no layout
        with patch.dict(remedies._MOST_SIZINGS, quick=0), patch.dict(remedies._MOST_REFILLS, quick=0):
            accepted, error = fails(document)
        planned += accepted
        if error is not None:
            failed += 1
            CORPUS.mkdir(exist_ok=True)
            path = CORPUS / f"{document['name'].replace(' ', '-')}.json"
            path.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
            print(f"{path.name}: {type(error).__name__}: {error}", flush=True)
        if (seed - first) % _PROGRESS == _PROGRESS - 1:
            print(f"{seed - first + 1} specs, {planned} planned, {failed} failed", flush=True)
    seconds = time.perf_counter() - start
    print(f"{count} specs from {first}, {planned} planned, {failed} of them do not build ({seconds:.0f} s)")
