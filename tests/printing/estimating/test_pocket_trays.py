"""What the filling around pockets costs to print: the reason for wells, and for nothing closed."""

from dataclasses import replace

import manifold3d
import pytest

from tests.layout.tray.test_tray_builder import circle, shape_of
from worker.printing.estimating.estimate import estimate
from worker.printing.estimating.process import Process
from worker.solids import build
from worker.solids.mesh import Mesh


@pytest.fixture(scope="module")
def cups():
    """Return the shape of a tray with two deep cups, wells around them."""
    return shape_of(pockets=[circle(x=35, y=40, diameter=40, depth=30), circle(x=88, y=40, diameter=40, depth=30)])


def filament(mesh):
    return estimate(mesh, Process()).volume


def test_wells_take_less_filament_and_time_than_a_solid_floor(cups):
    solid, walls = build(replace(cups, wells=())), build(cups)
    assert walls.volume < 2 / 3 * solid.volume
    assert filament(walls) < 0.85 * filament(solid)
    assert estimate(walls, Process()).time < 0.85 * estimate(solid, Process()).time


def test_closed_hollows_take_more_filament_than_the_infill_that_they_replace(cups):
    solid = build(replace(cups, wells=())).manifold()
    # cells of 12 mm between ribs of two lines, under a floor of 1.2 mm, where the wells would be
    (well,) = cups.wells
    flat = manifold3d.CrossSection([well.outline, *well.holes], manifold3d.FillRule.EvenOdd)
    cells = [
        manifold3d.CrossSection.square((12.0, 12.0)).translate((x * 12.88, y * 12.88))
        for x in range(10)
        for y in range(7)
    ]
    hollow = flat ^ manifold3d.CrossSection.batch_boolean(cells, manifold3d.OpType.Add)
    air = hollow.extrude(cups.fill_top - cups.floor_top - 1.2).translate((0.0, 0.0, cups.floor_top))
    assert air.volume() > 0.2 * solid.volume()
    assert filament(Mesh.of(solid - air)) > filament(Mesh.of(solid))
