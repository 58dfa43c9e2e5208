import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from worker.layout.floor.border import cell_area, node_points, opened, plate_of, ring_of, tidy, windows
from worker.layout.model.plan import Cell
from worker.layout.model.shapes import Socket


def cells(columns, rows):
    return [Cell(2 * i, 2 * j, 2, 2) for j in range(rows) for i in range(columns)]


def tenths(low, high):
    return st.floats(low, high).map(lambda x: round(x, 1))


def ring(*box):
    left, front, right, back = box
    return ((left, front), (right, front), (right, back), (left, back))


def test_cell_area_is_the_union_of_squares():
    mixed = [*cells(3, 2), Cell(6, 0, 1, 2), Cell(6, 2, 1, 1), Cell(0, 4, 2, 1)]
    want = shapely.union_all(
        [shapely.box(c.x * 21, c.y * 21, (c.x + c.width) * 21, (c.y + c.depth) * 21) for c in mixed]
    )
    assert cell_area(mixed, 21.0).equals(want)


@pytest.mark.parametrize(("strip", "kept"), [(1.9, False), (2.1, True)])
def test_strips_under_two_millimetres_are_air(strip, kept):
    plate = plate_of(shapely.box(0, 0, 84 + strip, 84), cells(2, 2), 21.0, 2.0, 0.2)
    assert plate.area.bounds == pytest.approx((0, 0, 84 + strip * kept, 84), abs=1e-5)
    assert plate.nicked == frozenset()


def test_a_wedge_ends_where_it_is_two_millimetres_wide():
    """A side that runs out 6 mm over 84: the strip is 2 mm wide at 28, and the opening ends square to its middle."""
    wedge = Polygon([(0, 0), (84, 0), (90, 84), (0, 84)])
    plate = plate_of(wedge, cells(2, 2), 21.0, 2.0, 0.2)
    border = plate.area.difference(shapely.box(0, 0, 84, 84))
    assert 26.0 < border.bounds[1] < 29.0
    assert not border.buffer(-0.9).is_empty


def test_border_that_hangs_on_nothing_is_dropped():
    usable = shapely.union_all([shapely.box(0, 0, 84, 84), shapely.box(90, 0, 110, 84)])
    assert plate_of(usable, cells(2, 2), 21.0, 2.0, 0.2).area.bounds == (0, 0, 84, 84)


def test_a_touch_in_a_point_is_cut_out():
    usable = shapely.union_all([shapely.box(0, 0, 42, 42), shapely.box(42, 42, 84, 84)])
    both = [Cell(0, 0, 2, 2), Cell(2, 2, 2, 2)]
    plate = plate_of(usable, both, 21.0, 2.0, 0.2)
    first, second = plate.area.geoms
    assert first.distance(second) >= 0.2
    assert plate.nicked == frozenset(both)


@pytest.mark.parametrize(("strip", "open_bays"), [(6.0, 0), (8.0, 3), (20.0, 3)])
def test_wide_strips_have_a_window_a_bay(strip, open_bays):
    sockets = tuple(Socket(42.0 * i, 42.0 * j, 42.0, 42.0) for i in range(3) for j in range(3))
    bays = windows(ring(0, 0, 126 + strip, 126), (), sockets, 42.0, 1.2, 0.44)
    assert len(bays) == open_bays
    plate = Polygon(ring(0, 0, 126 + strip, 126))
    for bay in bays:
        window = Polygon(bay)
        assert len(bay) == 4
        assert window.exterior.is_ccw
        assert window.distance(plate.exterior) == pytest.approx(2.0, abs=1e-3)
        # The rib on the lattice's last line is a little more than the socket's wall needs.
        assert window.distance(shapely.box(0, 0, 126 - 1.1, 126)) == pytest.approx(2.1, abs=1e-3)
        left, front, right, back = window.bounds
        assert min(right - left, back - front) >= 4.0
    for i, bay in enumerate(bays):
        for other in bays[i + 1 :]:
            assert Polygon(bay).distance(Polygon(other)) >= 2.0 - 1e-3


def test_windows_go_around_a_hole():
    """No island: a hole in the border stays tied to the frame."""
    sockets = tuple(Socket(0.0, 42.0 * j, 42.0, 42.0) for j in range(3))
    hole = ring(60, 20, 64, 24)
    bays = windows(ring(0, 0, 82, 126), (hole,), sockets, 42.0, 1.2, 0.44)
    left = Polygon(ring(0, 0, 82, 126), [hole, *bays])
    assert left.is_valid
    assert left.buffer(-0.5).geom_type == "Polygon"
    assert all(Polygon(bay).distance(Polygon(hole)) >= 2.0 - 1e-3 for bay in bays)


def test_node_points():
    assert node_points([Socket(42.0 * i, 42.0 * j, 42.0, 42.0) for i in range(2) for j in range(3)]) == [
        (42.0, 42.0),
        (42.0, 84.0),
    ]
    assert node_points([Socket(0, 0, 42, 42), Socket(42, 0, 42, 42), Socket(0, 42, 42, 42)]) == []


@given(st.floats(0.5, 3.0), st.floats(0.5, 3.0))
def test_opening_loses_what_is_narrow(strip, radius):
    area = shapely.union_all([shapely.box(0, 0, 20, 20), shapely.box(20, 5, 30, 5 + strip)])
    kept = opened(area, radius)
    assert kept.within(area.buffer(1e-5))
    if strip < 2 * radius - 1e-3:
        assert kept.area == pytest.approx(400.0, abs=0.01)
    elif strip > 2 * radius + 1e-3:
        assert kept.area == pytest.approx(area.area, abs=0.01)


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=3, max_size=12, unique=True))
def test_tidy_keeps_the_hull(points):
    """Any convex ring keeps its area to within the tolerance and starts at its least point."""
    hull = shapely.MultiPoint([(10 * x, 10 * y) for x, y in points]).convex_hull
    if not isinstance(hull, Polygon) or hull.area < 1000:
        return
    given_ring = [(int(x), int(y)) for x, y in hull.exterior.coords[:-1]]
    tidied = tidy(given_ring)
    assert tidied[0] == min(tidied)
    assert Polygon(tidied).exterior.is_ccw
    assert Polygon(tidied).area == pytest.approx(hull.area, abs=1.5 * hull.length)


def test_ring_of_drops_points_on_a_line():
    assert ring_of(Polygon([(0, 0), (5, 0.0004), (10, 0), (10, 10), (0, 10)])) == ring(0, 0, 10, 10)


def test_an_outline_that_touches_the_end_of_the_frame_is_no_problem():
    """The library shares a polygon and a line there, and then refuses to go on with both."""
    usable = shapely.box(-10, -100, 150, 60) - shapely.box(70, -90, 100, 60)
    plate = plate_of(usable, [Cell(0, 0, 2, 2)], half=25.0, least=3.0, gap=0.2)
    assert plate.area.bounds == pytest.approx((-10.0, -50.0, 70.0, 60.0), abs=1e-3)


@given(tenths(0.0, 84.0), tenths(0.0, 84.0), tenths(3.0, 60.0), tenths(3.0, 60.0), tenths(0.0, 12.0))
@example(57.0, 54.0, 12.7, 35.0, 9.2)
def test_the_hole_of_an_obstacle_has_no_slit(x, y, width, depth, strip):
    """Beside an obstacle the hole is as wide as a strip, or it is the obstacle; but for a touch of cells that is cut.

    The example has 0.45 mm between the obstacle and a cell, and the hole's corner lies on a cell's corner.
    """
    obstacle = shapely.box(x, y, x + width, y + depth)
    usable = shapely.box(-strip, -strip, 126 + strip, 126 + strip).difference(obstacle)
    if usable.geom_type != "Polygon":
        return
    free = [c for c in cells(3, 3) if usable.covers(shapely.box(c.x * 21, c.y * 21, c.x * 21 + 42, c.y * 21 + 42))]
    if not free:
        return
    plate = plate_of(usable, free, 21.0, 2.0, 0.2)
    if plate.nicked:
        return
    for part in shapely.get_parts(plate.area):
        for hole in (Polygon(ring) for ring in part.interiors):
            beside = hole.difference(opened(hole, 1.0 - 1e-3)).difference(obstacle.buffer(1e-3, join_style="mitre"))
            assert beside.area < 0.05
