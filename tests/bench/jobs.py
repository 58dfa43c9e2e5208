"""Overhead of queue, database and object store: a job of 20 trays through the service and by the pipeline alone."""

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
    """Return the spec of a drawer with 20 trays of 10 kinds; another height in mm gives other parts."""
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


def served(job_service: JobService, spec: Spec) -> float:
    """Return the seconds from submitting a job to its end."""
    start = time.perf_counter()
    job = job_service.submit(spec)
    while not (job := job_service.job(job.id)).ended:
        time.sleep(0.002)
    seconds = time.perf_counter() - start
    if job.state != "succeeded":
        raise SystemExit(f"The job {job.state}: {job.problem}")
    return seconds


def called(parts: InMemoryPartCache, spec: Spec) -> float:
    """Return the seconds that the pipeline takes in this process."""
    start = time.perf_counter()
    run_pipeline(spec, part_store=parts, now=datetime.now(UTC))
    return time.perf_counter() - start


def main() -> None:
    """Print the ratio of the two with all parts new and with all parts in the cache."""
    with tempfile.TemporaryDirectory(prefix="drawerwright-bench-") as folder:
        settings = Settings(data_dir=Path(folder))
        with Supervisor(settings), JobService.open(settings) as job_service:
            parts = InMemoryPartCache()
            for _ in range(2):  # both worker processes, and this one
                served(job_service, spec_of(20.0))
                called(parts, spec_of(20.0))
            new, cached = [], []
            for turn in range(ROUNDS):
                spec = spec_of(21.0 + turn / 8.0)
                new.append((served(job_service, spec), called(parts, spec)))
                cached.append((served(job_service, spec), called(parts, spec)))
    for name, pairs in (("all parts new", new), ("all parts cached", cached)):
        service, alone = (statistics.median(column) for column in zip(*pairs, strict=True))
        ratio = service / alone
        print(f"{name:24s} service {service:6.2f} s, pipeline {alone:6.2f} s: {ratio:5.2f} x (at most {GOAL})")
