import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.storage.things import shapes, standard, thing
from worker.layout.storage.poses import longest, lying_poses, poses, thinnest, turned, volume

_modest = settings(max_examples=60, deadline=None)


@_modest
@given(shapes)
def test_poses_differ_and_have_the_same_three_sides(shape):
    plain = thing(shape, count=1).plain
    lying = poses(plain)
    assert len(set(lying)) == len(lying)
    sides = {tuple(sorted(pose.size)) for pose in lying}
    assert all(side == pytest.approx(other, abs=2e-3) for side, other in itertools.combinations(sides, 2))
    assert (thinnest(plain), longest(plain)) == pytest.approx((min(lying[0].size), max(lying[0].size)))
    for pose in lying:
        if pose.form != "prism":
            continue
        flat = Polygon(pose.outline)
        along = pose.size["xyz".index(pose.axis)]
        assert flat.exterior.is_ccw
        assert flat.bounds[:2] == (0.0, 0.0)
        assert flat.area * along == pytest.approx(volume(plain), rel=1e-3)


@_modest
@given(shapes)
def test_every_pose_has_one_turned_by_a_quarter(shape):
    sizes = [pose.size for pose in poses(thing(shape).plain)]
    for x, y, z in sizes:
        assert any((y, x, z) == pytest.approx(other, abs=2e-3) for other in sizes)


@_modest
@given(shapes)
def test_a_thing_lies_as_low_as_it_can(shape):
    every = poses(thing(shape).plain)
    assert {pose.size[2] for pose in lying_poses(every)} == {min(pose.size[2] for pose in every)}


@_modest
@given(shapes)
def test_a_pose_turned_four_times_is_the_same_again(shape):
    for pose in poses(thing(shape).plain):
        quarter = turned(pose)
        assert quarter.size == (pose.size[1], pose.size[0], pose.size[2])
        assert quarter.shadow == pytest.approx(pose.shadow, rel=1e-3)
        again = turned(turned(turned(quarter)))
        assert (again.size, again.axis) == (pose.size, pose.axis)
        if pose.outline:
            assert Polygon(again.outline).symmetric_difference(Polygon(pose.outline)).area < 0.05


def test_a_box_has_six_poses_and_a_cube_one():
    assert len(poses(thing({"kind": "box", "size": [10, 20, 30]}).plain)) == 6
    assert len(poses(thing({"kind": "box", "size": [10, 10, 30]}).plain)) == 3
    assert len(poses(thing({"kind": "box", "size": [10, 10, 10]}).plain)) == 1


def test_a_cell_lies_two_ways_and_stands_one():
    lying = poses(standard("battery-aa").plain)
    assert [(pose.axis, pose.size) for pose in lying] == [
        ("z", (14.5, 14.5, 50.5)),
        ("x", (50.5, 14.5, 14.5)),
        ("y", (14.5, 50.5, 14.5)),
    ]
    assert [pose.round_radius for pose in lying] == [7.25, 0.0, 0.0]


def test_a_screw_takes_the_room_of_its_head_and_whole_length():
    shape = standard("bolt-cap-m4", length=16).plain
    assert poses(shape)[0].size == (7.22, 7.22, 20.0)
    assert volume(shape) < 3.15 / 4 * 7.22**2 * 20.0


def test_an_angle_keeps_its_outline_when_it_is_turned():
    shape = {"kind": "polygon", "points": [[10, 5], [70, 5], [70, 25], [30, 25], [30, 55], [10, 55]], "height": 12}
    flat, *_ = poses(thing(shape).plain)
    assert flat.outline == ((0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50))
    assert flat.shadow == 60 * 20 + 20 * 30
    assert {pose.axis for pose in poses(thing(shape).plain)} == {"x", "y", "z"}


@given(st.floats(0.5, 80), st.floats(0.5, 80), st.floats(0.5, 80))
@settings(max_examples=40, deadline=None)
def test_a_boxs_shadows_are_its_faces(a, b, c):
    lying = poses(thing({"kind": "box", "size": [a, b, c]}).plain)
    assert {round(pose.shadow, 6) for pose in lying} == {round(x * y, 6) for x, y in ((a, b), (b, c), (a, c))}
