"""From what a camera sees to the thing: on solids whose outline from the camera is computed, not photographed."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.silhouettes.photo.parallax import containing, corrected, union_over_heights, unseen_flanks

_NADIR = st.tuples(st.floats(-150.0, 150.0), st.floats(-150.0, 150.0)).map(np.array)


def _seen(sections, nadir, height):
    """Return what sections ``(outline, z)`` hide of the sheet; between two of the same outline all heights count."""
    shadows = [
        shapely.affinity.scale(section, height / (height - z), height / (height - z), origin=tuple(nadir))
        for section, z in sections
    ]
    return shapely.union_all(shadows)


def _prism(section, thickness):
    return [(section, z) for z in np.linspace(0.0, thickness, 60)]


@st.composite
def polygons(draw):
    angles = sorted(draw(st.lists(st.integers(0, 359), min_size=5, max_size=12, unique=True)))
    radii = draw(st.lists(st.floats(12.0, 40.0), min_size=len(angles), max_size=len(angles)))
    points = [(r * np.cos(np.radians(a)), r * np.sin(np.radians(a))) for a, r in zip(angles, radii, strict=True)]
    shape = shapely.Polygon(points).buffer(1.0)
    return shape if isinstance(shape, shapely.Polygon) else shape.convex_hull


@settings(max_examples=15, deadline=None)
@given(polygons(), polygons(), _NADIR, st.floats(350.0, 700.0), st.floats(2.0, 40.0))
def test_the_union_takes_a_thing_of_any_sides(foot, top, nadir, height, thickness):
    low, high = _prism(foot, 0.3 * thickness), _prism(top, thickness)
    above = foot | top
    seen = _seen([*low, *high], nadir, height)
    if not isinstance(seen, shapely.Polygon):
        return
    union = union_over_heights(seen, nadir, height, thickness)
    assert (above - union.buffer(0.05)).is_empty


@settings(max_examples=30, deadline=None)
@given(polygons(), _NADIR, st.floats(350.0, 700.0), st.floats(2.0, 40.0))
def test_a_prism_is_recovered(section, nadir, height, thickness):
    section = section.convex_hull
    seen = _seen(_prism(section, thickness), nadir, height)
    likely = corrected(seen, nadir, height, thickness, "flat")
    assert likely.hausdorff_distance(section) < 0.2 + 0.01 * thickness
    safe = containing(seen, nadir, height, thickness, "flat")
    assert (section - safe.buffer(0.02)).is_empty
    assert (safe - union_over_heights(seen, nadir, height, thickness).buffer(0.05)).is_empty


@settings(max_examples=30, deadline=None)
@given(polygons(), _NADIR, st.floats(350.0, 700.0), st.floats(2.0, 40.0))
def test_a_prism_whose_sides_are_not_seen_to_their_foot_is_taken(section, nadir, height, thickness):
    seen = _seen([(section, z) for z in np.linspace(0.38 * thickness, thickness, 60)], nadir, height)
    if not isinstance(seen, shapely.Polygon):
        return
    safe = containing(seen, nadir, height, thickness, "flat")
    assert (section - safe.buffer(0.02)).is_empty


@settings(max_examples=30, deadline=None)
@given(polygons(), _NADIR, st.floats(350.0, 700.0), st.floats(2.0, 40.0), st.floats(0.98, 1.02))
def test_a_prism_with_rounded_edges_is_taken_from_a_height_known_roughly(section, nadir, height, thickness, factor):
    """Edges are quarter circles of a tenth of the thickness, as sections computed from Pythagoras."""
    radius = 0.1 * thickness
    rises = np.linspace(0.0, radius, 12)
    edge = [section.buffer(np.sqrt(radius**2 - (radius - rise) ** 2) - radius) for rise in rises]
    foot, top = list(zip(edge, rises, strict=True)), list(zip(edge, thickness - rises, strict=True))
    sides = [(section, z) for z in np.linspace(radius, thickness - radius, 60)]
    seen = _seen([*foot, *sides, *top], nadir, height)
    if not isinstance(seen, shapely.Polygon):
        return
    safe = containing(seen, nadir, factor * height, thickness, "flat")
    assert (section - safe.buffer(0.05)).is_empty


@settings(max_examples=30, deadline=None)
@given(st.floats(4.0, 20.0), _NADIR, st.floats(450.0, 700.0))
def test_a_ball_is_recovered_to_a_share_of_its_lean(radius, nadir, height):
    # sections of a ball, each a disc
    heights = np.linspace(0.0, 2.0 * radius, 120)
    discs = [(shapely.Point(0, 0).buffer(max(np.sqrt(max(radius**2 - (z - radius) ** 2, 0.0)), 1e-3), 64), z)
             for z in heights]  # fmt: skip
    seen = _seen(discs, nadir, height)
    ball = shapely.Point(0, 0).buffer(radius, 64)
    likely = corrected(seen, nadir, height, 2.0 * radius, "round")
    lean = np.linalg.norm(nadir) / height
    # a line of sight at an angle touches a ball above its middle: longer by the cosine of the lean, at most
    assert likely.hausdorff_distance(ball) < radius * lean**2 + 0.1 * radius * lean + 0.05 + 0.002 * radius
    safe = containing(seen, nadir, height, 2.0 * radius, "round")
    assert (ball - safe.buffer(0.02)).is_empty
    assert (safe - union_over_heights(seen, nadir, height, 2.0 * radius).buffer(0.05)).is_empty


@settings(max_examples=30, deadline=None)
@given(
    st.tuples(st.floats(4.0, 15.0), st.floats(0.1, 1.0)), st.floats(40.0, 100.0), st.floats(0.0, 2.0 * np.pi), _NADIR,
    st.floats(350.0, 700.0),
)  # fmt: skip
def test_a_cone_that_rests_on_the_sheet_is_taken(radii, length, turn, nadir, height):
    """The hull of two balls on the sheet: a central projection keeps hulls, so it hides the hull of what they hide."""
    radius, small = radii[0], radii[0] * radii[1]
    place = np.array([length * np.cos(turn), length * np.sin(turn)])
    angles = np.linspace(0.0, 2.0 * np.pi, 90)
    rises = np.linspace(-1.0, 1.0, 61)
    ball = np.array(
        [(np.sqrt(1 - z * z) * np.cos(a), np.sqrt(1 - z * z) * np.sin(a), z) for z in rises for a in angles]
    )
    first, second = radius * ball + [0.0, 0.0, radius], small * ball + [*place, small]
    points = np.concatenate([first, second])
    hidden = nadir + (points[:, :2] - nadir) * (height / (height - points[:, 2]))[:, None]
    seen, above = (shapely.MultiPoint(flat).convex_hull for flat in (hidden, points[:, :2]))
    safe = containing(seen, nadir, height, 2.0 * radius, "round")
    assert (above - safe.buffer(0.1)).is_empty


def test_flanks_that_mirror_the_sheet_are_missed_by_the_thickness():
    rod = shapely.box(0.0, 0.0, 100.0, 8.0)
    assert unseen_flanks(rod, 8.0) == pytest.approx(0.0, abs=0.03)
    assert unseen_flanks(rod.buffer(-1.0), 8.0) == pytest.approx(1.0, abs=0.03)
    assert unseen_flanks(rod.buffer(-3.5), 8.0) == pytest.approx(0.18 * 8.0)


def test_a_bend_hides_no_unseen_flanks():
    """A bent rod is wider at its bend than it is thick: most of it says what is missing."""
    bent = shapely.LineString([(0.0, 0.0), (60.0, 0.0), (60.0, 25.0)]).buffer(3.0)
    gusset = shapely.Polygon([(60.0, 0.0), (45.0, 0.0), (60.0, 15.0)])
    assert unseen_flanks(bent | gusset, 6.0) == pytest.approx(0.0, abs=0.03)
    assert unseen_flanks((bent | gusset).buffer(-0.6), 6.0) == pytest.approx(0.6, abs=0.03)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.0, 180.0), _NADIR, st.floats(350.0, 700.0), st.sampled_from([(0, 0), (80, 0), (0, 20), (80, 20)]))
def test_an_end_that_is_seen_on_one_side_of_the_axis_is_restored_on_the_other(turn, nadir, height, corner):
    """A rod of which a corner looks like the sheet: 5 mm of its end and of its flank."""
    rod = shapely.box(0.0, 0.0, 80.0, 20.0)
    x, y = corner
    lost = shapely.Polygon([(x, y), (x + (5 if x == 0 else -5), y), (x, y + (5 if y == 0 else -5))])
    # its outline is at half its height
    factor = height / (height - 10.0)
    above, seen = (shapely.affinity.rotate(shape, turn, origin=(0.0, 0.0)) for shape in (rod, rod - lost))
    seen = shapely.affinity.scale(seen, factor, factor, origin=tuple(nadir))
    margin = 0.5  # that a silhouette has all round
    safe = containing(seen, nadir, height, 20.0, "round", whole=False)
    assert (above - safe.buffer(margin)).is_empty
    assert safe.area < 1.15 * above.area


def test_a_bent_rod_is_not_mirrored():
    bent = shapely.LineString([(0.0, 0.0), (60.0, 0.0), (60.0, 40.0)]).buffer(3.0)
    nadir = np.array([20.0, 10.0])
    seen = shapely.affinity.scale(bent, 600.0 / 597.0, 600.0 / 597.0, origin=(20.0, 10.0))
    safes = [containing(seen, nadir, 600.0, 6.0, "round", whole=whole) for whole in (True, False)]
    assert safes[0].symmetric_difference(safes[1]).area < 0.01


def test_a_torch_is_as_wide_as_it_is_thick_at_its_head_only():
    torch = shapely.box(0.0, -9.0, 70.0, 9.0) | shapely.box(70.0, -13.0, 95.0, 13.0)
    assert unseen_flanks(torch, 26.0) == pytest.approx(0.0, abs=0.03)
    assert unseen_flanks(torch.buffer(-1.0), 26.0) == pytest.approx(1.0, abs=0.03)
