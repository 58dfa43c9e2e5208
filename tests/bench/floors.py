"""Processor time of the layout without a search: the grid's place, the tiles of a floor, a plan of explicit trays."""

import statistics
import time
from collections.abc import Callable

import numpy as np
import shapely
from shapely.geometry import Polygon

from worker.layout.drawer.grid_placement import fit_lattice
from worker.layout.floor.floor_builder import tile_floor
from worker.layout.planner import lay_out
from worker.spec import load
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.printer.printer import Printer

_JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)


def _milliseconds(work: Callable[[], object]) -> float:
    """Return the median of five runs."""
    took = []
    for _ in range(5):
        start = time.process_time()
        work()
        took.append(time.process_time() - start)
    return 1e3 * statistics.median(took)


def _wavy(corners: int) -> Polygon:
    """Return a round area with ten waves in its outline."""
    angles = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radii = 220 + 20 * np.sin(5 * angles)
    return Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))


def main() -> None:
    """Print the figures."""
    for name, area in (("rectangle", shapely.box(0, 0, 310, 425)), ("wavy outline", _wavy(80))):
        took = _milliseconds(lambda area=area: fit_lattice(area, pitch=42.0, half_cells=True))
        print(f"place of the grid, {name}: {took:.1f} ms")
    for side, bed in ((420, 256), (1000, 180)):
        usable = shapely.box(0, 0, side, side)
        lattice, printer = fit_lattice(usable, pitch=42.0), Printer(bed=(bed, bed, bed))
        took = _milliseconds(
            lambda usable=usable, lattice=lattice, printer=printer: tile_floor(
                usable, lattice, joint=_JOINT, seam="dovetail", seam_gap=0.2, printer=printer
            )
        )
        print(f"floor of {side} x {side} mm, bed of {bed}: {took:.0f} ms")
    trays = [{"name": f"tray {n}", "cells": [1 + n % 3, 1 + n % 2], "height": 30 + n} for n in range(20)]
    drawer = {"name": "d", "width": 420, "depth": 420, "height": 80, "trays": trays}
    spec = load({"spec": "1", "name": "b", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}})
    print(f"plan of 20 explicit trays: {_milliseconds(lambda: lay_out(spec)):.0f} ms")
