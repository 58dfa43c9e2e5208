"""Tiles hold together: by polygons moved apart, against what the floor says of itself."""

import contextlib

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.floor.drawer_shapes import NAMED, outlines
from tests.layout.floor.test_floor_builder import LatticeTooSmall, floor_of
from tests.layout.floor.tile_checks import connected, held_groups, put


def check_groups(floor, placed, gap):
    """The groups are those that hold, and the loose tiles are those outside the largest group of each floor."""
    groups = held_groups(floor, placed, gap)
    assert groups == sorted(map(list, floor.plan.groups))
    loose = []
    for whole in connected(len(placed), [(seam.first, seam.second) for seam in floor.seams]):
        own = [group for group in groups if group[0] in whole]
        largest = max(map(len, own))
        assert sum(len(group) for group in own) == len(whole)
        apart = [group for group in own if set(group) & set(floor.plan.loose)]
        assert len(apart) == len(own) - 1
        assert max((len(group) for group in own if group not in apart), default=largest) == largest
        loose += [tile for group in apart for tile in group]
    assert sorted(loose) == list(floor.plan.loose)


@pytest.mark.parametrize("seam", ["dovetail", "key"])
@pytest.mark.parametrize("bed", [120, 180])
@pytest.mark.parametrize("name", NAMED)
def test_named_floors_hold_together(name, bed, seam):
    floor, placed, _ = floor_of(NAMED[name], bed=bed, seam=seam)
    assert len(floor.pieces) > 1
    assert floor.plan.loose == ()
    check_groups(floor, placed, 0.2)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    outlines(),
    st.sampled_from(["dovetail", "key", "plain"]),
    st.booleans(),
    st.sampled_from([120.0, 150.0, 180.0, 256.0]),
    st.sampled_from([0.1, 0.2, 0.3]),
)
def test_any_floor_knows_what_holds(usable, seam, half_cells, bed, gap):
    with contextlib.suppress(LatticeTooSmall):
        floor, placed, _ = floor_of(usable, bed=bed, seam=seam, half_cells=half_cells, gap=gap)
        check_groups(floor, placed, gap)
        assert floor.plan.hold is None or seam != "plain"


@pytest.mark.parametrize("seam", ["dovetail", "key"])
def test_tiles_of_staggered_rows_share_tabs_where_their_seams_end(seam):
    """Rows of tiles two cells wide, shifted by one: every node of the seam between them is where another one ends."""
    floor, placed, _ = floor_of(shapely.box(0, 0, 42 * 7, 42 * 3), bed=(95.0, 95.0), seam=seam)
    assert len(floor.pieces) == 8
    assert floor.plan.loose == ()
    # a key that two tiles share would slide along with one of them, so there a tile has a tab
    assert len(floor.keys) < floor.plan.hold.tabs
    check_groups(floor, placed, 0.2)


@pytest.mark.parametrize("seam", ["dovetail", "key"])
def test_border_that_no_cell_holds_leaves_neither_scraps_nor_keys(seam):
    """A seam cuts a strip beside a slot off from all cells: it is left out, with the tabs that were to hold it."""
    slot = shapely.box(66.683, 47.07, 90.218, 156.9)
    floor, placed, lattice = floor_of(
        shapely.box(0, 0, 156.9, 156.9).difference(slot), bed=120.0, seam=seam, half_cells=True, gap=0.1
    )
    assert min(tile.area for tile in placed) > (lattice.pitch / 2.0) ** 2
    assert floor.plan.loose == ()
    check_groups(floor, placed, 0.1)
    for key in floor.keys:
        outline = Polygon([(key.at[0], key.at[1]), (key.at[0] + 6.1, key.at[1]), (key.at[0], key.at[1] + 6.1)])
        assert sum(tile.distance(outline) < 0.2 for tile in placed) > 1


@pytest.mark.parametrize("seam", ["dovetail", "key"])
def test_a_tile_has_no_recess_where_the_tile_across_the_seam_has_lost_its_border(seam):
    """The seam at 126 mm cuts the strip behind a slit off from all cells, at the node at 42 mm and nowhere else."""
    slit = shapely.box(-1.0, 117.0, 60.0, 122.0)
    floor, placed, _ = floor_of(shapely.box(0, 0, 252, 252).difference(slit), bed=150.0, seam=seam, gap=0.1)
    assert len(placed) == 4
    for x, whole in ((42.0, True), (84.0, False)):
        behind = shapely.box(x - 5.0, 126.1, x + 5.0, 131.0)
        plate = max(tile.intersection(behind).area for tile in placed)
        assert (plate == pytest.approx(behind.area)) == whole
    assert floor.plan.loose == ()
    check_groups(floor, placed, 0.1)


def test_plain_seams_hold_nothing():
    floor, placed, _ = floor_of(shapely.box(0, 0, 420, 168), seam="plain")
    assert floor.plan.hold is None
    assert floor.plan.groups == tuple((index,) for index in range(len(placed)))
    check_groups(floor, placed, 0.2)


def test_what_a_seam_holds_is_reported():
    floor, _, _ = floor_of(shapely.box(0, 0, 420, 168))
    hold = floor.plan.hold
    assert hold.tabs == 3
    assert hold.undercut > 0.7
    assert hold.play == pytest.approx(0.2)
    assert 50.0 < hold.pull < 250.0


#: An obstacle over the middle of each quarter of the node at 126, 84: front left, front right, back left, back right.
QUARTERS = {"fl": (-1, -1), "fr": (0, -1), "bl": (-1, 0), "br": (0, 0)}


@pytest.mark.parametrize("seam", ["dovetail", "key"])
@pytest.mark.parametrize("quarter", QUARTERS)
@pytest.mark.parametrize("away", [0.5, 2.0, 4.0])
def test_an_obstacle_in_any_quarter_of_a_node_keeps_its_walls(quarter, away, seam):
    """An obstacle takes one cell beside a seam, up to a few mm from the node: no wall is thin, and the tiles hold."""
    x, y = QUARTERS[quarter]
    left, front = (126.0 + (away if x == 0 else -42.0), 84.0 + (away if y == 0 else -42.0))
    usable = shapely.box(0, 0, 252, 168).difference(shapely.box(left, front, left + 42.0 - away, front + 42.0 - away))
    floor, placed, lattice = floor_of(usable, bed=(180.0, 200.0), seam=seam)
    assert len(lattice.cells) == 23
    assert len(floor.pieces) == 2
    check_groups(floor, placed, 0.2)


@pytest.mark.parametrize("quarter", QUARTERS)
def test_a_border_in_any_quarter_of_a_node_carries_a_whole_tab(quarter):
    """With 4.5 mm of border in place of a cell the node has a tab with two heads, as its neighbours have."""
    x, y = QUARTERS[quarter]
    left, front = (126.0 + (4.5 if x == 0 else -42.0), 84.0 + (4.5 if y == 0 else -42.0))
    usable = shapely.box(0, 0, 252, 168).difference(shapely.box(left, front, left + 37.5, front + 37.5))
    floor, _, _ = floor_of(usable, bed=(180.0, 200.0))
    assert len(floor.pieces) == 2
    tile = put(Polygon(floor.pieces[0].shape.outline), floor.pieces[0].shape, floor.pieces[0])
    tab = tile.intersection(shapely.box(126.1, 76.0, 135.0, 92.0))
    _, low, _, high = tab.bounds
    assert (84.0 - low, high - 84.0) == pytest.approx((1.942, 1.942), abs=0.01)


@pytest.mark.parametrize("seam", ["dovetail", "key"])
@pytest.mark.parametrize("quarter", QUARTERS)
@pytest.mark.parametrize("away", [0.5, 2.5, 4.5])
def test_three_cells_around_a_node_hold_together(quarter, away, seam):
    """Two tiles of two cells and of one: all that joins them is at the node and at the edge."""
    x, y = QUARTERS[quarter]
    left, front = (42.0 + (away if x == 0 else -42.0), 42.0 + (away if y == 0 else -42.0))
    usable = shapely.box(0, 0, 84, 84).difference(shapely.box(left, front, left + 42.0 - away, front + 42.0 - away))
    floor, placed, lattice = floor_of(usable, bed=(50.0, 90.0), seam=seam)
    assert len(lattice.cells) == 3
    assert len(floor.pieces) == 2
    assert floor.plan.loose == ()
    check_groups(floor, placed, 0.2)


@pytest.mark.parametrize("seam", ["dovetail", "key"])
def test_a_bed_with_no_room_for_a_tab_at_an_edge_is_kept(seam):
    """A strip flush with its cells on a bed of three cells and 1 mm: tabs of 3 mm go only where a tile is shorter."""
    floor, placed, _ = floor_of(NAMED["flush strip"], bed=(60.0, 127.0), seam=seam)
    assert len(floor.pieces) >= 4
    check_groups(floor, placed, 0.2)


def test_a_tab_with_which_a_tile_would_not_fit_the_bed_is_left_out():
    """Beside obstacles tiles carry tabs in a floor of keys; two cells and such a tab do not go on 86 mm."""
    floor_of(NAMED["obstacles"], bed=(86.0, 127.0), seam="key")  # every tile fits the bed


def test_a_key_beside_an_obstacle_joins_two_tiles_only():
    """Where a seam ends at another beside an obstacle, a key would join three tiles, and slide along with one."""
    usable = shapely.box(0, 0, 171, 146).difference(shapely.box(40, 18, 52, 61))
    floor, _, _ = floor_of(usable, bed=(85.0, 86.0), seam="key")  # every key joins two tiles
    assert floor.keys
