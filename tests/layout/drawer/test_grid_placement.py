"""The lattice: most cells, halves, borders."""

from math import floor

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.drawer.grid_placement import fit_lattice
from worker.layout.model.plan import Cell, Lattice
from worker.spec.errors import LayoutError
from worker.spec.tolerances import CONTAINMENT_SLACK

L_SHAPE = Polygon([(0, 0), (500, 0), (500, 200), (230, 200), (230, 400), (0, 400)])


def boxes(lattice: Lattice, cells: tuple[Cell, ...] | None = None) -> list[BaseGeometry]:
    half, (x, y) = lattice.pitch / 2.0, lattice.origin
    return [
        shapely.box(x + c.x * half, y + c.y * half, x + (c.x + c.width) * half, y + (c.y + c.depth) * half)
        for c in (lattice.cells if cells is None else cells)
    ]


def whole(lattice: Lattice) -> tuple[Cell, ...]:
    return tuple(cell for cell in lattice.cells if cell.width * cell.depth == 4)


def brute_count(area: BaseGeometry, pitch: float, offset: tuple[float, float]) -> int:
    """Whole cells of the grid through this offset, one by one."""
    left, front, right, back = area.bounds
    grown = area.buffer(1e-6)
    return sum(
        grown.covers(shapely.box(x, y, x + pitch, y + pitch))
        for x in np.arange(left - pitch + offset[0] % pitch, right, pitch)
        for y in np.arange(front - pitch + offset[1] % pitch, back, pitch)
    )


@st.composite
def ragged(draw: st.DrawFn) -> Polygon:
    """A star-shaped drawer with slanted sides."""
    count = draw(st.integers(5, 14))
    radii = draw(st.lists(st.floats(90, 190), min_size=count, max_size=count))
    angles = np.arange(count) * 2 * np.pi / count
    points = np.column_stack([np.cos(angles), np.sin(angles)]) * np.array(radii)[:, None]
    return Polygon(np.round(points + 200, 3))


@st.composite
def stepped(draw: st.DrawFn) -> Polygon:
    """A drawer with up to three boxes cut out of it."""
    width, depth = draw(st.integers(90, 400)), draw(st.integers(90, 400))
    area: BaseGeometry = shapely.box(0, 0, width, depth)
    for _ in range(draw(st.integers(0, 3))):
        x, y = draw(st.integers(-20, width)), draw(st.integers(-20, depth))
        area = area.difference(shapely.box(x, y, x + draw(st.integers(5, 90)), y + draw(st.integers(5, 90))))
    return area


@given(st.floats(43, 900), st.floats(43, 900), st.floats(15, 43))
@settings(max_examples=40, deadline=None)
def test_a_rectangle_holds_the_floor_of_its_sides_over_the_pitch(width: float, depth: float, pitch: float) -> None:
    width, depth, pitch = round(width, 3), round(depth, 3), round(pitch, 3)
    lattice = fit_lattice(shapely.box(0, 0, width, depth), pitch=pitch)
    across, back = floor(width / pitch + 1e-9), floor(depth / pitch + 1e-9)
    assert len(whole(lattice)) == across * back
    # Centred: opposite borders are alike to the coordinate grid.
    assert lattice.origin[0] == pytest.approx(width - across * pitch - lattice.origin[0], abs=1.1e-3)
    assert lattice.origin[1] == pytest.approx(depth - back * pitch - lattice.origin[1], abs=1.1e-3)


@given(area=st.one_of(ragged(), stepped()), half_cells=st.booleans(), pitch=st.sampled_from([30.0, 42.0, 25.4]))
@settings(max_examples=40, deadline=None)
def test_every_cell_lies_inside_and_none_overlaps(*, area: Polygon, half_cells: bool, pitch: float) -> None:
    try:
        lattice = fit_lattice(area, pitch=pitch, half_cells=half_cells)
    except LayoutError:
        return
    grown = area.buffer(CONTAINMENT_SLACK)
    squares = boxes(lattice)
    assert all(grown.covers(square) for square in squares)
    assert sum(square.area for square in squares) == pytest.approx(shapely.union_all(squares).area)
    assert min(cell.x for cell in lattice.cells) == 0
    assert min(cell.y for cell in lattice.cells) == 0
    for cell in lattice.cells:
        assert (cell.width, cell.depth) in {(1, 1), (1, 2), (2, 1), (2, 2)}
        # A socket never reaches over a line between two whole cells.
        assert cell.x // 2 == (cell.x + cell.width - 1) // 2
        assert cell.y // 2 == (cell.y + cell.depth - 1) // 2


@given(st.one_of(ragged(), stepped()), st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_no_random_offset_holds_more(area: Polygon, seed: int) -> None:
    try:
        count = len(whole(fit_lattice(area, pitch=42.0)))
    except LayoutError:
        count = 0
    offsets = np.random.default_rng(seed).uniform(0, 42.0, (200, 2))
    assert max(brute_count(area, 42.0, (x, y)) for x, y in offsets) <= count


@given(stepped())
@settings(max_examples=30, deadline=None)
def test_half_cells_cost_no_whole_cell(area: Polygon) -> None:
    try:
        plain = fit_lattice(area, pitch=42.0)
    except LayoutError:
        return
    assert len(whole(fit_lattice(area, pitch=42.0, half_cells=True))) == len(whole(plain))


@pytest.mark.parametrize(
    ("align", "origin"),
    [
        (("left", "front"), (0.0, 0.0)),
        (("right", "back"), (16.0, 5.0)),
        (("center", "back"), (8.0, 5.0)),
        (("left", "center"), (0.0, 2.5)),
    ],
)
def test_the_grid_stands_where_it_is_asked_to(align: tuple, origin: tuple[float, float]) -> None:
    assert fit_lattice(shapely.box(0, 0, 310, 425), pitch=42.0, align=align).origin == origin


def test_a_drawer_of_exactly_seven_cells_holds_seven() -> None:
    lattice = fit_lattice(shapely.box(0, 0, 7 * 42, 42), pitch=42.0)
    assert len(lattice.cells) == 7
    assert lattice.origin == (0.0, 0.0)


def test_an_l_shape_fills_both_arms() -> None:
    lattice = fit_lattice(L_SHAPE, pitch=42.0)
    # 11 x 4 in the front arm, 5 x 5 in the left one behind it, by hand.
    assert len(whole(lattice)) == 11 * 4 + 5 * 5


def test_halves_fill_right_and_back_and_join_within_a_cell() -> None:
    lattice = fit_lattice(shapely.box(0, 0, 42 * 2 + 22, 42 * 2 + 22), pitch=42.0, half_cells=True)
    halves = [cell for cell in lattice.cells if cell.width * cell.depth < 4]
    assert sorted((c.x, c.y, c.width, c.depth) for c in halves) == [
        (0, 4, 2, 1), (2, 4, 2, 1), (4, 0, 1, 2), (4, 2, 1, 2), (4, 4, 1, 1),
    ]  # fmt: skip
    # The halves leave 1 mm, shared by both sides.
    assert lattice.origin == (0.5, 0.5)


def test_halves_stand_in_the_notch_of_an_l() -> None:
    area = Polygon([(0, 0), (84, 0), (84, 63), (63, 63), (63, 84), (0, 84)])
    lattice = fit_lattice(area, pitch=42.0, half_cells=True)
    assert len(whole(lattice)) == 3
    halves = [cell for cell in lattice.cells if cell.width * cell.depth < 4]
    assert sorted((c.x, c.y, c.width, c.depth) for c in halves) == [(2, 2, 2, 1), (2, 3, 1, 1)]


def test_a_narrow_drawer_takes_nothing_but_halves() -> None:
    lattice = fit_lattice(shapely.box(0, 0, 30, 130), pitch=42.0, half_cells=True)
    assert [(c.width, c.depth) for c in lattice.cells] == [(1, 2), (1, 2), (1, 2)]
    assert lattice.origin == (4.5, 2.0)


@pytest.mark.parametrize(("half_cells", "side"), [(False, 42), (True, 21)])
def test_too_small_says_what_would_fit(*, half_cells: bool, side: int) -> None:
    with pytest.raises(LayoutError) as caught:
        fit_lattice(shapely.box(0, 0, 20, 300), pitch=42.0, half_cells=half_cells, pointer="/drawers/0")
    assert caught.value.pointer == "/drawers/0"
    assert f"{side} x {side}" in (caught.value.limit or "")
    assert caught.value.remedy is not None


def test_two_parts_of_a_drawer_share_one_grid() -> None:
    area = shapely.box(0, 0, 300, 400).difference(shapely.box(-1, 190, 301, 215))
    lattice = fit_lattice(area, pitch=42.0)
    # 190 and 185 mm hold four rows each; 25 mm between leave room for one lattice over both (by hand: 4 + 4 of 9 rows).
    assert len(whole(lattice)) == 7 * 8


def test_the_same_area_gives_the_same_lattice() -> None:
    first = fit_lattice(L_SHAPE, pitch=42.0, half_cells=True)
    assert all(fit_lattice(L_SHAPE, pitch=42.0, half_cells=True) == first for _ in range(3))


def test_many_slanted_sides_are_searched_in_boxes_and_still_exactly() -> None:
    angles = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    radii = 200 + 15 * np.sin(5 * angles)
    area = Polygon(np.column_stack([radii * np.cos(angles), radii * np.sin(angles)]))
    count = len(whole(fit_lattice(area, pitch=24.0)))
    offsets = np.random.default_rng(7).uniform(0, 24.0, (60, 2))
    assert max(brute_count(area, 24.0, (x, y)) for x, y in offsets) <= count
