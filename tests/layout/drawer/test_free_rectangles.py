"""The free cells as rectangles."""

from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.drawer.free_rectangles import free_spaces
from worker.layout.model.plan import Cell, Lattice, Space


def cells(space):
    (x, y), (width, depth) = space.at, space.halves
    return {(i, k) for i in range(x, x + width) for k in range(y, y + depth)}


@st.composite
def drawers(draw):
    """Draw a grid of cells with holes in it, and trays that stand on some."""
    across, back = draw(st.integers(1, 5)), draw(st.integers(1, 5))
    there = draw(st.lists(st.tuples(st.integers(0, across - 1), st.integers(0, back - 1)), min_size=1, unique=True))
    lattice = Lattice((0.0, 0.0), 42.0, tuple(Cell(2 * x, 2 * y, 2, 2) for x, y in there))
    taken = draw(st.lists(st.tuples(st.sampled_from(there), st.integers(1, 2), st.integers(1, 2)), max_size=4))
    return lattice, [((2 * x, 2 * y), (width, depth)) for (x, y), width, depth in taken]


@given(drawers())
@settings(max_examples=60)
def test_they_are_all_that_is_free_and_no_two_overlap(drawer):
    lattice, taken = drawer
    there = set().union(*(cells(Space((cell.x, cell.y), (cell.width, cell.depth))) for cell in lattice.cells))
    free = there.difference(*(cells(Space(at, halves)) for at, halves in taken))
    spaces = free_spaces(lattice, taken)
    assert sum(len(cells(space)) for space in spaces) == len(free)
    assert set().union(*(cells(space) for space in spaces)) == free
    areas = [space.halves[0] * space.halves[1] for space in spaces]
    assert areas == sorted(areas, reverse=True)
    if spaces:
        assert areas[0] == max(
            width * depth
            for x, y in free
            for width in range(1, 11)
            for depth in range(1, 11)
            if cells(Space((x, y), (width, depth))) <= free
        )


def test_a_full_grid_has_none():
    lattice = Lattice((0.0, 0.0), 42.0, (Cell(0, 0, 2, 2),))
    assert free_spaces(lattice, [((0, 0), (2, 2))]) == ()
    assert free_spaces(lattice, []) == (Space((0, 0), (2, 2)),)


def test_a_grid_without_cells_has_none():
    assert free_spaces(Lattice((0.0, 0.0), 42.0, ()), []) == ()
