"""A search for costly specs: random drawers of things are changed again and again, and the costliest are kept.

``python -m tests.bench worst_plans 200`` tries 200 specs and prints each that takes more processor time to lay out than
all before, at effort quick, and at last the costliest as JSON. The work of a layout is counted, which bounds its time;
this looks for what the count misses.
"""

import json
import sys
import time
from copy import deepcopy
from random import Random
from typing import Any

from worker.layout.placement.search.region_solver import load_solver
from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.errors import DrawerwrightError

COUNT = 100
SEED = 1
#: Specs that are changed further; the others are forgotten.
_KEPT = 5
#: One try of so many starts from a new spec.
_FRESH = 4
_MOST_KINDS = 60
_STORAGES = ("rows", "loose", "upright")


def _wedge(wide: float, deep: float) -> list[list[float]]:
    return [[0, 0], [wide, 0], [wide, deep], [0, deep / 2]]


def _kind(random: Random, name: str) -> dict[str, Any]:
    size = [round(random.choice([8, 20, 45, 90, 160, 260]) * random.uniform(0.6, 1.4), 1) for _ in range(3)]
    shape: dict[str, Any] = random.choice(
        [
            {"kind": "box", "size": size},
            {"kind": "cylinder", "diameter": size[0], "length": size[1]},
            {"kind": "polygon", "points": _wedge(*size[:2]), "height": size[2]},
        ]
    )
    item: dict[str, Any] = {"name": name, "shape": shape, "count": random.choice([1, 1, 2, 5, 12, 60, 400])}
    item |= random.choice([{}, {"storage": random.choice(_STORAGES)}, {"group": random.choice("abc")}])
    item |= random.choice([{}, {}, {"access": random.choice(["often", "rarely"])}])
    return item


def _drawer(random: Random) -> dict[str, Any]:
    kinds = random.randint(8, _MOST_KINDS)
    width, depth, height = random.randint(200, 900), random.randint(200, 700), random.randint(40, 200)
    return {
        "spec": "1", "name": "worst",
        "drawers": [{"name": "d", "width": width, "depth": depth, "height": height}],
        "printer": {"bed": [random.choice([120, 180, 256, 350])] * 2 + [250]},
        "grid": {"half_cells": random.random() < 0.3},
        "layout": {"effort": "quick", "share": random.choice(["group", "like", "any"])},
        "items": [_kind(random, f"kind {number}") for number in range(kinds)],
    }  # fmt: skip


def _changed(random: Random, document: dict[str, Any]) -> dict[str, Any]:
    """Return a spec that differs in its drawer, its bed or a few things."""
    changed = deepcopy(document)
    drawer, items = changed["drawers"][0], changed["items"]
    for _ in range(random.randint(1, 4)):
        change = random.randrange(5)
        if change == 0:
            side = random.choice(["width", "depth", "height"])
            drawer[side] = max(40, round(drawer[side] * random.uniform(0.7, 1.4)))
        elif change == 1:
            changed["grid"]["half_cells"] = not changed["grid"]["half_cells"]
        elif change == 2 and len(items) > 1:
            items.pop(random.randrange(len(items)))
        elif change == 3 and len(items) < _MOST_KINDS:
            items.append(_kind(random, ""))
        else:
            items[random.randrange(len(items))] = deepcopy(random.choice(items)) | {"count": random.randint(1, 400)}
    for number, item in enumerate(items):
        item["name"] = f"kind {number}"
    return changed


def seconds_of(document: dict[str, Any]) -> float | None:
    """Return the processor time of a layout, or nothing if the spec is refused."""
    try:
        spec = load(document)
        start = time.process_time()
        lay_out(spec)
    except DrawerwrightError:
        return None
    return time.process_time() - start


def main() -> None:
    """Search, and print what is costlier than all before."""
    count = next((int(word) for word in sys.argv[1:] if word.isdigit()), COUNT)
    random = Random(SEED)
    load_solver()
    kept: list[tuple[float, dict[str, Any]]] = []
    refused = 0
    for number in range(count):
        document = _drawer(random) if not kept or number % _FRESH == 0 else _changed(random, random.choice(kept)[1])
        seconds = seconds_of(document)
        if seconds is None:
            refused += 1
            continue
        if not kept or seconds > kept[0][0]:
            side = document["drawers"][0]
            size = f"{side['width']} x {side['depth']} mm"
            print(f"{number}: {seconds:.1f} s, {len(document['items'])} kinds, {size}", flush=True)
        kept = sorted([*kept, (seconds, document)], key=lambda pair: -pair[0])[:_KEPT]
    print(f"{count} specs, {refused} refused; the costliest:\n{json.dumps(kept[0][1])}")


if __name__ == "__main__":
    main()
