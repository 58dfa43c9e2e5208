import itertools
import math

import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from worker.spec.drawer.joint import FIRST_LAYER_RELIEF, Joint, default_profile
from worker.spec.errors import JointError

_DEFAULT = ((1.8, 0.0), (1.8, 1.0), (1.2, 1.6), (1.2, 3.0))


def flat(levels):
    return [number for level in levels for number in level]


@st.composite
def _joints(draw):
    """Draw profiles downwards from a valid land; the rule on short pieces may still refuse one."""
    clearance, line_width = draw(st.floats(0.05, 1.0)), draw(st.floats(0.1, 1.0))
    pieces = draw(st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.02, 2.0)), min_size=1, max_size=6))
    assume(1.2 <= sum(rise for _, rise in pieces) <= 12.0)
    land = clearance + 2.0 * line_width + draw(st.floats(0.0, 3.0))
    points = [(land + sum(lean * rise for lean, rise in pieces), 0.0)]
    for lean, rise in pieces:
        points.append((points[-1][0] - lean * rise, points[-1][1] + rise))
    try:
        return Joint(tuple(points), clearance, line_width)
    except JointError as refused:
        assume("too short" not in refused.message)
        raise


@settings(max_examples=150)
@given(_joints())
@example(Joint(((1.500001, 0.0), (1.5, 1.0), (1.5, 2.0), (1.5, 3.0)), 0.5, 0.5))
def test_the_foot_keeps_exactly_the_clearance_to_the_socket(joint):
    socket, foot = shapely.LineString(joint.profile), shapely.LineString(joint.foot_levels())
    # both are rounded to a millionth, so their distance may be off by one and a bit
    assert socket.distance(foot) == pytest.approx(joint.clearance, abs=1.5e-6)
    # the relief takes material off both, so it can only widen the gap
    relieved = shapely.LineString(joint.socket_levels())
    assert relieved.distance(foot) >= joint.clearance - 1.5e-6


@settings(max_examples=150)
@given(_joints())
def test_the_foot_rises_without_overhang_to_the_trays_outer_face(joint):
    foot = joint.foot_levels()
    assert foot[0][1] == 0.0
    assert foot[-1] == pytest.approx((joint.body_inset, joint.foot_height))
    for (u0, z0), (u1, z1) in itertools.pairwise(foot):
        assert z1 > z0
        assert -1e-9 <= u0 - u1 <= z1 - z0 + 1e-9


@settings(max_examples=80)
@given(_joints())
def test_the_socket_leaves_two_lines_at_its_top_and_opens_upwards(joint):
    assert joint.land - joint.clearance >= 2.0 * joint.line_width - 1e-6
    levels = joint.socket_levels()
    assert (levels[0][1], levels[-1]) == (0.0, (joint.land, joint.height))
    insets = [inset for inset, _ in (levels[1:] if levels[0][0] < levels[1][0] else levels)]
    assert insets == sorted(insets, reverse=True)


@given(st.floats(0.05, 1.0), st.floats(0.1, 2.0))
def test_the_default_profile_suits_every_clearance_and_line(clearance, line_width):
    joint = Joint(default_profile(clearance, line_width), clearance, line_width)
    assert joint.height == pytest.approx(3.0)
    assert joint.land - clearance - 2.0 * line_width < 0.05 + 1e-6


def test_the_defaults_give_the_profile_of_the_notes():
    assert flat(default_profile(0.3, 0.44)) == pytest.approx(flat(_DEFAULT))
    joint = Joint(_DEFAULT, 0.3, 0.44)
    assert joint.foot_height == pytest.approx(4.3243, abs=1e-4)
    assert joint.land - joint.clearance == pytest.approx(0.9)


def test_every_bend_of_the_default_profile_lies_between_two_layers_of_a_fifth_of_a_millimetre():
    for _, z in Joint(default_profile(0.3, 0.44), 0.3, 0.44).profile:
        assert z / 0.2 == pytest.approx(round(z / 0.2))


def test_the_relief_is_a_45_degree_chamfer_on_both_sides():
    joint = Joint(_DEFAULT, 0.3, 0.44)
    assert joint.socket_levels()[:2] == ((1.8 - FIRST_LAYER_RELIEF, 0.0), (1.8, FIRST_LAYER_RELIEF))
    foot = flat(joint.foot_levels()[:2])
    assert foot == pytest.approx([2.1 + FIRST_LAYER_RELIEF, 0.0, 2.1, FIRST_LAYER_RELIEF])


def test_a_rim_is_the_profile_at_its_base():
    joint = Joint(_DEFAULT, 0.3, 0.44)
    assert joint.rim_levels(40.0) == tuple((inset, 40.0 + z) for inset, z in _DEFAULT)
    assert joint.rim_levels(40.0, 0.6)[0] == (1.8, 39.4)
    assert joint.rim_levels(40.0, 0.6)[1:] == joint.rim_levels(40.0)[1:]


@pytest.mark.parametrize("clearance", [0.05, 0.25, 0.3, 1.0])
def test_a_stacked_foot_settles_by_the_clearance_along_z(clearance):
    joint = Joint(default_profile(clearance, 0.44), clearance, 0.44)
    assert joint.settling == pytest.approx(clearance * math.sqrt(2.0), abs=0.0031)
    assert joint.settling < clearance * math.sqrt(2.0)
    assert joint.nesting_depth == joint.height + joint.settling


@pytest.mark.parametrize(
    ("profile", "pointer", "word"),
    [
        ([], "/grid/joint", "wrong number of points"),
        ([(2, 0)], "/grid/joint", "wrong number of points"),
        ([(2, 0.1 * z) for z in range(33)], "/grid/joint", "wrong number of points"),
        ([(2, 0.5), (2, 3)], "/grid/joint/0/1", "bottom"),
        ([(2, 0), (2, 2), (2, 1)], "/grid/joint/2/1", "rise"),
        ([(2, 0), (2, 0)], "/grid/joint/1/1", "rise"),
        ([(2, 0), (2.5, 1), (2, 3)], "/grid/joint/1/0", "narrows towards its top"),
        ([(3, 0), (3, 1), (1.5, 2.4), (1.5, 3)], "/grid/joint/2", "45 degrees"),
        ([(2, 0), (2, 13)], "/grid/joint/1/1", "too tall"),
        ([(2, 0), (2, 1.1)], "/grid/joint/1/1", "too low"),
        ([(1.5, 0), (1.5, 1), (1.0, 2)], "/grid/joint/2/0", "two line widths"),
        ([(2, 0), (0, 2)], "/grid/joint/1/0", "two line widths"),
        ([(3, 0), (2, 1), (1.98, 1.04), (1.98, 3)], "/grid/joint", "too short"),
    ],
)
def test_a_bad_profile_is_refused_at_its_point(profile, pointer, word):
    with pytest.raises(JointError, match=word) as caught:
        Joint(tuple(profile), 0.3, 0.44)
    assert caught.value.pointer == pointer
    assert caught.value.limit
