"""Solids against a boundary-representation kernel with true arcs and cones, and against textbook formulas.

The kernel's solids are drawn here from the words of the design (a cell's rounded square, its parallels, levels of inset
and height), with nothing of worker.solids. Formulas and values: shared/reference/geometry_worked_examples.json.
"""

import itertools
from math import pi, sin

import build123d as cad
import numpy as np
import pytest

from tests.solids.plate_shapes import JOINT, tile
from tests.solids.tray_shapes import plain
from worker.layout.coupon import coupon_shapes
from worker.solids import build
from worker.solids.ring import circle, rounded_rectangle, signed_area
from worker.spec.tolerances import QUARTER_FACETS

pytestmark = pytest.mark.outside

#: Rows ngon-8 to ngon-64: area of an inscribed polygon over its circle's.
NGONS = {8: 0.900316316157, 16: 0.974495358404, 24: 0.988615929465, 32: 0.993586851144, 48: 0.997146657350}


def slab(size, radius, lower, upper):
    """Return the solid between two parallels of a rounded rectangle: planes, cylinders and cones."""
    (u0, z0), (u1, z1) = lower, upper
    bottom, top = (
        cad.Plane.XY.offset(z) * cad.RectangleRounded(size[0] - 2.0 * u, size[1] - 2.0 * u, radius - u)
        for u, z in (lower, upper)
    )
    return cad.extrude(bottom, z1 - z0) if u0 == u1 else cad.loft([bottom, top], ruled=True)


def stack(size, radius, levels):
    """Return the solid between levels of inset and height, in the middle of x and y."""
    first, *rest = (slab(size, radius, lower, upper) for lower, upper in itertools.pairwise(levels))
    return first.fuse(*rest) if rest else first


def prism(outline, height):
    return cad.extrude(cad.make_face(cad.Polyline(*outline, close=True)), height)


def placed(solid, x, y):
    return cad.Location((x, y, 0.0)) * solid


@pytest.mark.parametrize("border", [(0.0, 0.0, 0.0, 0.0), (0.0, 3.0, 12.0, 6.5)])
def test_a_tile_of_3_by_3_with_tabs_recesses_and_a_window(border):
    shape = tile(3, 3, seam=True, border=border, windows=True)
    air = stack((42.0, 42.0), shape.corner_radius, shape.levels)
    cutters = [placed(air, s.x + s.width / 2.0, s.y + s.depth / 2.0) for s in shape.sockets]
    cutters += [prism(window, shape.height) for window in shape.windows]
    exact = prism(shape.outline, shape.height).cut(*cutters)
    assert exact.is_valid
    mesh = build(shape)
    assert mesh.volume == pytest.approx(exact.volume, rel=1e-3)
    # What differs is the sockets' corners: chords inscribed in their cones and cylinders; and the coordinate grid.
    count = 4 * QUARTER_FACETS
    lost = 1.0 - count / (2.0 * pi) * sin(2.0 * pi / count)
    discs = 0.0
    for (u0, z0), (u1, z1) in itertools.pairwise(shape.levels):
        a, b = shape.corner_radius - u0, shape.corner_radius - u1
        discs += pi * (z1 - z0) * (a * a + a * b + b * b) / 3.0  # frustum-cone
    assert mesh.volume - exact.volume == pytest.approx(9.0 * lost * discs, rel=0.03)
    low, high = mesh.bounds
    box = exact.bounding_box()
    assert low == pytest.approx(tuple(box.min), abs=1e-3)
    assert high == pytest.approx(tuple(box.max), abs=1e-3)


@pytest.mark.parametrize("stacking", [True, False])
def test_a_plain_tray_of_2_by_1(stacking):
    shape = plain((4, 2), 40.0, stacking=stacking)
    inset, wall, radius = shape.inset, shape.wall, shape.corner_radius
    size = (84.0, 42.0)
    foot = stack((42.0, 42.0), radius, shape.foot_levels)
    shoulder = shape.foot_levels[-1][1]
    body = slab(size, radius, (inset, shoulder), (inset, shape.height))
    inner = inset + wall
    if stacking:
        # The toe hangs over the thinner wall; the wall comes back to it at 45 degrees.
        toe, base = shape.rim_levels[0]
        room = [(inner, shape.floor_top), (inner, base - (toe - inner)), *shape.rim_levels]
    else:
        room = [(inner, shape.floor_top), (inner, shape.height)]
    exact = body.fuse(placed(foot, -21.0, 0.0), placed(foot, 21.0, 0.0)).cut(stack(size, radius, room))
    assert exact.is_valid
    mesh = build(shape)
    assert mesh.volume == pytest.approx(exact.volume, rel=1e-3)
    assert mesh.area == pytest.approx(exact.area, rel=1e-3)
    assert mesh.bounds[1] - mesh.bounds[0] == pytest.approx(tuple(exact.bounding_box().size), abs=1e-3)


def test_the_plug():
    _, shape = coupon_shapes(JOINT, 42.0, "C1")
    cell = (shape.cell, shape.cell)
    last = shape.foot_levels[-1]
    exact = stack(cell, shape.corner_radius, (*shape.foot_levels, (last[0], shape.height)))
    assert build(shape).volume == pytest.approx(exact.volume, rel=1e-3)


def test_rings_are_textbook_rounded_rectangles():
    # rounded-rect-area and -perimeter: a 41.5, b 83.5, r 3.75.
    ring = rounded_rectangle(0.0, 0.0, 41.5, 83.5, 0.0, 3.75)
    lost = (1.0 - ngon(4 * QUARTER_FACETS)) * pi * 3.75**2
    assert signed_area(ring) + lost == pytest.approx(3453.17864669, rel=1e-11)
    round_it = np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1).sum()
    # A quarter's chords are 2 r sin(pi / 4 n) each.
    chords = 8.0 * QUARTER_FACETS * 3.75 * sin(pi / (4.0 * QUARTER_FACETS))
    assert round_it - chords + 2.0 * pi * 3.75 == pytest.approx(243.561944902, rel=1e-11)


def test_a_stack_of_rings_is_a_textbook_chamfer():
    # rounded-rect-chamfer: a = b = 41.5, r 3.75, inset 2.15 over 2.15 mm; chords as above.
    def area(inset):
        return signed_area(rounded_rectangle(0.0, 0.0, 41.5, 41.5, inset, 3.75))

    volume = 2.15 * (area(0.0) + 4.0 * area(1.075) + area(2.15)) / 6.0
    cone = pi * 2.15 * (3.75**2 + 3.75 * 1.6 + 1.6**2) / 3.0
    assert volume + (1.0 - ngon(4 * QUARTER_FACETS)) * cone == pytest.approx(3318.50398719, rel=1e-11)


@pytest.mark.parametrize(("count", "share"), NGONS.items())
def test_facets_cost_what_the_textbook_says(count, share):
    assert ngon(count) == pytest.approx(share, rel=1e-11)
    # cylinder-hole, 6.5 mm across and 2.4 mm deep: a hole's radius is grown so that its area is the circle's.
    assert signed_area(circle(0.0, 0.0, 6.5, count)) * 2.4 == pytest.approx(79.6393737685, rel=1e-11)


def ngon(count):
    return count / (2.0 * pi) * sin(2.0 * pi / count)
