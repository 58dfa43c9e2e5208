"""What a floor covers and what it leaves out make up the usable area: with shapely as the oracle."""

import contextlib

import pytest
import shapely
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.layout.floor.drawer_shapes import NAMED, comb, outlines
from tests.layout.floor.test_floor_builder import LatticeTooSmall, floor_of
from tests.layout.floor.tile_checks import placed_keys, put

#: A tile's border ends 0.8 mm beside the recess of a tab.
_STRIP_BESIDE_A_RECESS = (
    shapely.box(0, 0, 265.4, 127) - shapely.box(217.628, 0, 222.628, 5) - shapely.box(135.083, 87.313, 214.646, 92.313)
)


def check_cover(floor, usable, gap):
    """Tiles and left-out areas do not overlap, lie inside, and leave only the gaps of the seams."""
    tiles = [put(Polygon(piece.shape.outline), piece.shape, piece) for piece in floor.pieces]
    tiles = [tile.intersection(usable) for tile in (*tiles, *placed_keys(floor))]
    # an outline has no holes: what stands in the drawer has a window around it, which is wider by some air
    holes = shapely.union_all([Polygon(ring) for area in shapely.get_parts(usable) for ring in area.interiors])
    windows = [put(Polygon(ring), piece.shape, piece) for piece in floor.pieces for ring in piece.shape.windows]
    around = shapely.union_all([window for window in windows if window.intersects(holes)])
    parts = [Polygon(part.rings[0], part.rings[1:]) for part in floor.plan.left_out]
    for part, entry in zip(parts, floor.plan.left_out, strict=True):
        assert part.is_valid
        assert part.exterior.is_ccw
        assert not any(ring.is_ccw for ring in part.interiors)
        assert part.area == pytest.approx(entry.area, abs=0.06 + 0.002 * part.length)
        assert part.difference(usable).area < 0.01 * part.length
    areas = [part.area for part in floor.plan.left_out]
    assert areas == sorted(areas, reverse=True)
    covered, rest = shapely.union_all(tiles).difference(around), shapely.union_all(parts)
    assert covered.intersection(rest).area < 0.01 + 0.002 * rest.length
    air = usable.difference(covered).difference(rest)
    assert covered.area + rest.area + air.area == pytest.approx(usable.area, abs=0.5 + 0.002 * rest.length)
    # air is no wider than a gap, but where two gaps cross, or is too small to list
    wide = [part for part in shapely.get_parts(air.buffer(-gap / 2.0 - 0.005).buffer(gap / 2.0)) if part.area > 1.0]
    assert not wide


@pytest.mark.parametrize("bed", [120, 180, 256])
@pytest.mark.parametrize("name", NAMED)
def test_named_floors_cover_or_leave_out(name, bed):
    floor, _, _ = floor_of(NAMED[name], bed=bed)
    check_cover(floor, NAMED[name], 0.2)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(outlines(), st.sampled_from(["dovetail", "key"]), st.booleans(), st.sampled_from([120.0, 180.0]))
@example(usable=_STRIP_BESIDE_A_RECESS, seam="dovetail", half_cells=False, bed=120.0)
def test_any_floor_covers_or_leaves_out(usable, seam, half_cells, bed):
    with contextlib.suppress(LatticeTooSmall):
        floor, _, _ = floor_of(usable, bed=bed, seam=seam, half_cells=half_cells)
        check_cover(floor, usable, 0.2)


def test_a_full_floor_leaves_nothing_out():
    assert floor_of(shapely.box(0, 0, 260, 345), bed=180)[0].plan.left_out == ()


def test_teeth_narrower_than_a_cell_have_no_frame():
    """A tooth 30 mm wide and 200 long has no cell; a frame of two-line walls would stand off the floor alone."""
    usable = comb(300.0, 330.0, 4, 60.0, 130.0)
    floor, _, _ = floor_of(usable, bed=180)
    teeth = [part for part in floor.plan.left_out if part.reason == "apart"]
    assert len(teeth) == 4
    assert all(part.area > 30.0 * 150.0 for part in teeth)


@pytest.mark.parametrize(("strip", "reason"), [(1.5, "narrow"), (2.5, None)])
def test_a_strip_too_narrow_to_print_is_left_out(strip, reason):
    floor, _, _ = floor_of(Polygon([(0, 0), (84 + strip, 0), (84 + strip, 84), (0, 84)]), bed=180)
    # the cells are centred, so each side has half of it
    parts = floor.plan.left_out
    if strip == 1.5:
        assert [part.reason for part in parts] == [reason] * 2
        assert sum(part.area for part in parts) == pytest.approx(1.5 * 84.0, abs=0.2)
    else:
        assert sum(part.area for part in parts) == pytest.approx(2.5 * 84.0, abs=0.2)


@pytest.mark.parametrize(("width", "kept"), [(3.5, False), (4.5, True)])
def test_a_stub_that_would_break_off_goes(width, kept):
    """A strip that stands off from the cells by 20 mm: below four millimetres it goes."""
    usable = shapely.union_all([shapely.box(0, 0, 84, 84), shapely.box(20, 80, 20 + width, 104)])
    floor, _, _ = floor_of(usable, bed=180)
    assert (floor.plan.left_out == ()) == kept
    if not kept:
        (part,) = floor.plan.left_out
        assert part.area == pytest.approx(20.0 * width, abs=0.2)


def test_border_that_is_too_large_for_the_bed_is_named():
    floor, _, _ = floor_of(shapely.box(0, 0, 100, 100), pitch=60.0, bed=90.0)
    assert "bed" in {part.reason for part in floor.plan.left_out}
    check_cover(floor, shapely.box(0, 0, 100, 100), 0.2)
