"""What is left of tiles that seams cut off: all of their cells, and no border that hangs on by a thread."""

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.affinity import translate

from tests.layout.floor.drawer_shapes import outlines
from tests.layout.floor.test_floor_builder import JOINT, printer
from worker.layout.drawer.grid_placement import fit_lattice
from worker.layout.floor.floor_builder import _Tiling
from worker.layout.floor.tile_split import partition
from worker.spec.errors import LayoutError


def tiling(usable, *, bed=150.0, gap=0.2, half_cells=True):
    """Return the tiling of an area and its cut, and the usable area in mm from the lattice's origin."""
    lattice = fit_lattice(usable, pitch=42.0, half_cells=half_cells)
    made = _Tiling(usable, lattice, JOINT, "dovetail", gap, printer(bed))
    return made, partition(made.board, made.areas), translate(usable, -lattice.origin[0], -lattice.origin[1])


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(outlines(), st.sampled_from([0.1, 0.4]))
def test_a_tile_keeps_its_cells_and_nothing_beyond_its_seams(usable, gap):
    try:
        made, cut, moved = tiling(usable, gap=gap)
    except LayoutError:
        return
    whole = []
    for tile in cut.tiles:
        left = made.areas.left(tile.rect, tile.patches)
        cells = shapely.union_all(
            [
                shapely.box(21.0 * c.x, 21.0 * c.y, 21.0 * (c.x + c.width), 21.0 * (c.y + c.depth))
                for c in made.areas.cells(tile.patches)
            ]
        )
        inner = cells.buffer(-2.0 * gap, join_style="mitre")  # clear of seams and of corners at which cells touch
        assert inner.difference(left).area < 0.5
        assert left.difference(moved.buffer(0.01)).area < 0.01
        whole.append(left)
    for index, first in enumerate(whole):
        for other in whole[:index]:
            assert first.distance(other) > gap - 0.01


def test_a_strip_that_a_seam_cuts_off_is_gone_and_the_nodes_along_it_are_not_reached():
    """The strip behind a slit, 4 mm deep, hangs on the cells across the seam at 126 mm alone."""
    slit = shapely.box(-1.0, 117.0, 60.0, 122.0)
    made, cut, _ = tiling(shapely.box(0, 0, 252, 252).difference(slit), half_cells=False)
    front = next(tile for tile in cut.tiles if tile.rect[0] == 0 and tile.rect[2] == 0)
    strip = shapely.box(0.0, 122.0, 58.0, 125.9)
    assert made.areas.cut(front.rect, front.patches).intersection(strip).area == pytest.approx(strip.area, rel=0.01)
    assert made.areas.left(front.rect, front.patches).intersection(strip).area < 0.01
    reached = {
        (node.x, node.y): made.areas.reaches(front.rect, front.patches, node, 3.0)
        for node in made.board.nodes
        if node.y == 6 and node.x in {2, 4}
    }
    assert reached == {(2, 6): False, (4, 6): True}


def test_tiles_alike_are_left_alike_wherever_they_lie():
    made, cut, _ = tiling(shapely.box(0, 0, 42 * 10 + 8, 42 * 8 + 8), bed=100.0, half_cells=False)
    alike = {}
    for tile in cut.tiles:
        x, y = made.areas.corner(tile.patches)
        left = translate(made.areas.left(tile.rect, tile.patches), -x, -y)
        first = alike.setdefault(made.board.keys.key(tile), left)
        assert first.symmetric_difference(left).area < 1e-3
    assert len(alike) < len(cut.tiles)
