"""Specs of drawers with random things of the practice drawers, in random handling, for `tests.bench.plans_build`."""

import json
from random import Random
from typing import Any

from tests.bench.practice_drawers import FOLDER

#: Storages that things may be given, and how often.
_STORED = 0.3
_STORAGES = ("lane", "lane", "loose", "pocket", "upright")


def things_spec(seed: int) -> dict[str, Any]:
    """Return one spec of a fixed sequence: up to 22 kinds in one or two drawers, for small and large beds."""
    random = Random(seed)
    pool = [
        item
        for path in sorted((*FOLDER.glob("*.json"), *(FOLDER / "held_out").glob("*.json")))
        for item in json.loads(path.read_text())["drawers"][0]["items"]
    ]
    drawers = [_drawer(random, number) for number in range(random.choice([1, 1, 1, 2]))]
    kinds = {item["name"]: item for item in random.sample(pool, random.randint(3, 22))}
    for item in kinds.values():
        random.choice(drawers)["items"].append(_handled(random, item))
    bed = random.choice([110, 120, 150, 170, 190, 210, 256, 300])
    return {
        "spec": "1", "name": f"things {seed}", "drawers": drawers, "coupon": False,
        "grid": {"pitch": random.choice([42, 42, 42, 35, 50]), "half_cells": random.random() < 0.7},
        "printer": {"bed": [bed, bed, random.choice([150, 250])]},
        "layout": {
            "effort": "quick",
            "profile": random.choice(["balanced", "balanced", "least plastic", "fits most", "quick to reach"]),
        },
    }  # fmt: skip


def _drawer(random: Random, number: int) -> dict[str, Any]:
    drawer: dict[str, Any] = {
        "name": f"drawer {number}", "width": random.randint(150, 800), "depth": random.randint(150, 560),
        "height": random.randint(30, 220), "items": [],
    }  # fmt: skip
    if random.random() < 0.1:
        return {**drawer, "floor": "none"}
    if random.random() < 0.2:
        drawer["fill"] = True
    if random.random() < 0.3:
        drawer["corner_radius"] = random.choice([5, 20, 45])
    if random.random() < 0.3:
        drawer["lane_floor"] = "tiles"
    return drawer


def _handled(random: Random, item: dict[str, Any]) -> dict[str, Any]:
    """Return an item in a handling of its own; neighbours that it should be near are not listed here."""
    handled = {key: value for key, value in item.items() if key != "near"}
    if random.random() < 0.2:
        handled["access"] = random.choice(["often", "sometimes", "rarely"])
    if random.random() < 0.1:
        handled["count"] = handled.get("count", 1) * random.choice([2, 3])
    if random.random() < _STORED:
        for key in ("nest", "pose", "label", "stack"):
            handled.pop(key, None)
        return {**handled, "storage": random.choice(_STORAGES)}
    if random.random() < 0.15:
        handled["stack"] = random.random() < 0.7
    if random.random() < 0.2:
        handled["label"] = True
    return handled
