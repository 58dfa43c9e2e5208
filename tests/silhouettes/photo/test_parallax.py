"""From what a camera sees to the thing: on solids whose outline from the camera is computed, not photographed."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.silhouettes.photo.parallax import corrected, union_over_heights, unseen_flanks

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
    safe = union_over_heights(seen, nadir, height, thickness, "flat")
    assert (section - safe.buffer(0.02)).is_empty
    assert safe.area <= union_over_heights(seen, nadir, height, thickness).area + 1e-6


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
    assert (ball - union_over_heights(seen, nadir, height, 2.0 * radius, "round").buffer(0.1)).is_empty


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
