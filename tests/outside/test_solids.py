"""Solids against a boundary-representation kernel with true arcs and cones, and against textbook formulas.

The kernel's solids are drawn here from the words of the design (a cell's rounded square, its parallels, levels of inset
and height), with nothing of worker.solids. Formulas and values: shared/reference/geometry_worked_examples.json.
"""

from math import pi, sin

import numpy as np
import pytest

from tests.solids.plate_shapes import JOINT, tile
from tests.solids.tray_shapes import plain
from worker.layout.tray.coupon import coupon_shapes
from worker.solids import build
from worker.solids.ring import circle, rounded_rectangle, signed_area

pytestmark = pytest.mark.outside

#: Rows ngon-8 to ngon-64: area of an inscribed polygon over its circle's.
NGONS = {8: 0.900316316157, 16: 0.974495358404, 24: 0.988615929465, 32: 0.993586851144, 48: 0.997146657350}


@pytest.fixture(scope="module")
def brep():
    """Load the kernel, which takes seconds, in the one process that uses it."""
    from tests.outside import brep  # noqa: PLC0415 - as late as it can be

    return brep


@pytest.mark.parametrize("border", [(0.0, 0.0, 0.0, 0.0), (0.0, 3.0, 12.0, 6.5)])
def test_a_tile_of_3_by_3_with_tabs_recesses_and_a_window(brep, border):
    shape = tile(3, 3, seam=True, border=border, windows=True)
    exact = brep.tile(shape)
    assert exact.is_valid
    mesh = build(shape)
    # The facets of an arc hold the very area of its disc, so only the coordinate grid is left.
    assert mesh.volume == pytest.approx(exact.volume, rel=2e-5)
    low, high = mesh.bounds
    box = exact.bounding_box()
    assert low == pytest.approx(tuple(box.min), abs=1e-3)
    assert high == pytest.approx(tuple(box.max), abs=1e-3)


@pytest.mark.parametrize("stacking", [True, False])
def test_a_plain_tray_of_2_by_1(brep, stacking):
    shape = plain((4, 2), 40.0, stacking=stacking)
    exact = brep.tray(shape)
    assert exact.is_valid
    mesh = build(shape)
    assert mesh.volume == pytest.approx(exact.volume, rel=2e-5)
    assert mesh.area == pytest.approx(exact.area, rel=1e-3)
    assert mesh.bounds[1] - mesh.bounds[0] == pytest.approx(tuple(exact.bounding_box().size), abs=1e-3)


def test_the_plug(brep):
    _, shape = coupon_shapes(JOINT, 42.0, "C1")
    cell = (shape.cell, shape.cell)
    last = shape.foot_levels[-1]
    exact = brep.stack(cell, shape.corner_radius, (*shape.foot_levels, (last[0], shape.height)))
    assert build(shape).volume == pytest.approx(exact.volume, rel=1e-4)


def test_rings_are_textbook_rounded_rectangles():
    # rounded-rect-area and -perimeter: a 50, b 80, r 6.
    ring = rounded_rectangle(0.0, 0.0, 50.0, 80.0, 0.0, 6.0)
    assert signed_area(ring) == pytest.approx(3969.09733553, rel=1e-11)
    round_it = np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1).sum()
    # Facets of the same area go a little further round than the arc.
    assert round_it == pytest.approx(249.699111843, rel=5e-4)
    assert round_it > 249.699111843


def test_a_stack_of_rings_is_a_textbook_chamfer():
    # rounded-rect-chamfer: a = b = 50, r 6, inset 2 over 2 mm.
    def area(inset):
        return signed_area(rounded_rectangle(0.0, 0.0, 50.0, 50.0, inset, 6.0))

    volume = 2.0 * (area(0.0) + 4.0 * area(1.0) + area(2.0)) / 6.0
    assert volume == pytest.approx(4567.17402778, rel=1e-11)


@pytest.mark.parametrize(("count", "share"), NGONS.items())
def test_facets_cost_what_the_textbook_says(count, share):
    assert ngon(count) == pytest.approx(share, rel=1e-11)
    # cylinder-hole, 8.4 mm across and 3.2 mm deep: a hole's radius is grown so that its area is the circle's.
    assert signed_area(circle(0.0, 0.0, 8.4, count)) * 3.2 == pytest.approx(177.33662211, rel=1e-11)


def ngon(count):
    return count / (2.0 * pi) * sin(2.0 * pi / count)
