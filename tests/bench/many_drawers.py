"""Many drawers of ten kinds: processor seconds of one, and the time of a job of eight in one process and in two."""

import time
from datetime import UTC, datetime
from random import Random

from tests.bench.layout import thing
from worker.jobs.execution.drawer_processes import DrawerProcesses
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.layout.items.filling.drawer_task import one_by_one
from worker.layout.model.plan_document import plan_document
from worker.layout.placement.search.region_solver import load_solver
from worker.layout.planner import lay_out
from worker.spec import Spec, load

SAMPLE = 12
BATCH = 100
CORES = 2
GOAL = 180.0


def drawer_of(number: int) -> dict:
    """Return a drawer with ten kinds, drawn by its number."""
    random = Random(number)
    return {
        "name": f"drawer {number}",
        "width": random.randint(250, 450),
        "depth": random.randint(300, 480),
        "height": random.choice([50, 60, 70, 90]),
        "items": [thing(random, kind) for kind in range(10)],
    }


def spec_of(*drawers: dict, effort: str) -> Spec:
    """Return the spec of these drawers."""
    data = {"spec": "1", "name": "many", "drawers": list(drawers), "layout": {"effort": effort}}
    return load({**data, "printer": {"bed": [256, 256, 256]}})


def main() -> None:
    """Print the figures."""
    load_solver()
    layouts, wholes, parts = 0.0, 0.0, InMemoryPartCache()
    for number in range(SAMPLE):
        spec = spec_of(drawer_of(number), effort="quick")
        start = time.process_time()
        lay_out(spec)
        layouts += time.process_time() - start
        start = time.process_time()
        run_pipeline(spec, part_store=parts, now=datetime.now(UTC))
        wholes += time.process_time() - start
    expected = wholes / SAMPLE * BATCH / CORES
    missed = "" if expected <= GOAL else "   goal missed"
    print(f"a drawer of ten kinds, quick, processor: layout {layouts / SAMPLE:.2f} s, job {wholes / SAMPLE:.2f} s")
    print(f"a batch of {BATCH} such drawers on {CORES} cores: {expected:.0f} s (goal {GOAL:.0f}){missed}")
    spec = spec_of(*(drawer_of(number) for number in range(8)), effort="normal")
    answers = []
    for processes in (1, 2):
        spread = DrawerProcesses(processes, 0) if processes > 1 else one_by_one
        start = time.perf_counter()
        answers.append(plan_document(lay_out(spec, spread=spread)).model_dump_json())
        print(f"a job of 8 drawers, normal, {processes} processes: {time.perf_counter() - start:.1f} s")
    if answers[0] != answers[1]:
        raise SystemExit("The plans differ.")
