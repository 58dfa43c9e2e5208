"""Build time of parts: directly as meshes, by booleans of whole solids, and by a B-rep kernel."""

import gc
import statistics
import time
from collections.abc import Callable

from tests.outside import brep
from tests.solids.plate_oracle import tile_oracle
from tests.solids.plate_shapes import tile
from tests.solids.tray_oracle import oracle as tray_oracle
from tests.solids.tray_shapes import plain
from worker.output.checks.printability import printability
from worker.output.checks.wall_thickness import section_widths
from worker.solids import build
from worker.solids.mesh import Mesh
from worker.spec.printer.printer import Printer
from worker.spec.tolerances import LINES_IN_A_WALL, WALL_SLACK

ROUNDS = 15

#: Seconds that the printability figures of a part may take.
PRINTABILITY_GOAL = 0.015


def median_seconds(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Return the median wall time of a call in seconds, after a warm-up call."""
    work()
    times = []
    for _ in range(rounds):
        gc.collect()
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main() -> None:
    """Print the time of the direct build and how many times slower the others are."""
    cases = [
        ("tile 5 x 5", tile(5, 5), tile_oracle, brep.tile, 20.0, 100.0),
        ("tile 6 x 6", tile(6, 6), tile_oracle, brep.tile, 20.0, 100.0),
        ("tile 6 x 6 with seams", tile(6, 6, seam=True), tile_oracle, brep.tile, 20.0, 100.0),
        ("tray 3 x 2 x 60", plain((6, 4), 60.0), tray_oracle, brep.tray, 4.0, 100.0),
        ("tray 1 x 1 x 40", plain((2, 2), 40.0), tray_oracle, brep.tray, 4.0, 100.0),
    ]
    print(f"{'part':24s} {'direct':>10s} {'booleans':>18s} {'B-rep kernel':>18s}")
    for name, shape, booleans, exact, goal, exact_goal in cases:
        direct = median_seconds(lambda shape=shape: build(shape))
        whole = median_seconds(lambda shape=shape, booleans=booleans: booleans(shape).to_mesh64()) / direct
        kernel = median_seconds(lambda shape=shape, exact=exact: exact(shape).tessellate(0.05, 0.2), 1) / direct
        print(
            f"{name:24s} {direct * 1e3:7.2f} ms {whole:9.1f} x ({goal:.0f}) {kernel:9.0f} x ({exact_goal:.0f})"
            f"{'' if whole >= goal and kernel >= exact_goal else '   goal missed'}"
        )
    for name, shape, *_ in cases:
        _print_printability(name, build(shape))


def _print_printability(name: str, mesh: Mesh) -> None:
    """Print what the printability figures of a part cost beside its checks."""
    printer = Printer(bed=(400.0, 400.0, 400.0))
    widths = section_widths(mesh, mesh.manifold(), LINES_IN_A_WALL * printer.line_width - WALL_SLACK)
    seconds = median_seconds(lambda: printability(mesh, widths, printer))
    missed = "" if seconds <= PRINTABILITY_GOAL else "   goal missed"
    print(f"{name:24s} printability {seconds * 1e3:7.2f} ms ({PRINTABILITY_GOAL * 1e3:.0f}){missed}")
