"""How much room poured things take, against published packings."""

from math import pi

import pytest

from worker.layout.storage.loose import FILL_FRACTION, bulk_volume, fill_fraction
from worker.spec.items.shape import Box, Cylinder, Screw

pytestmark = pytest.mark.outside

#: Random close packing of equal spheres: 0.64 (published many times since the 1960s; from memory).
CLOSE = 0.64
#: The loosest random packing of equal spheres that stands: 0.555 (Onoda and Liniger, Physical Review Letters 64, 1990;
#: from memory).
LOOSE = 0.555


def test_compact_things_are_taken_to_lie_as_loosely_as_they_can():
    assert FILL_FRACTION < CLOSE
    assert pytest.approx(LOOSE, abs=0.01) == FILL_FRACTION
    disc = Cylinder(kind="cylinder", diameter=10.0, length=10.0)
    assert fill_fraction(disc) == FILL_FRACTION


@pytest.mark.parametrize("aspect", [15.0, 20.0, 30.0, 50.0])
def test_rods_fill_as_philipse_measured(aspect):
    # Philipse, Langmuir 12, 1996: the fraction times the aspect ratio is 5.4 +- 0.2 for long rods (from memory)
    rod = Cylinder(kind="cylinder", diameter=2.0, length=2.0 * aspect)
    assert fill_fraction(rod) * aspect == pytest.approx(5.4, abs=0.2)


def test_a_box_full_of_spheres_would_hold_what_is_counted_at_most():
    # 1000 spheres of 10 mm, close packed at random, take 1000 pi/6 10^3 / 0.64; our cylinders' room is never less
    cubes = bulk_volume(Cylinder(kind="cylinder", diameter=10.0, length=10.0), 1000)
    assert cubes > 1000 * pi / 4 * 10.0**3 / CLOSE


def test_screws_take_more_room_than_their_metal():
    screw = Screw(kind="screw", head_diameter=7.22, head_height=4.0, diameter=4.0, length=16.0)
    metal = pi / 4 * (7.22**2 * 4.0 + 4.0**2 * 16.0)
    assert bulk_volume(screw, 100) > 100 * metal / FILL_FRACTION
    assert fill_fraction(Box(kind="box", size=(5.0, 5.0, 5.0))) == FILL_FRACTION
