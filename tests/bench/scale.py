"""Growth of the pipeline's time and memory with 1, 10 and 100 drawers, each job in its own process."""

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
    """Return the spec of drawers with six trays each: all identical, or each 0.25 mm higher than the one before."""
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
    """Return the seconds of a job in this process, the peak of memory in MiB, and its increase in MiB."""
    run_pipeline(
        spec_of(1, alike=True), part_store=InMemoryPartCache(), now=datetime.now(UTC)
    )  # imports all modules before anything is measured
    spec = spec_of(drawers, alike=alike)
    before = _peak()
    start = time.perf_counter()
    run_pipeline(spec, part_store=InMemoryPartCache(), now=datetime.now(UTC))
    seconds = time.perf_counter() - start
    peak = _peak()
    return {"seconds": seconds, "peak": peak / 1024.0, "more": (peak - before) / 1024.0}


def _peak() -> int:
    """Return the peak resident memory of this program in KiB; `getrusage` would include the parent before exec."""
    peak = re.search(r"^VmHWM:\s+(\d+) kB$", Path("/proc/self/status").read_text(), re.MULTILINE)
    if peak is None:
        raise SystemExit("This system does not report the peak of memory in /proc/self/status.")
    return int(peak[1])


def apart(drawers: int, *, alike: bool) -> dict[str, float]:
    """Return the figures of `measured` in a new process."""
    command = [sys.executable, "-m", "tests.bench.scale", str(drawers), str(int(alike))]
    values: dict[str, float] = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return values


def main(drawers: tuple[int, ...] = DRAWERS) -> None:
    """Print the figures and their growth from one number of drawers to the next: 1.00 is linear."""
    for alike, name in ((False, "all drawers different"), (True, "all drawers identical")):
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
