"""The outline: readings, gap, corners and obstacles."""

from math import cos, pi, sqrt

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Point, Polygon

from worker.layout.drawer.outline import drawer_outline, pieces, side_points
from worker.spec import Drawer
from worker.spec.errors import LayoutError
from worker.spec.tolerances import CONTAINMENT_SLACK, QUARTER_FACETS


def drawer(**fields: object) -> Drawer:
    return Drawer.model_validate({"name": "bench left, top", "height": 70, **fields})


def test_one_reading_a_side_is_a_rectangle_less_the_gap() -> None:
    outline = drawer_outline(drawer(width=310, depth=425))
    assert outline.usable.equals(shapely.box(0, 0, 309, 424))
    assert outline.measured.bounds == (-0.5, -0.5, 309.5, 424.5)
    assert outline.size == (310, 425, 70)
    assert outline.rings == (((0.0, 0.0), (309.0, 0.0), (309.0, 424.0), (0.0, 424.0)),)
    assert outline.warnings == ()


def test_readings_are_corners_of_the_right_side_and_the_back() -> None:
    points = side_points([310, 312, 315], [420, 424])
    assert points.tolist() == [[0, 0], [310, 0], [312, 212], [315, 424], [0, 420]]
    outline = drawer_outline(drawer(width=[310, 312, 315], depth=[420, 424], gap=0))
    assert outline.measured.equals(Polygon(points))
    assert outline.size == (315, 424, 70)


def test_a_spread_over_three_millimetres_warns_at_its_side() -> None:
    quiet = drawer_outline(drawer(width=[310, 313], depth=425), "/drawers/2")
    loud = drawer_outline(drawer(width=[310, 313.5], depth=[425, 420]), "/drawers/2")
    assert quiet.warnings == ()
    assert [warning.pointer for warning in loud.warnings] == ["/drawers/2/width", "/drawers/2/depth"]
    assert "3.5 mm" in loud.warnings[0].message


@given(
    st.lists(st.floats(280, 300), min_size=1, max_size=5),
    st.lists(st.floats(380, 400), min_size=1, max_size=5),
    st.floats(0, 3),
    st.floats(0, 40),
)
@settings(max_examples=40, deadline=None)
def test_the_usable_area_keeps_the_gap_everywhere(
    widths: list[float], depths: list[float], gap: float, radius: float
) -> None:
    outline = drawer_outline(drawer(width=widths, depth=depths, gap=gap, corner_radius=radius))
    assert outline.usable.is_valid
    assert outline.measured.buffer(CONTAINMENT_SLACK).covers(outline.usable)
    assert outline.usable.distance(outline.measured.exterior) >= gap - CONTAINMENT_SLACK
    for ring in outline.rings:
        assert all(value == round(value, 3) for point in ring for value in point)


@given(st.floats(0, 60), st.floats(0, 2))
@settings(max_examples=40, deadline=None)
def test_rounded_corners_stay_inside_the_true_arc(radius: float, gap: float) -> None:
    outline = drawer_outline(drawer(width=300, depth=200, gap=gap, corner_radius=radius))
    # The drawer's own corner is an arc about (radius, radius); with the gap nothing may come nearer than `gap` to it.
    middle = Point(radius - gap, radius - gap)
    corner = shapely.box(-gap, -gap, radius - gap, radius - gap)
    for x, y in shapely.get_coordinates(outline.usable.intersection(corner)):
        assert middle.distance(Point(x, y)) <= max(radius - gap, 0.0) + CONTAINMENT_SLACK + 0.01
    room = 300 * 200 if radius == 0 else 300 * 200 - (4 - pi) * radius**2
    assert outline.usable.area <= room + 1.0


def test_a_corner_has_the_facets_of_a_quarter() -> None:
    (ring,) = drawer_outline(drawer(width=300, depth=200, gap=0, corner_radius=15)).rings
    assert len(ring) == 4 * (QUARTER_FACETS + 1)
    # Inscribed chords: their middles lie inside by the sagitta, r (1 - cos(pi/4/n)).
    nearest = min(np.hypot(x - 15, y - 15) for x, y in ring if x < 15 and y < 15)
    assert nearest == pytest.approx(15, abs=1e-3)
    chord = shapely.LineString(ring[:2]) if ring[0][1] != ring[1][1] else shapely.LineString(ring[1:3])
    assert chord.distance(Point(15, 15)) >= 15 * cos(pi / (4 * QUARTER_FACETS)) - 2e-3


@pytest.mark.parametrize("gap", [5e-324, 1e-12, 4e-4])
def test_a_gap_under_the_grid_is_none(gap: float) -> None:
    assert drawer_outline(drawer(width=300, depth=200, gap=gap)).usable.equals(shapely.box(0, 0, 300, 200))


def test_a_corner_no_rounder_than_the_gap_stays_sharp() -> None:
    assert len(drawer_outline(drawer(width=300, depth=200, gap=2, corner_radius=2)).rings[0]) == 4


def test_an_outline_keeps_its_own_coordinates_for_obstacles() -> None:
    corners = [[10, 20], [410, 20], [410, 220], [210, 220], [210, 420], [10, 420]]
    outline = drawer_outline(drawer(outline=corners, gap=1, obstacles=[{"at": [10, 20], "size": [50, 30]}]))
    assert outline.size == (400, 400, 70)
    # The obstacle with its gap covers 50 x 30 of the usable area's corner; the notch is grown by the gap.
    expected = Polygon([(50, 0), (398, 0), (398, 198), (198, 198), (198, 398), (0, 398), (0, 30), (50, 30)])
    assert outline.usable.symmetric_difference(expected).area < 1e-6


def test_the_inner_corner_of_an_l_is_not_rounded() -> None:
    corners = [[0, 0], [400, 0], [400, 200], [200, 200], [200, 400], [0, 400]]
    (ring,) = drawer_outline(drawer(outline=corners, gap=0, corner_radius=15)).rings
    assert (200.0, 200.0) in ring
    assert (400.0, 0.0) not in ring


def test_an_obstacle_across_leaves_two_pieces_and_one_inside_a_hole() -> None:
    across = drawer_outline(drawer(width=300, depth=400, obstacles=[{"at": [0, 190], "size": [300, 20]}]))
    assert isinstance(across.usable, MultiPolygon)
    assert len(pieces(across.usable)) == len(across.rings) == 2
    inside = drawer_outline(drawer(width=300, depth=400, gap=0, obstacles=[{"at": [100, 190], "size": [30, 20]}]))
    outer, hole = (Polygon(ring) for ring in inside.rings)
    assert outer.exterior.is_ccw
    assert not hole.exterior.is_ccw
    assert hole.area == pytest.approx(600)


@settings(max_examples=30)
@given(
    st.tuples(st.integers(40, 150), st.integers(40, 200)),
    st.tuples(st.integers(5, 90), st.integers(5, 90)),
    st.sampled_from([0.0, 0.5, 2.0, 7.5]),
)
def test_an_obstacle_keeps_the_gap_on_every_side(at: tuple[int, int], size: tuple[int, int], gap: float) -> None:
    outline = drawer_outline(drawer(width=300, depth=400, gap=gap, obstacles=[{"at": at, "size": size}]))
    # the usable area begins a gap from the drawer's sides
    thing = shapely.box(at[0] - gap, at[1] - gap, at[0] + size[0] - gap, at[1] + size[1] - gap)
    (hole,) = [Polygon(ring) for ring in outline.usable.interiors]
    left, front, right, back = thing.bounds
    assert hole.bounds == pytest.approx((left - gap, front - gap, right + gap, back + gap), abs=1e-3)


def test_readings_that_cross_are_refused() -> None:
    with pytest.raises(LayoutError) as caught:
        drawer_outline(drawer(width=[300, 60, 300], depth=[400, 60, 400]), "/drawers/0")
    assert caught.value.pointer == "/drawers/0/width"
    assert "bench left, top" in caught.value.message


def test_a_drawer_full_of_obstacles_is_refused_by_name() -> None:
    with pytest.raises(LayoutError, match="bench left, top") as caught:
        drawer_outline(drawer(width=100, depth=100, obstacles=[{"at": [0, 0], "size": [100, 100]}]), "/drawers/1")
    assert caught.value.pointer == "/drawers/1"
    assert caught.value.remedy is not None


def test_a_slanted_side_keeps_the_gap_square_to_it() -> None:
    outline = drawer_outline(drawer(outline=[[0, 0], [200, 0], [300, 100], [0, 100]], gap=2))
    slanted = shapely.LineString([(198, -2), (298, 98)])
    assert outline.usable.distance(slanted) == pytest.approx(2, abs=2e-3)
    assert outline.usable.bounds[2] == pytest.approx(300 - 2 - 2 * (1 + sqrt(2)), abs=2e-3)


@pytest.mark.parametrize(("width", "depth"), [(400, 600), (400, 400), (100, 300)])
@pytest.mark.parametrize("gap", [0.0, 0.5, 5.0])
def test_corners_may_have_half_the_width_as_their_radius(width: float, depth: float, gap: float) -> None:
    radius = min(width, depth) / 2.0
    outline = drawer_outline(drawer(width=width, depth=depth, gap=gap, corner_radius=radius))
    inner = radius - gap
    area = (width - 2 * gap) * (depth - 2 * gap) - (4.0 - pi) * inner**2
    # Facets inside the true arc: less than the area of an n-gon's segments, pi r^2 - n / 2 r^2 sin(2 pi / n).
    facets = 4 * QUARTER_FACETS
    lost = inner**2 * (pi - facets / 2.0 * np.sin(2.0 * pi / facets))
    assert area - lost - 1.0 <= outline.usable.area <= area + 1e-3
    assert outline.usable.bounds == pytest.approx((0.0, 0.0, width - 2 * gap, depth - 2 * gap), abs=0.06)
