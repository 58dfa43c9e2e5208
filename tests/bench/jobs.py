"""What the queue, the record and the store cost: a 20-tray job through the service against the pipeline in-process."""

import statistics
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from worker.jobs.common.settings import Settings
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.jobs.job_service import JobService
from worker.jobs.processes.supervisor import Supervisor
from worker.spec import Spec, load

ROUNDS = 5
GOAL = 1.5


def spec_of(height: float) -> Spec:
    """Return a drawer with 20 trays of 10 kinds; another height makes other trays."""
    trays = [
        {"name": f"kind {index}", "cells": [1 + index % 2, 1 + index % 3], "height": height + index, "quantity": 2}
        for index in range(8)
    ]
    trays += [
        {"name": "parted", "cells": [2, 2], "height": height, "compartments": [2, 3], "quantity": 2},
        {"name": "ramped", "cells": [2, 1], "height": height, "finger_ramp": True, "quantity": 2},
    ]
    drawer = {"name": "bench", "width": 310, "depth": 425, "height": 80, "trays": trays}
    return load({"spec": "1", "name": "twenty trays", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}})


def served(engine: JobService, spec: Spec) -> float:
    """Return the seconds from submitting to the end."""
    start = time.perf_counter()
    job = engine.submit(spec)
    while not (job := engine.job(job.id)).ended:
        time.sleep(0.002)
    seconds = time.perf_counter() - start
    if job.state != "succeeded":
        raise SystemExit(f"The job {job.state}: {job.problem}")
    return seconds


def called(parts: InMemoryPartCache, spec: Spec) -> float:
    """Return the seconds of the pipeline alone."""
    start = time.perf_counter()
    run_pipeline(spec, part_store=parts, now=datetime.now(UTC))
    return time.perf_counter() - start


def main() -> None:
    """Print the ratios: all parts new, and all parts known."""
    with tempfile.TemporaryDirectory(prefix="drawerwright-bench-") as folder:
        settings = Settings(data_dir=Path(folder))
        with Supervisor(settings), JobService.open(settings) as engine:
            parts = InMemoryPartCache()
            for _ in range(2):  # both worker processes, and this one
                served(engine, spec_of(20.0))
                called(parts, spec_of(20.0))
            new, cached = [], []
            for turn in range(ROUNDS):
                spec = spec_of(21.0 + turn / 8.0)
                new.append((served(engine, spec), called(parts, spec)))
                cached.append((served(engine, spec), called(parts, spec)))
    for name, pairs in (("all parts new", new), ("all parts known", cached)):
        service, alone = (statistics.median(column) for column in zip(*pairs, strict=True))
        ratio = service / alone
        print(f"{name:24s} service {service:6.2f} s, pipeline {alone:6.2f} s: {ratio:5.2f} x (at most {GOAL})")
