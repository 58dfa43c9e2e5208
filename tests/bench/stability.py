"""Stability: how many kinds lie elsewhere after a small change, with the earlier plan as `previous` and without it."""

import json
from random import Random
from typing import Any

from tests.bench.layout import thing
from worker.layout.model.plan_document import plan_document
from worker.layout.placement.search.region_solver import load_solver
from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.manifest import PlanDocument

#: Kinds, and the width and depth in mm of a drawer that they fill.
SIZES = ((12, 300, 350), (30, 450, 450), (60, 600, 550))


def job(items: list[dict[str, Any]], width: int, depth: int) -> dict[str, Any]:
    """Return the spec of one drawer as data."""
    drawer = {"name": "one", "width": width, "depth": depth, "height": 60, "items": items}
    return {"spec": "1", "name": "b", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}, "coupon": False}


def planned(data: dict[str, Any]) -> PlanDocument:
    """Return the plan of a spec."""
    return plan_document(lay_out(load(data)))


def moved(before: PlanDocument, now: PlanDocument) -> int:
    """Return how many kinds have lost a place that they had."""
    was, are = places(before), places(now)
    return sum(not spots <= are.get(name, set()) for name, spots in was.items())


def places(plan: PlanDocument) -> dict[str, set[tuple[str, object]]]:
    """Return the drawers and cells of each kind's trays."""
    spots: dict[str, set[tuple[str, object]]] = {}
    for drawer in plan.drawers:
        for content in drawer.contents:
            spots.setdefault(content.item, set()).add((drawer.name, drawer.placements[content.placement].cell))
    return spots


def main() -> None:
    """Print the figures."""
    load_solver()
    extra = {"name": "extra", "shape": {"kind": "box", "size": [60, 30, 15]}, "count": 3}
    for kinds, width, depth in SIZES:
        random = Random(0)
        items = [thing(random, number) for number in range(kinds)]
        before = planned(job(items, width, depth))
        more = [{**item, "count": item["count"] + (number == 0)} for number, item in enumerate(items)]
        for change, data in (
            ("one more of one kind", job(more, width, depth)),
            ("another kind", job([*items, extra], width, depth)),
            ("drawer 2 mm wider", job(items, width + 2, depth)),
        ):
            after = planned({**data, "previous": json.loads(before.model_dump_json())})
            alone = planned(data)
            print(
                f"{kinds} kinds, {change}: {moved(before, after)} moved, {len(after.unplaced)} without a place;"
                f" without the earlier plan {moved(before, alone)} and {len(alone.unplaced)}"
            )
