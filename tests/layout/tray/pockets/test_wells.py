"""Wells: what is left out between pockets, checked by areas and distances and not by the code that draws them."""

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.geometry import Polygon, box

from tests.layout.tray.test_tray_builder import JOINT, LINES, circle, rectangle, shape_of
from worker.layout.tray.pockets.pocket_outline import pocket_ring
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.errors import TrayError


def areas(shape):
    return [Polygon(well.outline, well.holes) for well in shape.wells]


def recesses(shape):
    return [Polygon(pocket_ring(pocket)) for pocket in shape.pockets]


def volume(area, shape):
    return area * (shape.fill_top - shape.floor_top)


pockets = st.lists(
    st.one_of(
        st.builds(
            circle, st.floats(15, 108), st.floats(15, 66), st.floats(4, 25), st.sampled_from([10, 15, 30]),
            notch=st.sampled_from([None, {"width": 12}]),
        ),
        st.builds(
            rectangle, st.floats(3, 90), st.floats(3, 50), st.tuples(st.floats(4, 30), st.floats(4, 28)),
            st.sampled_from([10, 15, 30]), notch=st.sampled_from([None, {"width": 12}]),
        ),
    ),
    min_size=1, max_size=4,
)  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(pockets, st.sampled_from([0.88, 1.2, 2.4]), st.sampled_from(["walls", None]))
def test_every_pocket_has_a_wall_and_every_well_room_for_a_finger(specs, wall, filling):
    try:
        shape = shape_of(pockets=specs, wall=wall, filling=filling)
    except TrayError as error:
        assume(error is None)
    chamfer = max(pocket.chamfer for pocket in shape.pockets)
    thickness = max(wall, LINES + chamfer)
    corner = max(CORNER_RADIUS - JOINT.body_inset - wall, 0.0)
    (right, back) = (halves * 21.0 - 2.0 * JOINT.body_inset for halves in shape.halves)
    room = box(wall + corner, wall + corner, right - wall - corner, back - wall - corner)
    room = room.buffer(corner, quad_segs=64) if corner else room
    for well in areas(shape):
        assert well.is_valid
        assert room.covers(well)
        assert all(well.distance(recess) >= thickness - 0.015 for recess in recesses(shape))
        # a disc of 3.9 mm goes everywhere in it
        assert well.difference(well.buffer(-3.9).buffer(3.95)).area < 0.02
    for first, well in enumerate(areas(shape)):
        assert all(well.distance(other) >= LINES - 0.015 for other in areas(shape)[:first])


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 4), st.floats(8, 36))
@example(4, 14.5)
def test_the_ends_of_two_wells_keep_a_wall_between_them(count, diameter):
    """A row of cups in the middle of a tray parts its inside into two wells, which may nearly meet beside a cup."""
    row = [circle((index + 0.5) * 97.0 / count, 23.5, diameter, 25) for index in range(count)]
    try:
        shape = shape_of(cells=(2, 1), pitch=50.0, height=37, wall=1.2, pockets=row, filling="walls")
    except TrayError as error:
        assume(error is None)
    for first, well in enumerate(areas(shape)):
        assert all(well.distance(other) >= LINES - 0.015 for other in areas(shape)[:first])


@settings(max_examples=60, deadline=None)
@given(pockets, st.floats(20, 70))
def test_unasked_there_are_wells_where_they_save_a_third(specs, height):
    try:
        solid, walls, unasked = (
            shape_of(pockets=specs, height=height, rim="straight", filling=filling)
            for filling in ("solid", "walls", None)
        )
    except TrayError as error:
        assume(error is None)
    assert not solid.wells
    saved = volume(union_all(areas(walls)).area, walls)
    raised = volume(123.0 * 81.0, walls) - sum(
        Polygon(pocket_ring(pocket)).area * (walls.fill_top - pocket.bottom) for pocket in walls.pockets
    )
    # feet and floor of a tray of 3 x 2 cells as a slab of their mean thickness, and its walls; both about 5 %
    plain = 125.4 * 83.4 * (walls.floor_top - 0.55) + 2.0 * (125.4 + 81.0) * 1.2 * (height - walls.floor_top)
    share = saved / (plain + raised)
    assume(abs(share - 1.0 / 3.0) > 0.03)
    assert bool(unasked.wells) is (share > 1.0 / 3.0)
    assert unasked.wells in {(), walls.wells}


def test_a_tall_cup_has_a_well_around_it_unless_a_solid_floor_is_asked_for():
    cup = [circle(x=60, y=40, diameter=40, depth=40)]
    (well,) = shape_of(pockets=cup).wells
    assert len(well.holes) == 1
    # its wall is as thick as the tray's where that is more than two lines and the chamfer
    ring = Polygon(well.holes[0]).area - recesses(shape_of(pockets=cup))[0].area
    assert ring == pytest.approx(3.14159 * 1.28 * (40.6 + 1.28), rel=0.01)
    assert shape_of(pockets=cup, filling="solid").wells == ()
    assert shape_of(pockets=[circle(x=60, y=40, diameter=40, depth=3)]).wells == ()
    assert shape_of(pockets=[circle(x=60, y=40, diameter=40, depth=3)], filling="walls").wells


def test_a_tray_without_pockets_has_no_wells():
    assert shape_of(filling="walls").wells == ()
