import itertools

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from worker.layout.floor.border import plate_of
from worker.layout.floor.nodes import TabRoom
from worker.layout.floor.plate_graph import Board, Seam
from worker.layout.floor.print_bed import Bed
from worker.layout.floor.seams import fit_tab
from worker.layout.floor.tile_area import TileAreas
from worker.layout.floor.tile_split import _shortest, partition
from worker.layout.model.plan import Cell
from worker.spec.drawer.joint import Joint, default_profile

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)


def board(columns, rows, bed, *, loose=False, tabs=True, reach=1.4):
    cells = tuple(Cell(2 * i, 2 * j, 2, 2) for j in range(rows) for i in range(columns))
    plate = plate_of(shapely.box(0, 0, 42 * columns, 42 * rows), cells, 21.0, 2.0, 0.2)
    room = TabRoom(plate, cells, 42.0, 1.2, 5.82, fit_tab(JOINT, 0.2, loose=loose), 0.88) if tabs else None
    return Board(plate, cells, 42.0, Bed(((bed, bed),)), Seam(0.2, loose, 0.0 if loose else reach), room)


def split(columns, rows, bed, **more):
    made = board(columns, rows, bed, **more)
    return partition(made, TileAreas(made, list(made.owner), shapely.box(0, 0, 42 * columns, 42 * rows), 2.0, 0.2))


def test_rooms_of_a_bed():
    assert Bed.of((200.0, 150.0), 5.0, []).rooms == ((140.0, 190.0), (190.0, 140.0))
    # A clip in the front left corner leaves the room right of it and the one behind it.
    clipped = Bed.of((200.0, 150.0), 0.0, [(0.0, 0.0, 30.0, 40.0)])
    assert set(clipped.rooms) >= {(170.0, 150.0), (200.0, 110.0)}
    assert clipped.holds(150.0, 170.0)
    assert not clipped.holds(180.0, 120.0)
    assert Bed.of((10.0, 10.0), 0.0, [(0.0, 0.0, 10.0, 10.0)]).rooms == ()


@given(
    st.lists(st.tuples(*[st.integers(0, 20)] * 4), max_size=3),
    st.integers(1, 20),
    st.integers(1, 20),
)
def test_a_box_is_held_just_where_brute_force_finds_a_place(corners, width, depth):
    boxes = [(min(a, c), min(b, d), max(a, c) + 1, max(b, d) + 1) for a, b, c, d in corners]
    boxes = [tuple(float(min(edge, 20)) for edge in box) for box in boxes]
    want = any(
        all(box[0] >= x + w or box[2] <= x or box[1] >= y + d or box[3] <= y for box in boxes)
        for w, d in ((width, depth), (depth, width))
        for x in range(21 - w)
        for y in range(21 - d)
    )
    assert Bed.of((20.0, 20.0), 0.0, boxes).holds(float(width), float(depth)) == want


@given(st.integers(1, 9), st.data())
def test_shortest_finds_every_best_way(count, data):
    """Against all ways to cut, for costs that grow with a run's length until it no longer fits."""
    longest = data.draw(st.integers(1, count))
    price = {
        (a, b): (data.draw(st.integers(0, 1)), data.draw(st.integers(0, 2)), 1)
        for a in range(count)
        for b in range(a + 1, min(a + longest, count) + 1)
    }
    ways = _shortest(count, lambda a, b: price.get((a, b)))
    assert ways is not None
    totals = []
    for size in range(count):
        for inner in itertools.combinations(range(1, count), size):
            runs = list(itertools.pairwise((0, *inner, count)))
            if all(run in price for run in runs):
                totals.append(tuple(sum(price[run][k] for run in runs) for k in range(3)))
    assert ways[0] == min(totals)


def test_a_run_that_never_fits():
    assert _shortest(3, lambda _a, _b: None) is None


def test_patches_and_nodes_of_a_plain_board():
    plain = board(3, 2, 1000.0)
    assert len(plain.patches) == 6
    assert {p.content for p in plain.patches} == {0}
    assert len(plain.links) == 7
    # Every corner of two cells or more; four meet at the inner crossings: (2, 2) and (4, 2) in half cells.
    assert sorted((n.x, n.y) for n in plain.nodes if sum(n.cells) == 4) == [(2, 2), (4, 2)]
    assert sorted((n.x, n.y) for n in plain.nodes if sum(n.cells) == 2) == [
        (0, 2),
        (2, 0),
        (2, 4),
        (4, 0),
        (4, 4),
        (6, 2),
    ]


def test_tabs_sit_strictly_inside_a_shared_edge():
    cut = split(4, 4, 90.0)
    assert cut is not None
    assert len(cut.tiles) == 4
    # Four edges of two cells, one node inside each; none on the crossing of the seams.
    places = sorted((place.x, place.y, place.along_y) for place in cut.places)
    assert places == [(2, 4, False), (4, 2, True), (4, 6, True), (6, 4, False)]
    assert cut.groups == ((0, 1, 2, 3),)
    assert cut.pairs == [(0, 1), (0, 2), (1, 3), (2, 3)]


@pytest.mark.parametrize(("loose", "kinds"), [(False, 4), (True, 1)])
def test_kinds_count_shapes_after_turning(loose, kinds):
    cut = split(4, 4, 90.0, loose=loose)
    assert cut is not None
    assert cut.kinds == kinds


def test_nothing_fits():
    assert split(2, 2, 40.0) is None
