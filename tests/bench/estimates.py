"""Processor time of the estimate of each part of the examples: at most 12 ms a part."""

import json
import statistics
from pathlib import Path
from time import process_time

from worker.layout.planner import lay_out
from worker.printing.estimating.estimate import estimate
from worker.printing.estimating.process_settings import process_of
from worker.solids import build
from worker.spec import load

ROUNDS = 5
GOAL = 12.0


def main() -> None:
    """Print median and highest of all parts, each the best of some rounds, and the parts that miss the goal."""
    rows = []
    for path in sorted(Path("openapi/examples").glob("*.json")):
        spec = load(json.loads(path.read_text("utf-8")))
        for part in lay_out(spec).parts:
            mesh, process = build(part.shape), process_of(spec, part.kind)
            best = float("inf")
            for _ in range(ROUNDS):
                start = process_time()
                estimate(mesh, process)
                best = min(best, process_time() - start)
            rows.append((1000.0 * best, f"{path.stem} {part.mark}", len(mesh.triangles)))
    times = [milliseconds for milliseconds, *_ in rows]
    within = sum(milliseconds <= GOAL for milliseconds in times)
    print(f"{len(rows)} parts: median {statistics.median(times):.1f} ms of CPU, highest {max(times):.1f}; "
          f"{within} within {GOAL:g}")  # fmt: skip
    for milliseconds, name, triangles in sorted(rows, reverse=True):
        if milliseconds > GOAL:
            print(f"  {name}: {milliseconds:.1f} ms, {triangles} triangles")


if __name__ == "__main__":
    main()
