"""Tapered bodies, bundles and coils take the room that such things take."""

from itertools import pairwise
from math import pi

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.storage.poses import poses
from worker.layout.storage.row_pitch import row_pitch
from worker.spec.items.item import Item
from worker.spec.items.made_up_shape import Coil, Tapered, bundle_ratio
from worker.spec.items.shape import Cylinder, Prism

#: Diameter of the least circle around equal circles of diameter 1 (Graham, Lubachevsky, Nurmela and Ostergard, Discrete
#: Mathematics 181, 1998; from memory).
OPTIMA = {1: 1.0, 2: 2.0, 3: 2.1547, 4: 2.4142, 5: 2.7013, 6: 3.0, 7: 3.0, 8: 3.3048, 9: 3.6131, 10: 3.8130, 19: 4.8637}


@pytest.mark.parametrize(("rods", "optimum"), OPTIMA.items())
def test_a_bundle_is_as_thick_as_the_least_circle_or_a_little_thicker(rods, optimum):
    assert optimum - 1e-4 <= bundle_ratio(rods) <= 1.05 * optimum


@settings(max_examples=50, deadline=None)
@given(st.integers(2, 400))
def test_a_bundle_is_no_denser_than_circles_can_be(rods):
    # pi / sqrt(12) is the density of the densest packing of the plane (Thue, 1890, from memory)
    assert rods / bundle_ratio(rods) ** 2 <= pi / 12.0**0.5
    assert bundle_ratio(rods) >= bundle_ratio(rods - 1)


def test_a_bundle_of_seven_pencils_is_three_pencils_thick():
    bundle = item({"kind": "bundle", "diameter": 7.5, "length": 176, "rods": 7}).plain
    assert bundle == Cylinder(kind="cylinder", diameter=22.5, length=176)


@settings(max_examples=50, deadline=None)
@given(st.floats(1.0, 12.0), st.floats(500.0, 20_000.0), st.floats(60.0, 400.0))
def test_a_coil_holds_its_cable(cable, length, diameter):
    try:
        coil = Coil(kind="coil", cable=cable, length=length, diameter=diameter)
    except ValueError:
        return
    disc = coil.lying
    assert disc.diameter == diameter
    # the cable's volume is less than that of the ring that it fills (Pappus)
    ring = pi * (disc.length / 2.0 + 0.01) ** 2 * pi * (diameter - disc.length + 0.02)
    assert pi / 4.0 * cable**2 * length <= ring
    assert coil.turns * pi * (diameter - disc.length + 0.02) >= length
    assert 2.0 * disc.length <= diameter + 0.02


def test_a_mains_cable_of_two_metres_makes_a_disc():
    # 2 m of 7 mm at 140 mm: six turns, 3 cables thick, each of pi (140 - 21) = 374 mm; five have 1,902 mm
    disc = item({"kind": "coil", "cable": 7, "length": 2000, "diameter": 140}).plain
    assert disc == Cylinder(kind="cylinder", diameter=140, length=21)


@pytest.mark.parametrize("turns", [1, 2, 7, 399, 400])
def test_a_coil_has_as_many_turns_as_its_cable_needs(turns):
    # each turn takes the circle through the middle of the bundle
    length = turns * pi * (100.0 - bundle_ratio(turns) * 1.0)
    assert Coil(kind="coil", cable=1.0, diameter=100.0, length=length - 0.1).turns == turns
    if turns == 400:
        with pytest.raises(ValueError, match="diameter"):
            Coil(kind="coil", cable=1.0, diameter=100.0, length=length + 0.1)


@pytest.mark.parametrize(
    ("shape", "field"),
    [
        ({"kind": "coil", "cable": 12, "length": 20_000, "diameter": 60}, "diameter"),
        ({"kind": "tapered", "diameter": 20, "end_diameter": 30, "length": 80}, "end_diameter"),
        ({"kind": "bundle", "diameter": 7, "length": 176, "rods": 1}, "rods"),
    ],
)
def test_what_is_no_such_shape_is_refused(shape, field):
    with pytest.raises(ValueError, match=field):
        item(shape)


def test_a_tapered_body_stands_where_it_is_stable_and_lies_where_it_is_long():
    short = {"kind": "tapered", "diameter": 60, "end_diameter": 20, "length": 90}
    long = {**short, "length": 220}
    assert isinstance(item(short).plain, Cylinder)
    assert isinstance(item(long).plain, Prism)
    assert isinstance(item(long, pose="upright").plain, Cylinder)
    assert isinstance(item(long, storage="upright").plain, Cylinder)
    assert isinstance(item(short, pose="flat").plain, Prism)
    assert item({**short, "length": 90}, nest=12).nesting_step == 12


def item(shape, **fields):
    return Item.model_validate({"name": "thing", "shape": shape, **fields})


def cone(wide, end, length, *, turned):
    """Return a frustum that lies along y on its axis, its thick end in front, or behind if it is turned."""
    ends = (end, wide) if turned else (wide, end)
    solid = manifold3d.Manifold.cylinder(length, ends[0] / 2.0, ends[1] / 2.0, 128)
    return solid.rotate((-90.0, 0.0, 0.0)).translate((wide / 2.0, 0.0, wide / 2.0))


@settings(max_examples=30, deadline=None)
@given(st.floats(8.0, 60.0), st.just(0.0) | st.floats(0.02, 1.0), st.floats(2.0, 6.0))
def test_tapered_bodies_lie_head_to_tail_without_touching(wide, share, slender):
    body = Tapered(kind="tapered", diameter=wide, end_diameter=wide * share, length=wide * slender)
    pose = next(pose for pose in poses(body.lying) if pose.axis == "z" and pose.size[1] > body.length - 0.01)
    pitch = row_pitch(pose)
    places = np.cumsum([0.0, pitch.pitch, pitch.back or pitch.pitch, pitch.pitch])
    solids = [
        cone(wide, wide * share, body.length, turned=bool(pitch.back) and number % 2 == 1).translate((x, 0.0, 0.0))
        for number, x in enumerate(places.tolist())
    ]
    for left, right in pairwise(solids):
        assert left.min_gap(right, 5.0) > 0.0
    if share < 0.5:
        # head to tail each takes half the sum of both ends' diameters, and the air between two
        assert (pitch.pitch + pitch.back) / 2.0 < 0.95 * wide


def test_a_point_is_the_end_of_a_cone():
    lying = item({"kind": "tapered", "diameter": 20, "end_diameter": 0, "length": 100}).plain
    assert len(lying.points) == 3
    assert lying.height == 20
    assert lying.points[2] == (10, 100)
