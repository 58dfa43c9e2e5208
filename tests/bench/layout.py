"""What layouts cost, in plastic, printed floor and by the placer's objectives, against greedy ones; and the time."""

import gc
import statistics
import time
from collections.abc import Sequence
from random import Random

from tests.layout.storage.things import ground
from worker.layout.items.drawer_site import Site
from worker.layout.items.fill_drawer import Stock, stock
from worker.layout.placement.greedy import best_of_three, bottom_left
from worker.layout.placement.placement_problem import ACCESSES, Bay, Fit, Request, SizeChoice, score
from worker.layout.placement.stacking import requests
from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.items.item import Item

DRAWERS = 30
FILLS = (0.50, 0.70, 0.85)
GOAL = 10.0

_WHAT = ("cost", "plastic", "floor", "spread", "front")

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
        "access": random.choice(ACCESSES),
        "group": random.choice([None, None, "electric", "metric", "drawing"]),
    }


def drawer(seed: int, fill: float, *, half_cells: bool = False) -> tuple[list[Item], Site]:
    """Return things whose smallest trays fill this share of a drawer."""
    random = Random(seed)
    span = 2 * random.randint(5, 10), 2 * random.randint(7, 12)
    height = random.choice([50.0, 70.0, 90.0])
    site = Site("bench", ground(span, height, half_cells=half_cells), Bay.open(*span, step=1 if half_cells else 2))
    items: list[Item] = []
    left, number, tries = fill * span[0] * span[1], 0, 0
    while left > 0 and tries < 20:
        item = Item.model_validate(thing(random, number))
        ways = site.options(item)
        if not ways or ways[0].area > left + 2:
            tries += 1
            continue
        items.append(item)
        left -= ways[0].area
        number += 1
    return items, site


def plain(items: Sequence[Item], site: Site) -> tuple[Request, ...]:
    """Return each item in a tray of its own."""
    return tuple(
        Request(
            item.name,
            tuple(SizeChoice(*way.halves, way.plastic) for way in site.options(item)),
            tuple(int(item.access == access) for access in ACCESSES),
            item.group,
        )
        for item in items
    )


def figures(demand: Sequence[Request], fit: Fit, floor: int) -> dict[str, float]:
    """Return a fit's figures: items left out, front and spread in half cells, cm3 of plastic, half cells of floor."""
    missing, front, spread, plastic = score(demand, fit)
    values = {"left out": sum(missing), "front": front, "spread": spread, "plastic": plastic / 100.0, "floor": floor}
    # what the objectives add up to when a half cell counts as much as 10 cm3
    return {**values, "cost": front + spread + plastic / 1000.0}


def covered(demand: Sequence[Request], fit: Fit) -> int:
    """Return the half cells that trays cover."""
    return sum(r.choices[p.choice].area for r, p in zip(demand, fit.places, strict=True) if p is not None)


def ours(items: Sequence[Item], site: Site) -> tuple[Stock, dict[str, float]]:
    """Return our layout and its figures; printed floor counts piled trays, too."""
    stocked = stock(items, site)
    demand = requests(stocked.piles)
    values = figures(demand, stocked.fit, sum(settled.option.area for settled in stocked.settled))
    return stocked, {**values, "left out": len(stocked.missing)}


def layouts() -> None:
    """Print how much less our layouts cost than plain greedy ones."""
    for fill in FILLS:
        gains: dict[tuple[str, str], list[float]] = {}
        worse = left_out = greedy_left_out = 0
        for seed in range(DRAWERS):
            items, site = drawer(seed, fill)
            fits, own = ours(items, site)
            left_out += int(own["left out"])
            for name, greedy in (("bottom-left", bottom_left), ("best of three", best_of_three)):
                demand = plain(items, site)
                fit = greedy(demand, site.bay)
                theirs = figures(demand, fit, covered(demand, fit))
                worse += score(requests(fits.piles), fits.fit) > score(demand, fit)
                if name == "best of three":
                    greedy_left_out += int(theirs["left out"])
                if own["left out"] == theirs["left out"] == 0:
                    for what in _WHAT:
                        gain = 100.0 * (1.0 - own[what] / theirs[what]) if theirs[what] else 0.0
                        gains.setdefault((name, what), []).append(gain)
        print(
            f"{DRAWERS} drawers filled {100 * fill:.0f} %: {left_out} items left out"
            f" ({greedy_left_out} by best of three),"
        )
        print(f"  worse by the objectives than a greedy one: {worse}")
        for name in ("bottom-left", "best of three"):
            text = ", ".join(
                f"{what} {statistics.median(gains[name, what]):.1f} % less (least {min(gains[name, what]):.1f})"
                for what in _WHAT
            )
            missed = [what for what in ("cost", "floor") if statistics.median(gains[name, what]) < GOAL]
            print(f"  against {name}: {text}{'   goal missed: ' + ', '.join(missed) if missed else ''}")


def times() -> None:
    """Print how long whole plans take: 30 kinds in one drawer, 100 kinds over 10 drawers."""
    random = Random(1)
    drawer = {"name": "one", "width": 500, "depth": 500, "height": 70}
    many = [
        {"name": f"d{k}", "width": random.randint(250, 420), "depth": random.randint(300, 480), "height": high}
        for k, high in enumerate([50, 60, 60, 70, 70, 70, 80, 90, 90, 110])
    ]
    for kinds, drawers, goal in ((30, [drawer], 1.0), (100, many, 2.5)):
        took = []
        for seed in range(3):
            random = Random(seed)
            items = [thing(random, number) for number in range(kinds)]
            data = {"spec": "1", "name": "b", "drawers": drawers, "items": items, "grid": {"half_cells": True}}
            spec = load({**data, "printer": {"bed": [256, 256, 256]}})
            gc.collect()
            start = time.perf_counter()
            plan = lay_out(spec)
            took.append(time.perf_counter() - start)
        print(
            f"plan of {kinds} kinds over {len(drawers)} drawers: {statistics.median(took):.2f} s, worst {max(took):.2f}"
            f" (goal {goal:g}){'' if max(took) <= goal else '   goal missed'}, {len(plan.unplaced)} without a place"
        )


def main() -> None:
    """Print the figures."""
    stock(*drawer(0, 0.5))  # the solver is loaded when it is first wanted
    times()
    layouts()
