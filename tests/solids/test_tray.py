import dataclasses
import itertools

import manifold3d
import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from tests.solids.soundness import assert_sound
from tests.solids.tray_oracle import oracle
from tests.solids.tray_shapes import plain
from worker.layout.model.shapes import GripLip, InnerRamp, Ledge, Lettering, MagnetHoles, Pocket, Ramp, Wall, Well
from worker.layout.tray.grip_lips import EDGE
from worker.layout.tray.part_mark import tray_mark
from worker.layout.tray.tray_builder import tray_shape, tray_size
from worker.solids.lettering import cross_section
from worker.solids.shell import shell
from worker.solids.tray import build_tray, tray_genus
from worker.spec.drawer.joint import CORNER_RADIUS, Joint, default_profile
from worker.spec.drawer.tray import Tray
from worker.spec.errors import CheckFailed, TrayError
from worker.spec.tolerances import COORDINATE_GRID, VOLUME_RATIO

plain_trays = st.builds(
    plain,
    halves=st.tuples(st.integers(1, 3), st.integers(1, 3)).map(lambda cells: (2 * cells[0], 2 * cells[1])),
    height=st.floats(14.0, 90.0),
    stacking=st.booleans(),
    half_feet=st.booleans(),
    pitch=st.sampled_from([36.0, 42.0, 50.8]),
    joint=st.sampled_from([0.1, 0.3, 0.4]).map(lambda air: Joint(default_profile(air, 0.44), air, 0.44)),
    wall=st.sampled_from([0.88, 1.2, 1.55, 2.4, 4.0]),
)


@settings(max_examples=12, deadline=None)
@given(plain_trays)
def test_the_direct_tray_is_the_boolean_of_whole_solids(shape):
    mesh = build_tray(shape)
    assert_sound(mesh, tray_genus(shape))
    direct, expected = mesh.manifold(), oracle(shape)
    assert direct.genus() == expected.genus() == 0
    assert direct.volume() == pytest.approx(expected.volume(), rel=1e-7)
    assert (direct ^ expected).volume() == pytest.approx(expected.volume(), rel=1e-9)
    assert (direct - expected).volume() + (expected - direct).volume() < 1e-6
    low, high = mesh.bounds
    across, back = (halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves)
    assert low == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert high == pytest.approx([across, back, shape.height], abs=COORDINATE_GRID)


@pytest.mark.parametrize("halves", [(1, 1), (1, 2), (3, 5)])
def test_half_feet_stand_one_to_a_half_cell(halves):
    shape = plain(halves, 30.0, half_feet=True)
    mesh = build_tray(shape)
    assert_sound(mesh, 0)
    standing = mesh.manifold().slice(0.5).decompose()
    assert len(standing) == halves[0] * halves[1]


def test_a_foot_is_the_stack_of_its_levels():
    shape = plain((2, 2), 20.0, stacking=False)
    section = mesh_volume_below(build_tray(shape), shape.foot_levels[-1][1])
    # the facets of an arc enclose exactly the area of its disc
    assert section == pytest.approx(stack_volume(42.0, CORNER_RADIUS, shape.foot_levels), rel=2e-5)


def rounded_area(across, back, radius):
    """Return the area of a rectangle with rounded corners."""
    return across * back - (4.0 - np.pi) * radius**2


def stack_volume(side, radius, levels):
    """Return the volume of rounded squares inset by ``(inset, z)`` levels; Simpson's rule is exact for their area."""
    volume = 0.0
    for (u0, z0), (u1, z1) in itertools.pairwise(levels):
        low, middle, high = (
            rounded_area(side - 2.0 * u, side - 2.0 * u, radius - u) for u in (u0, (u0 + u1) / 2.0, u1)
        )
        volume += (z1 - z0) * (low + 4.0 * middle + high) / 6.0
    return volume


def fillet_volume(radius, length):
    """Return the volume of a concave quarter round."""
    return (1.0 - np.pi / 4.0) * radius**2 * length


def mesh_volume_below(mesh, z):
    return mesh.manifold().trim_by_plane((0.0, 0.0, -1.0), -z).volume()


def test_the_closed_forms_of_these_tests_give_the_reference_values():
    """Rows rounded-rect-area, rounded-rect-chamfer and fillet-quarter of geometry_worked_examples.json."""
    assert rounded_area(50.0, 80.0, 6.0) == pytest.approx(3969.09733553, rel=1e-11)
    assert stack_volume(50.0, 6.0, ((0.0, 0.0), (2.0, 2.0))) == pytest.approx(4567.17402778, rel=1e-11)
    assert fillet_volume(2.5, 100.0) == pytest.approx(134.126147877, rel=1e-11)


def test_building_twice_gives_the_same_bytes():
    shape = plain((4, 2), 33.0)
    first, second = build_tray(shape), build_tray(dataclasses.replace(shape))
    assert first.vertices.tobytes() == second.vertices.tobytes()
    assert first.triangles.tobytes() == second.triangles.tobytes()


# --- features, one by one


def added(**changes):
    """Return the volume that features add to a plain tray, checked to be sound and to stay inside its outer faces."""
    base = changes.pop("base", {})
    bare, shape = plain(**base), plain(**base, **changes)
    mesh = build_tray(shape)
    assert_sound(mesh, tray_genus(shape))
    assert (mesh.manifold() - filled(bare)).volume() < 1e-3
    return mesh.volume - build_tray(bare).volume


def filled(shape):
    """Return the plain tray with its room full: whatever is added lies in it."""
    return shell(dataclasses.replace(shape, rim_levels=None, fill_top=shape.height - 1e-3)).manifold()


def test_a_divider_is_a_wall_across_the_room():
    # 83.4 - 2.4 = 81.0 mm between the walls, from the floor at 5.524 to 50.
    assert added(walls=(Wall("x", 50.0, 1.2, 50.0),)) == pytest.approx(81.0 * 1.2 * (50.0 - 5.524), rel=1e-6)


def test_crossing_dividers_share_their_crossing():
    walls = (Wall("x", 50.0, 1.2, 50.0), Wall("x", 80.0, 1.6, 30.0), Wall("y", 40.0, 1.2, 50.0))
    high, low = 50.0 - 5.524, 30.0 - 5.524
    expected = 81.0 * (1.2 * high + 1.6 * low) + 123.0 * 1.2 * high - 1.2 * 1.2 * high - 1.2 * 1.6 * low
    assert added(walls=walls) == pytest.approx(expected, rel=1e-6)


def test_dividers_that_end_at_another_are_no_longer_than_that():
    # at 40 a wall crosses: one in front of it, one behind it a little further right, and none where they stop
    cross, high = Wall("y", 40.0, 1.2, 50.0), 50.0 - 5.524
    walls = (Wall("x", 50.0, 1.2, 50.0, (1.2, 40.0)), Wall("x", 50.3, 1.2, 50.0, (40.0, 82.2)), cross)
    expected = 123.0 * 1.2 * high + (81.0 - 1.2) * 1.2 * high
    assert added(walls=walls) == pytest.approx(expected, rel=1e-6)
    shape = plain(walls=(walls[0], cross))
    solid = build_tray(shape).manifold()
    box = manifold3d.Manifold.cube((40.0, 30.0, 20.0), center=True).translate((50.0, 60.0, 30.0))
    assert (solid ^ box).volume() == 0.0
    assert added(walls=walls[::2]) == pytest.approx((123.0 + 38.8 - 0.6) * 1.2 * high, rel=1e-6)


def test_a_divider_that_ends_beside_the_rim_joins_it():
    assert added(walls=(Wall("x", 50.0, 1.2, 56.8),)) < 81.0 * 1.2 * (56.8 - 5.524)


def lost_in_corners(height):
    """What the room's two rounded corners take of a body along a wall, ``height(t)`` tall at t from the wall."""
    corner = CORNER_RADIUS - 0.3 - 1.2
    t = np.linspace(0.0, corner, 2001)
    return 2.0 * np.trapezoid(height(t) * (corner - np.sqrt(corner**2 - (corner - t) ** 2)), t)


def test_a_finger_ramp_is_a_concave_quarter_round():
    volume = added(ramp=Ramp(12.0))
    lost = lost_in_corners(lambda t: 12.0 - np.sqrt(12.0**2 - (12.0 - t) ** 2))
    expected = fillet_volume(12.0, 123.0) - lost
    # Sixteen chords over the arc add 0.16 % of a quarter circle.
    assert volume == pytest.approx(expected, rel=8e-3)


@settings(max_examples=20, deadline=None)
@given(st.floats(4.0, 25.0))
def test_a_ramp_is_round_from_the_floor_to_the_wall(radius):
    """The oracle is the circle: chords of sixteen facets come 1.2 thousandths of the radius nearer to its middle."""
    shape = plain((4, 4), 60.0, ramp=Ramp(radius))
    section = build_tray(shape).manifold().trim_by_plane((1.0, 0.0, 0.0), 40.0).trim_by_plane((-1.0, 0.0, 0.0), -41.0)
    middle = shape.wall + radius, shape.fill_top + radius
    for angle in np.linspace(np.pi, 1.5 * np.pi, 40)[1:-1]:
        y = float(middle[0] + radius * np.cos(angle))
        rod = manifold3d.Manifold.cube((0.5, 1e-3, middle[1] - 0.5)).translate((40.2, y, 0.5))
        reached = np.hypot(y - middle[0], (section ^ rod).bounding_box()[5] - middle[1])
        assert 0.9987 * radius - 2e-3 <= reached <= radius + 2e-3


def test_a_ramp_is_open_to_a_finger():
    shape = plain(ramp=Ramp(12.0))
    solid = build_tray(shape).manifold()
    ball = manifold3d.Manifold.sphere(11.9, 48).translate((60.0, 1.2 + 12.0, shape.floor_top + 12.0))
    assert (solid ^ ball).volume() < 1e-6


@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("far", [False, True])
def test_a_grip_is_a_lip_on_45_degrees_where_it_is_said_to_be(axis, far):
    grip = GripLip(axis, far, start=30.0, end=50.0, depth=6.0, top=35.0)
    assert added(grips=(grip,)) == pytest.approx(20.0 * (6.0 * EDGE + 6.0**2 / 2.0), rel=1e-6)
    shape = plain(grips=(grip,))
    lip = build_tray(shape).manifold() - build_tray(plain()).manifold()
    low, high = np.array(lip.bounding_box()).reshape(2, 3)
    across, along = (0, 1) if axis == "x" else (1, 0)
    assert (low[along], high[along]) == pytest.approx((30.0, 50.0), abs=1e-3)
    face = tray_size(shape)[across] - shape.wall if far else shape.wall
    assert (high if not far else low)[across] == pytest.approx(face + (-6.0 if far else 6.0), abs=1e-3)
    assert (low if not far else high)[across] == pytest.approx(face, abs=1e-3)
    assert (low[2], high[2]) == pytest.approx((35.0 - EDGE - 6.0, 35.0), abs=1e-3)
    # the lip is as deep at its foot as the underside has risen
    foot = lip.trim_by_plane((0.0, 0.0, -1.0), -(35.0 - EDGE - 3.0))
    assert foot.volume() == pytest.approx(20.0 * 3.0**2 / 2.0, rel=1e-3)


def test_a_label_ledge_slopes_and_stands_on_45_degrees():
    # Section: the slope's triangle, the edge's rectangle, the 45-degree triangle below it.
    section = 12.0 * 3.0 / 2.0 + 12.0 * 1.2 + 12.0 * 12.0 / 2.0
    lost = lost_in_corners(lambda t: 3.0 * (1.0 - t / 12.0) + 1.2 + 12.0 - t)
    assert added(ledge=Ledge(12.0, 56.0, 3.0)) == pytest.approx(section * 123.0 - lost, rel=0.002)


def test_a_steep_ledge_stays_under_a_straight_rim():
    shape = plain(stacking=False, ledge=Ledge(12.0, 59.8, 12.0))
    assert build_tray(shape).bounds[1][2] == pytest.approx(60.0)


def test_dividers_leave_the_ledge_to_its_label():
    ledge = Ledge(12.0, 56.8, 3.0)
    mesh = build_tray(plain(ledge=ledge, walls=(Wall("x", 62.75, 1.2, 56.8),)))
    assert_sound(mesh, 0)
    divider = mesh.manifold() - build_tray(plain(ledge=ledge)).manifold()
    over = manifold3d.Manifold.cube((60.0, 12.0, 6.0)).translate((30.0, 70.35, 53.5))
    assert divider.volume() > 1000.0
    assert (divider ^ over).volume() < 1e-3


def test_magnets_are_round_recesses_of_their_own_volume():
    # 177.33662211: row cylinder-hole of geometry_worked_examples.json, pi d^2 h / 4.
    volume = added(magnets=MagnetHoles(8.4, 3.2, ((20.0, 20.0), (62.0, 20.0))))
    assert volume == pytest.approx(-2.0 * 177.33662211, rel=1e-4)


def test_a_pocket_is_cut_with_a_chamfer():
    ring = ((30.0, 20.0), (60.0, 20.0), (60.0, 50.0), (30.0, 50.0))
    full = plain(fill_top=25.524)
    cut = plain(fill_top=25.524, pockets=(Pocket(ring, 10.524, 0.4),))
    mesh = build_tray(cut)
    assert_sound(mesh, 0)
    # A frustum's sides stand out by 0.4 mm over 0.4 mm: four prisms and four corner pyramids.
    chamfer = 120.0 * 0.4 * 0.4 / 2.0 + 4.0 * 0.4**3 / 3.0
    assert build_tray(full).volume - mesh.volume == pytest.approx(30.0 * 30.0 * 15.0 + chamfer, rel=1e-6)


def test_a_pocket_and_its_notch_are_one_recess():
    ring = ((40.0, 30.0), (50.0, 30.0), (50.0, 60.0), (40.0, 60.0))
    notch = ((25.0, 40.0), (65.0, 40.0), (65.0, 50.0), (25.0, 50.0))
    cut = plain(fill_top=25.524, pockets=(Pocket(ring, 15.524, 0.0, (notch,)),))
    mesh = build_tray(cut)
    assert_sound(mesh, 0)
    area = 10.0 * 30.0 + 40.0 * 10.0 - 10.0 * 10.0
    assert build_tray(plain(fill_top=25.524)).volume - mesh.volume == pytest.approx(area * 10.0, rel=1e-6)


def test_a_pocket_its_neighbour_and_their_slot_are_one_recess():
    first, other = ((((x, 20.0), (x + 10.0, 20.0), (x + 10.0, 60.0), (x, 60.0))) for x in (40.0, 65.0))
    slot = ((25.0, 35.0), (90.0, 35.0), (90.0, 45.0), (25.0, 45.0))
    cut = plain(fill_top=25.524, pockets=(Pocket(first, 15.524, 0.0, (slot,), (other,)),))
    mesh = build_tray(cut)
    assert_sound(mesh, 0)
    area = 2.0 * 10.0 * 40.0 + 65.0 * 10.0 - 2.0 * 10.0 * 10.0
    assert build_tray(plain(fill_top=25.524)).volume - mesh.volume == pytest.approx(area * 10.0, rel=1e-6)


def test_a_well_goes_down_to_the_floor_and_leaves_what_stands_in_it():
    outline = ((10.0, 10.0), (110.0, 10.0), (110.0, 70.0), (10.0, 70.0))
    hole = ((30.0, 20.0), (30.0, 50.0), (60.0, 50.0), (60.0, 20.0))
    pocket = Pocket(((32.0, 22.0), (58.0, 22.0), (58.0, 48.0), (32.0, 48.0)), 15.524, 0.0)
    full = plain(fill_top=25.524)
    mesh = build_tray(plain(fill_top=25.524, pockets=(pocket,), wells=(Well(outline, (hole,)),)))
    assert_sound(mesh, 0)
    taken = (100.0 * 60.0 - 30.0 * 30.0) * (25.524 - full.floor_top) + 26.0 * 26.0 * 10.0
    assert build_tray(full).volume - mesh.volume == pytest.approx(taken, rel=1e-6)


@pytest.mark.parametrize(
    ("face", "at", "raised"),
    [
        ("front", (62.75, 30.0), False),
        ("floor", (62.75, 40.0), False),
        ("floor", (62.75, 40.0), True),
        ("bottom", (20.75, 20.75), False),
        ("ledge", (62.75, 6.0), False),
        ("ledge", (62.75, 6.0), True),
    ],
)
def test_text_adds_or_takes_its_area_times_its_depth(face, at, raised):
    base = {"ledge": Ledge(12.0, 56.0, 3.0)} if face == "ledge" else {}
    lettering = Lettering("A8g", face, at, 5.0, 0.36, raised)
    volume = added(base=base, letterings=(lettering,))
    area = cross_section(lettering).area()
    # Rounding moves the ledge's slope by 0.2 um on average, over its 1500 mm2.
    assert volume == pytest.approx(area * 0.36 * (1.0 if raised else -1.0), abs=0.5 if face == "ledge" else 0.03)


@pytest.mark.parametrize(
    ("face", "at", "normal", "across"),
    [
        ("front", (62.75, 30.0), (0.0, -0.2, 0.0), (1.0, 0.0, 0.0)),
        ("bottom", (20.75, 20.75), (0.0, 0.0, -0.2), (-1.0, 0.0, 0.0)),
        ("floor", (62.75, 40.0), (0.0, 0.0, 0.2), (1.0, 0.0, 0.0)),
    ],
)
def test_text_reads_from_its_face(face, at, normal, across):
    # In "L" the stem is on the left: seen from outside, most of the ink lies on the near side of ``across``.
    shape = plain(letterings=(Lettering("L", face, at, 6.0, 0.36),))
    cut = build_tray(plain()).manifold() - build_tray(shape).manifold()
    points = cut.to_mesh64().vert_properties[:, :3]
    low = points[np.argsort(points @ np.array(across))]
    up = np.array((0.0, 1.0, 0.0)) if face in ("bottom", "floor") else np.array((0.0, 0.0, 1.0))
    # The far end of the foot is low, the stem on the near end is high.
    near, far = low[: len(low) // 3], low[-len(low) // 3 :]
    assert (near @ up).max() > (far @ up).max() + 2.0
    assert np.dot(np.cross(across, up), normal) > 0.0


# --- whole trays, through the layout's rules

_text = st.fixed_dictionaries(
    {
        "text": st.sampled_from(["M3", "O8 %", "nägel", "Bits & co"]),
        "face": st.sampled_from(["front", "floor"]),
        "style": st.sampled_from(["raised", "engraved"]),
    }
)
_pocket = st.one_of(
    st.fixed_dictionaries(
        {
            "shape": st.just("circle"),
            "at": st.tuples(st.floats(10, 110), st.floats(10, 70)),
            "diameter": st.floats(3, 30),
            "depth": st.floats(1, 15),
            "notch": st.sampled_from([None, {"width": 10}]),
        }
    ),
    st.fixed_dictionaries(
        {
            "shape": st.just("rectangle"),
            "at": st.tuples(st.floats(5, 80), st.floats(5, 50)),
            "size": st.tuples(st.floats(3, 30), st.floats(3, 30)),
            "depth": st.floats(1, 15),
        }
    ),
)
_body = {
    "name": st.just("any"),
    "height": st.floats(18, 80),
    "rim": st.sampled_from(["stacking", "straight"]),
    "wall": st.sampled_from([0.88, 1.2, 1.7, 2.4]),
    "floor": st.sampled_from([0.8, 1.2, 2.0]),
    "magnets": st.sampled_from(
        [
            None,
            {"diameter": 8.2, "depth": 3.2},
            {"diameter": 6, "depth": 2, "per_cell": True},
            {"diameter": 2, "depth": 1},
        ]
    ),
}
_sides = st.sampled_from([0.5, 1, 1, 2, 2, 3])
_divided = st.fixed_dictionaries(
    _body
    | {
        "cells": st.tuples(_sides, _sides),
        "finger_ramp": st.sampled_from([None, True, {"radius": 5}, {"radius": 5, "rows": "all"}]),
        "label_ledge": st.sampled_from([None, True, {"depth": 7, "drop": 6.5}, {"depth": 6, "drop": 0}]),
        "text": st.one_of(st.none(), _text),
    },
    optional={
        "dividers": st.lists(
            st.fixed_dictionaries(
                {
                    "axis": st.sampled_from("xy"),
                    "at": st.floats(4, 60),
                    "height": st.one_of(st.none(), st.floats(3, 30)),
                }
            ),
            max_size=4,
        ),
    },
)
_banded = _divided.flatmap(
    lambda fields: st.lists(st.tuples(st.floats(4, 60), st.booleans()), max_size=4).map(
        lambda inner: {
            **fields,
            "cells": (2, 2),
            "wall": 1.2,
            "dividers": [
                {"axis": "y", "at": 35.0},
                *({"axis": "x", "at": at, "span": (35.0, 81.0) if back else (0.0, 35.0)} for at, back in inner),
            ],
        }
    )
)
_compartments = _divided.flatmap(
    lambda fields: st.tuples(st.integers(1, 4), st.integers(1, 4)).map(
        lambda rooms: {**fields, "dividers": [], "compartments": rooms}
    )
)
_pocketed = st.fixed_dictionaries(
    _body
    | {
        "cells": st.just((3, 2)),
        "pockets": st.lists(_pocket, min_size=1, max_size=3),
        "filling": st.sampled_from([None, "solid", "walls", "walls"]),
    }
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(st.one_of(_divided, _compartments, _banded, _pocketed), st.sampled_from([0.1, 0.3, 0.4]), st.booleans())
def test_any_tray_that_the_rules_let_through_can_be_built(fields, air, half_feet):
    joint = Joint(default_profile(air, 0.44), air, 0.44)
    try:
        tray = Tray.model_validate(fields)
        shape = tray_shape(tray, joint=joint, pitch=42.0, line_width=0.44, half_feet=half_feet, pointer="/trays/0")
    except (TrayError, ValidationError):
        reject()
    mark = tray_mark(shape, "T12", line_width=0.44)
    if mark is not None:
        shape = dataclasses.replace(shape, letterings=(*shape.letterings, mark))
    mesh = build_tray(shape)
    assert_sound(mesh, tray_genus(shape))
    assert mesh.bounds[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert mesh.bounds[1] == pytest.approx(tray_size(shape), abs=COORDINATE_GRID)
    assert (mesh.manifold() - filled(shape)).volume() < VOLUME_RATIO * mesh.volume


def test_a_tray_with_a_tunnel_is_not_handed_on():
    # Text cut under a divider leaves a way through: the layout keeps them apart, and the build notices.
    shape = plain(walls=(Wall("x", 62.75, 1.2, 50.0),), letterings=(Lettering("H", "floor", (62.75, 40.0), 8.0),))
    with pytest.raises(CheckFailed, match="hole"):
        build_tray(shape)


def test_ramps_behind_dividers_are_quarter_rounds_as_long_as_these():
    inner = InnerRamp(at=31.0, start=1.2, end=41.0)
    wall = Wall("y", 30.4, 1.2, 20.0, (1.2, 41.0))
    across = Wall("x", 41.0, 1.2, 20.0)
    less = added(walls=(across, wall), ramp=Ramp(8.0))
    more = added(walls=(across, wall), ramp=Ramp(8.0, (inner,)))
    # a square less a quarter circle, up to the divider that it ends at, whose half thickness it shares
    assert more - less == pytest.approx(fillet_volume(8.0, 41.0 - 0.6 - 1.2), rel=0.02)


def test_dividers_leave_air_before_the_ledge():
    """A label slides in over the ledge: a divider higher than its front edge ends 0.4 mm before it."""
    shape = plain(walls=(Wall("x", 60.0, 1.2, 56.0),), ledge=Ledge(12.0, 56.0, 3.0))
    solid = build_tray(shape).manifold()
    edge = 84.0 - 2.0 * 0.3 - 1.2 - 12.0

    def plastic(start, end, low, high):
        probe = manifold3d.Manifold.cube((1.0, end - start, high - low)).translate((59.5, start, low))
        return (solid ^ probe).volume() / ((end - start) * (high - low))

    assert plastic(edge - 0.39, edge - 0.01, 53.01, 55.99) == pytest.approx(0.0, abs=1e-9)
    assert plastic(edge - 0.8, edge - 0.41, 53.01, 55.99) == pytest.approx(1.0)
    # below the ledge's front edge it reaches the back wall
    assert plastic(edge - 0.39, edge + 11.0, 10.0, 30.0) == pytest.approx(1.0)


def test_the_roof_over_a_wide_magnet_narrows_at_45_degrees():
    straight = added(magnets=MagnetHoles(14.0, 2.0, ((20.7, 20.7),)))
    narrowed = added(magnets=MagnetHoles(14.0, 2.0, ((20.7, 20.7),), taper=2.0))
    # a truncated cone: pi h / 3 (R^2 + R r + r^2), with radii of 7 and 5 mm
    assert straight - narrowed == pytest.approx(np.pi * 2.0 / 3.0 * (49.0 + 35.0 + 25.0), rel=2e-3)
