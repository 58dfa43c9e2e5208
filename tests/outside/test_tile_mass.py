"""Common practice: an open base tile for a 256 mm bed is about 33 g in PLA (shared/design/findings.md)."""

import pytest
import shapely
from shapely.geometry import Polygon

from tests.layout.floor.test_floor_builder import floor_of
from tests.layout.floor.tile_checks import mass
from worker.solids.ring import rounded_rectangle

pytestmark = pytest.mark.outside


def test_a_tile_for_a_256_mm_bed_is_about_33_g():
    floor, _, _ = floor_of(shapely.box(0, 0, 252, 252), bed=256)
    (piece,) = floor.pieces
    assert len(piece.shape.sockets) == 36
    # Density of PLA 1.24 g/cm3, common practice.
    assert mass(piece.shape, density=1.24) == pytest.approx(33.0, rel=0.15)


def test_a_rounded_rectangle_by_its_textbook_formula():
    """The sockets' rings against a * b - (4 - pi) r^2, id rounded-rect-area of shared/reference: 3969.09733553 mm2."""

    ring = Polygon(rounded_rectangle(0.0, 0.0, 50.0, 80.0, 0.0, 6.0))
    assert ring.area == pytest.approx(3969.09733553, rel=1e-11)
