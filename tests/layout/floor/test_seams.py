import pytest
import shapely
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
    assert tab.square
    assert 1.76 <= 2 * tab.neck < 2.5
    assert 2.5 < tab.reach < 3.1
    assert tab.undercut > 0.7
    assert tab.play == pytest.approx(0.2)


LOBES = ("head", "plain", "flush")


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
    assert tab.undercut >= 0.1 - 1e-9
    if tab.square:
        assert min(tab.lip, tab.thickness, tab.neck - gap / 2) >= wall - 1e-6
    for low in LOBES:
        for high in LOBES:
            if "head" not in {low, high}:
                continue
            male, recess = Polygon(tab.male(low, high)), Polygon(tab.recess(low, high))
            assert male.is_valid
            assert recess.is_valid
            assert male.exterior.is_ccw
            assert recess.exterior.is_ccw
            for socket in sockets(joint):
                assert socket.distance(recess) >= wall
                assert socket.distance(male) >= 0.3
            # The same air all around: beyond the edge of its tile the recess is the tab grown by the gap, with mitred
            # corners, as shapely offsets it.
            beyond = shapely.box(gap / 2, -9, 9, 9)
            grown = male.buffer(gap, join_style="mitre", mitre_limit=9.0)
            assert recess.intersection(beyond).symmetric_difference(grown.intersection(beyond)).area < 1e-6


@given(st.sampled_from([0.1, 0.2, 0.3]), st.sampled_from(["low", "high"]), st.booleans())
def test_halves_of_a_tab_leave_the_gap_between_them(gap, half, loose):
    tab = fit_tab(JOINT, gap, loose=loose)
    whole = Polygon(tab.male("head", "head"))
    parts = [Polygon(tab.male("head", "head", side)) for side in ("low", "high")]
    assert parts[0].distance(parts[1]) == pytest.approx(gap)
    assert all(part.is_valid and part.within(whole.buffer(1e-9)) for part in parts)
    own = parts[half == "high"]
    _, low, _, high = own.bounds
    assert (low >= gap / 2 - 1e-9) if half == "high" else (high <= -gap / 2 + 1e-9)


@pytest.mark.parametrize(("low", "high"), [("head", "head"), ("head", "plain"), ("head", "flush")])
def test_key(low, high):
    tab = fit_tab(JOINT, 0.2, loose=True)
    assert tab is not None
    key = tab.key(JOINT.height - KEY_DROP, low, high)
    outline = Polygon(key.outline)
    assert outline.is_valid
    assert outline.exterior.is_ccw
    assert outline.bounds[:2] == (0.0, 0.0)
    assert key.outline[0] == min(key.outline)
    assert key.height == pytest.approx(2.8)
    # The tab and its mirror image about the seam.
    male = Polygon(tab.male(low, high)).intersection(shapely.box(0, -9, 9, 9))
    whole = shapely.union_all([male, shapely.affinity.scale(male, -1.0, 1.0, origin=(0.0, 0.0))])
    x, y, _, _ = whole.bounds
    assert outline.symmetric_difference(shapely.affinity.translate(whole, -x, -y)).area < 0.01
    _, _, width, _ = outline.bounds
    mirrored = [(width - x, y) for x, y in key.outline]
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
    assert tab.undercut > 0.5
    assert all(socket.distance(Polygon(tab.recess("head", "head"))) >= 0.88 for socket in sockets(joint))
