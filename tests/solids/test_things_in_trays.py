"""Things as solids in their poses, in the trays that were sized for them: nothing touches a wall."""

import itertools
from math import pi

import manifold3d
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import filled_trays, ground, grounds, shapes, standard, thing, things
from worker.layout.storage.sizing_rules import AIR
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Bulk
from worker.layout.tray.tray_builder import tray_shape
from worker.layout.tray.volume_estimate import foot_volume, printed_foot_volume
from worker.solids.tray import build_tray
from worker.spec.tolerances import CLEARANCE_SLACK, OVERSHOOT

#: Things rest on the floor: they are lifted off it by this to see whether anything else is touched.
_LIFT = 2.0 * OVERSHOOT
_modest = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def tray_of(option, ground):
    shape = tray_shape(
        option.tray(),
        joint=ground.joint,
        pitch=ground.pitch,
        line_width=ground.line_width,
        half_feet=option.half_feet,
        pointer="",
    )
    return shape, build_tray(shape).manifold()


def solid(placed):
    """The thing in its pose and place."""
    pose, (x, y, z) = placed.pose, placed.at
    along = pose.size["xyz".index(pose.axis)]
    if pose.form == "box":
        made = manifold3d.Manifold.cube(pose.size)
    else:
        if pose.form == "cylinder":
            radius = (pose.size[0], pose.size[1])["x" in pose.axis] / 2.0
            flat = manifold3d.CrossSection.circle(radius, 96).translate((radius, radius))
        else:
            flat = manifold3d.CrossSection([pose.outline])
        made = flat.extrude(along)
        turned = {
            "x": [[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0]],  # (u, v, w) to (y, z, x)
            "y": [[0, 1, 0, 0], [0, 0, 1, 0], [1, 0, 0, 0]],  # to (z, x, y)
        }
        if pose.axis in turned:
            made = made.transform(turned[pose.axis])
    low, high = made.bounding_box()[:3], made.bounding_box()[3:]
    assert low == pytest.approx((0.0, 0.0, 0.0), abs=1e-3)
    assert high == pytest.approx(pose.size, abs=0.02)
    return made.translate((x, y, z + _LIFT))


def heap(bulk, wall, floor):
    """The region of loose things, its edge rounded where the ramp is."""
    x, y, z = bulk.at
    made = manifold3d.Manifold.cube(bulk.size).translate((x, y, z + _LIFT))
    if bulk.ramp:
        radius = bulk.ramp
        box = manifold3d.Manifold.cube((1000.0, radius, radius)).translate((-500.0, wall, floor))
        round_ = manifold3d.Manifold.cylinder(1000.0, radius, radius, 256).rotate((0.0, 90.0, 0.0))
        made -= box - round_.translate((-500.0, wall + radius, floor + radius))
    return made


@_modest
@given(things(), grounds())
def test_no_thing_touches_a_wall_and_each_keeps_its_clearance(item, ground):
    for option in filled_trays([item], ground)[:4]:
        shape, tray = tray_of(option, ground)
        air = AIR if option.recess is None else POCKET_CLEARANCE
        over = tray.trim_by_plane((0.0, 0.0, 1.0), shape.floor_top + _LIFT / 2.0)
        placed = option.things()
        for stored in [*placed[:6], *placed[-6:]]:
            made = solid(stored)
            assert (made ^ tray).volume() == 0.0
            assert over.min_gap(made, 2.0 * air) >= air - CLEARANCE_SLACK
        for content in option.content:
            if isinstance(content, Bulk):
                made = heap(content, shape.wall, shape.floor_top)
                # the ramp's facets lie inside its arc
                assert (made ^ tray).volume() <= 0.02 * (content.ramp or 0.0) * content.size[0]


@_modest
@given(st.lists(shapes, min_size=2, max_size=4), st.integers(1, 12), st.booleans(), grounds())
def test_things_that_share_a_tray_touch_no_wall_and_no_other_thing(several, count, label, ground):
    kinds = [thing(shape, f"k{k}", count=count, group="m4", label=label) for k, shape in enumerate(several)]
    shared = [option for option in filled_trays(kinds, ground) if len(option.items) > 1]
    for option in [*shared[:2], *shared[-1:]]:
        shape, tray = tray_of(option, ground)
        solids = [solid(placed) for placed in option.things()]
        assert all((made ^ tray).volume() == 0.0 for made in solids[:12])
        assert all((made ^ other).volume() <= 1e-6 for made, other in itertools.pairwise(solids[:12]))
        for bulk in option.content:
            if isinstance(bulk, Bulk):
                made = heap(bulk, shape.wall, shape.floor_top)
                assert (made ^ tray).volume() <= 0.02 * (bulk.ramp or 0.0) * bulk.size[0]


@_modest
@given(things(), grounds())
def test_the_plastic_of_an_option_is_its_trays_volume(item, ground):
    for option in filled_trays([item], ground)[-1:]:
        _, tray = tray_of(option, ground)
        # the plastic of feet, which are printed hollow, is held to the estimate in tests/layout/storage
        side = ground.pitch / 2.0 if option.half_feet else ground.pitch
        feet = option.halves[0] * option.halves[1] / (1.0 if option.half_feet else 4.0)
        printed = printed_foot_volume(ground.joint, side, ground.line_width, option.floor)
        hollow = feet * (foot_volume(ground.joint, side) - printed)
        # clearances, roundings, the feet's relief and what is cut for a text are left out of the closed form
        assert option.plastic + hollow == pytest.approx(tray.volume(), rel=0.04)


def test_a_heap_of_the_counted_volume_is_in_the_tray():
    ramped = [option for option in filled_trays([standard("nut-m5", count=120)], ground()) if option.ramp]
    assert ramped
    for option in ramped:
        shape, _ = tray_of(option, ground())
        (bulk,) = option.content
        lost = (1.0 - pi / 4.0) * bulk.ramp**2 * bulk.size[0]
        # the region starts behind the wall, so that the ramp takes less of it than that
        whole = bulk.size[0] * bulk.size[1] * bulk.size[2]
        assert whole - lost <= heap(bulk, shape.wall, shape.floor_top).volume() < whole
