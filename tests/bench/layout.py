"""What layouts take: how long a plan of many kinds is searched for, and how much finds a place."""

import gc
import statistics
import time
from random import Random

from worker.layout.placement.search.region_solver import load_solver
from worker.layout.planner import lay_out
from worker.spec import load

_STANDARD = (
    "battery-aa", "battery-aaa", "battery-9v", "battery-cr2032", "card-sd", "nut-m3", "nut-m4", "nut-m8", "washer-m4",
    "bearing-608", "hexkey-4", "hexkey-8", "bit-6.3", "drill-4", "pen-ball",
)  # fmt: skip


def thing(random: Random, number: int) -> dict:
    """Return one of a maker's things: some of the catalogue, some boxes and rods."""
    kind = random.random()
    if kind < 0.6:
        shape = {"kind": "standard", "id": random.choice(_STANDARD)}
    elif kind < 0.8:
        shape = {"kind": "box", "size": [random.randint(10, 110), random.randint(8, 60), random.randint(5, 35)]}
    else:
        shape = {"kind": "cylinder", "diameter": random.randint(5, 35), "length": random.randint(10, 110)}
    return {
        "name": f"kind {number}",
        "shape": shape,
        "count": random.choice([1, 2, 3, 5, 8, 12, 20, 40]),
        "access": random.choice(["often", "sometimes", "rarely"]),
        "group": random.choice([None, None, "electric", "metric", "drawing"]),
    }


def times() -> None:
    """Print how long whole plans take: 30 kinds in one drawer, 100 kinds over 10 drawers."""
    random = Random(1)
    single = {"name": "one", "width": 500, "depth": 500, "height": 70}
    many = [
        {"name": f"d{k}", "width": random.randint(250, 420), "depth": random.randint(300, 480), "height": high}
        for k, high in enumerate([50, 60, 60, 70, 70, 70, 80, 90, 90, 110])
    ]
    for kinds, drawers, effort, goal in (
        (30, [single], "quick", 1.0),
        (30, [single], "normal", 5.0),
        (100, many, "quick", 3.0),
    ):
        took = []
        for seed in range(3):
            random = Random(seed)
            items = [thing(random, number) for number in range(kinds)]
            data = {"spec": "1", "name": "b", "drawers": drawers, "items": items, "layout": {"effort": effort}}
            spec = load({**data, "printer": {"bed": [256, 256, 256]}})
            gc.collect()
            start = time.perf_counter()
            plan = lay_out(spec)
            took.append(time.perf_counter() - start)
        print(
            f"plan of {kinds} kinds over {len(drawers)} drawers, {effort}: {statistics.median(took):.2f} s,"
            f" worst {max(took):.2f} (goal {goal:g}){'' if max(took) <= goal else '   goal missed'},"
            f" {len(plan.unplaced)} without a place"
        )


def main() -> None:
    """Print the figures."""
    load_solver()  # it is loaded when it is first needed
    times()
