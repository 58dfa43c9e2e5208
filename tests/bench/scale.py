"""How time and memory of the pipeline grow with the drawers: 1, 10 and 100, each in a process of its own."""

import json
import re
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.spec import Spec, load
from worker.spec.limits import check_size

DRAWERS = (1, 10, 100)


def spec_of(drawers: int, *, alike: bool) -> Spec:
    """Return a job of so many drawers with six trays each: all alike, or each a little higher than the one before."""
    trays = [
        {"name": f"kind {index}", "cells": [1 + index % 2, 1 + index % 3], "height": 20 + 3 * index}
        for index in range(6)
    ]
    listed = []
    for number in range(drawers):
        rise = 0.0 if alike else 0.25 * number
        own = [{**tray, "height": tray["height"] + rise} for tray in trays]
        listed.append({"name": f"drawer {number + 1}", "width": 230, "depth": 320, "height": 80, "trays": own})
    spec = load({"spec": "1", "name": "scale", "drawers": listed, "printer": {"bed": [256, 256, 256]}})
    check_size(spec)
    return spec


def measured(drawers: int, *, alike: bool) -> dict[str, float]:
    """Return seconds, peak of memory in MiB beyond what was there before, and parts of one run in this process."""
    run_pipeline(spec_of(1, alike=True), part_store=InMemoryPartCache(), now=datetime.now(UTC))  # loads everything
    spec = spec_of(drawers, alike=alike)
    before = _peak()
    start = time.perf_counter()
    run_pipeline(spec, part_store=InMemoryPartCache(), now=datetime.now(UTC))
    seconds = time.perf_counter() - start
    peak = _peak()
    return {"seconds": seconds, "peak": peak / 1024.0, "more": (peak - before) / 1024.0}


def _peak() -> int:
    """Return the most KiB that this program has had; what `getrusage` tells includes the one that started it."""
    peak = re.search(r"^VmHWM:\s+(\d+) kB$", Path("/proc/self/status").read_text(), re.MULTILINE)
    if peak is None:
        raise SystemExit("The peak of memory is not known here.")
    return int(peak[1])


def apart(drawers: int, *, alike: bool) -> dict[str, float]:
    """Return the same of a process of its own."""
    command = [sys.executable, "-m", "tests.bench.scale", str(drawers), str(int(alike))]
    values: dict[str, float] = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return values


def main(drawers: tuple[int, ...] = DRAWERS) -> None:
    """Print the figures and how they grow from one count of drawers to the next: linear is 1.00 or less."""
    for alike, name in ((False, "each drawer other trays"), (True, "all drawers alike")):
        print(name)
        before: tuple[int, dict[str, float]] | None = None
        for count in drawers:
            values = apart(count, alike=alike)
            line = (
                f"  {count:4d} drawers: {values['seconds']:7.2f} s, peak {values['peak']:6.0f} MiB"
                f" ({values['more']:.0f} more than before the job)"
            )
            if before is not None:
                times, last = count / before[0], before[1]
                growth = values["seconds"] / last["seconds"] / times
                memory = values["peak"] / last["peak"] / times
                missed = "" if max(growth, memory) <= 1.0 else "   goal missed"
                line += f"; against linear: time {growth:.2f}, memory {memory:.2f} (at most 1){missed}"
            print(line)
            before = count, values


if __name__ == "__main__":
    print(json.dumps(measured(int(sys.argv[1]), alike=sys.argv[2] == "1")))
