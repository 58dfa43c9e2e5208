"""The coupon's ladder of clearances."""

import itertools
import math
from math import hypot

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.tray.coupon import clearance_name, clearances, coupon_shapes, coupon_size, plug_size
from worker.layout.tray.part_mark import text_size
from worker.spec.drawer.joint import Joint, Levels, default_profile
from worker.spec.tolerances import CLEARANCE_SLACK


def joint(clearance: float, line_width: float = 0.44) -> Joint:
    return Joint(default_profile(clearance, line_width), clearance, line_width)


def gap(foot: Levels, socket: Levels) -> float:
    """Least distance from the foot's corners to the socket's wall, both as polylines (inset, z)."""
    least = 1e9
    for u, z in foot:
        for (u0, z0), (u1, z1) in itertools.pairwise(socket):
            du, dz = u1 - u0, z1 - z0
            t = min(max(((u - u0) * du + (z - z0) * dz) / (du * du + dz * dz), 0.0), 1.0)
            least = min(least, hypot(u - u0 - t * du, z - z0 - t * dz))
    return least


def test_five_clearances_stand_about_the_grids_own() -> None:
    assert clearances(0.3) == (0.2, 0.25, 0.3, 0.35, 0.4)


def test_none_is_under_the_least() -> None:
    assert clearances(0.05) == (0.05, 0.1, 0.15, 0.2, 0.25)
    assert clearances(0.12) == (0.05, 0.1, 0.15, 0.2, 0.25)


@pytest.mark.parametrize(("value", "name"), [(0.25, ".25"), (0.3, ".30"), (1.05, "1.05"), (0.233, ".233")])
def test_a_clearance_is_named_as_short_as_it_can_be(value: float, name: str) -> None:
    assert clearance_name(value) == name


@given(st.floats(0.05, 0.8), st.floats(0.3, 0.8), st.sampled_from([30.0, 42.0, 60.0]))
@settings(max_examples=50, deadline=None)
def test_each_socket_keeps_its_own_clearance_to_the_plug(clearance: float, line_width: float, pitch: float) -> None:
    own = joint(clearance, line_width)
    coupon, plug = coupon_shapes(own, pitch, "C1")
    for named, levels in coupon.ladder:
        # Corners of a mitred parallel keep the distance or more; the relief at the bottom only adds air.
        assert gap(plug.foot_levels[2:-1], levels) == pytest.approx(named, abs=CLEARANCE_SLACK)
        assert min(inset for inset, _ in levels) >= 2 * line_width - 1e-9
    assert plug.foot_levels[-1][0] == pytest.approx(plug.inset)
    assert coupon.cell >= pitch / 2


def test_names_stand_on_the_lip_in_front_of_their_sockets() -> None:
    coupon, plug = coupon_shapes(joint(0.3), 42.0, "C1")
    *names, own = coupon.letterings
    assert [name.text for name in names] == [".20", ".25", ".30", ".35", ".40"]
    for index, name in enumerate(names):
        assert name.at == (21 * (index + 0.5), coupon.lip / 2)
        width, depth = text_size(name.text, name.cap_height)
        assert width < coupon.cell - 2
        assert depth < coupon.lip - 2
    assert (own.text, own.face) == ("C1", "bottom")
    assert 2 * own.depth < coupon.height
    assert coupon_size(coupon) == (105.0, 28.0, 3.0)
    assert plug_size(plug)[0] == pytest.approx(19.957, abs=0.001)


@given(st.floats(0.05, 1.0), st.sampled_from([0.44, 0.88]))
@settings(max_examples=50, deadline=None)
def test_the_plugs_shoulder_keeps_the_named_clearance_too(clearance: float, line_width: float) -> None:
    """The shoulder and the chamfer below it are two parallel lines at 45 degrees: their distance is the named one."""
    coupon, plug = coupon_shapes(joint(clearance, line_width), 42.0, "C1")
    (u0, z0), (u1, z1) = plug.foot_levels[-2:]
    assert z1 - z0 == pytest.approx(u0 - u1)
    for named, levels in coupon.ladder:
        u, z = levels[-1]
        shoulder_z = z0 + u0 - u
        assert (shoulder_z - z) / math.sqrt(2.0) == pytest.approx(named, abs=1e-6)
        assert levels[-2][0] - u == pytest.approx(z - levels[-2][1])


@given(st.floats(0.05, 1.0), st.floats(0.3, 0.9), st.sampled_from([30.0, 42.0, 60.0]))
@settings(max_examples=50, deadline=None)
def test_names_keep_clear_of_the_round_corners(clearance: float, line_width: float, pitch: float) -> None:
    coupon, _ = coupon_shapes(joint(round(clearance, 3), line_width), pitch, "C1")
    for index, (name, _) in enumerate(zip(coupon.letterings, coupon.ladder, strict=False)):
        width, _ = text_size(name.text, name.cap_height)
        assert name.at[0] - width / 2 >= index * coupon.cell + 2.9
        assert name.at[0] + width / 2 <= (index + 1) * coupon.cell - 2.9
