from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from worker.layout.floor.seams import KEY_DROP, fit_tab, narrowest, node_radius
from worker.solids.ring import rounded_rectangle
from worker.spec.drawer.joint import CORNER_RADIUS, Joint, default_profile
from worker.spec.tolerances import LINES_IN_A_WALL

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)


def sockets(joint):
    """The four sockets around a node, at the narrowest level."""
    inset = narrowest(joint)
    return [
        Polygon(rounded_rectangle(x, y, 42.0, 42.0, inset, CORNER_RADIUS)) for x in (-42.0, 0.0) for y in (-42.0, 0.0)
    ]


def test_node_of_the_default_joint():
    # sqrt(2) * 7 - 5.8 * 1.003682: the points of an arc lie further out, so that its area is the disc's.
    assert narrowest(JOINT) == pytest.approx(1.2)
    assert node_radius(JOINT) == pytest.approx(4.078137, abs=1e-6)


def test_default_tab():
    tab = fit_tab(JOINT, 0.2, loose=False)
    assert tab is not None
    assert 2.5 < 2 * tab.neck <= 3.0
    assert 4.0 < 2 * tab.head < 4.6
    assert 1.6 < tab.reach < 2.4
    assert tab.hold > 0.35


@given(
    st.floats(0.1, 0.5),
    st.floats(0.3, 0.7),
    st.floats(0.0, 0.6),
    st.floats(0.05, 0.4),
    st.booleans(),
)
def test_any_tab_leaves_two_lines_and_holds(clearance, line_width, more, gap, loose):
    land = clearance + 2 * line_width + more
    joint = Joint(((land + 0.6, 0.0), (land, 1.0), (land, 3.0)), clearance, line_width)
    tab = fit_tab(joint, gap, loose=loose)
    if tab is None:
        return
    wall = LINES_IN_A_WALL * line_width
    assert 2 * tab.neck >= wall - 1e-6
    assert tab.hold >= 0.1
    male, recess = Polygon(tab.male()), Polygon(tab.recess())
    for socket in sockets(joint):
        assert socket.distance(recess) >= wall
        assert socket.distance(male) >= 0.3
    # Even air: each flank and the head keep the gap, mouth and back corners by construction of the parallel.
    beyond = recess.intersection(Polygon([(gap / 2, -9), (9, -9), (9, 9), (gap / 2, 9)]))
    inner = beyond.exterior
    assert male.within(beyond.union(Polygon([(-9, -9), (gap / 2, -9), (gap / 2, 9), (-9, 9)])))
    for x, y in tab.recess()[1:5]:
        assert male.exterior.distance(Polygon([(x, y), (x + 1e-9, y), (x, y + 1e-9)])) >= gap - 1e-6
    assert inner.distance(Polygon([(tab.root, 0), (tab.reach, -1e-6), (tab.reach, 1e-6)])) <= gap + 1e-6
    # The air square to a flank.
    lean = (tab.head - tab.neck) / (tab.reach - tab.root)
    x = gap / 2.0
    flank = tab.neck + (x - tab.root) * lean
    assert (tab.mouth - flank) / hypot(1.0, lean) == pytest.approx(gap, abs=1e-9)


def test_key():
    tab = fit_tab(JOINT, 0.2, loose=True)
    assert tab is not None
    key = tab.key(JOINT.height - KEY_DROP)
    outline = Polygon(key.outline)
    assert outline.is_valid
    assert outline.exterior.is_ccw
    assert outline.bounds[:2] == (0.0, 0.0)
    assert key.outline[0] == min(key.outline)
    assert key.height == pytest.approx(2.8)
    # Its own mirror image, both ways.
    _, _, width, depth = outline.bounds
    for mirrored in ([(width - x, y) for x, y in key.outline], [(x, depth - y) for x, y in key.outline]):
        assert outline.symmetric_difference(Polygon(mirrored)).area < 1e-9


@pytest.mark.parametrize("loose", [False, True])
def test_no_tab_where_none_fits(loose):
    assert fit_tab(JOINT, 0.55, loose=loose) is None
    wide = Joint(default_profile(0.3, 1.6), 0.3, 1.6)
    assert fit_tab(wide, 0.3, loose=loose) is None


def test_wide_insets_leave_sharp_corners_and_room():
    """Past an inset of 6.6 the corners keep the least radius."""
    joint = Joint(((7.0, 0.0), (7.0, 3.0)), 0.3, 0.44)
    tab = fit_tab(joint, 0.2, loose=False)
    assert tab is not None
    assert tab.hold > 0.5
    assert all(socket.distance(Polygon(tab.recess())) >= 0.88 for socket in sockets(joint))
