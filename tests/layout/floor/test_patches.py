"""Patches have one content just where they are the same shape, holes of obstacles among it."""

import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate

from tests.layout.floor.test_tile_area import tiling
from worker.layout.planner import lay_out
from worker.output.drawings.mapped_drawer import MappedDrawer
from worker.spec import load

PITCH = 42.0
#: A hole in a square, mm from its corner: left, front, width, depth.
_HOLES = st.tuples(st.integers(9, 22), st.integers(9, 22), st.integers(5, 9), st.integers(5, 9))


def hole_in(square, hole):
    column, row = square
    x, y, wide, deep = hole
    left, front = PITCH * column + x, PITCH * row + y
    return shapely.box(left, front, left + wide, front + deep)


def squares(holes):
    """Return the patches of a row of squares, by turns with a cell and with a hole."""
    count = 2 * len(holes) + 1
    area = shapely.box(0.0, 0.0, PITCH * count, PITCH)
    blocked = shapely.union_all([hole_in((2 * number + 1, 0), hole) for number, hole in enumerate(holes)])
    made, *_ = tiling(area.difference(blocked), half_cells=False)
    return made.board


@settings(max_examples=25, deadline=None)
@given(st.lists(_HOLES, min_size=2, max_size=3))
def test_squares_with_equal_outlines_have_one_content_only_with_equal_holes(holes):
    board = squares([*holes, holes[0]])
    contents = []
    for number, hole in enumerate([*holes, holes[0]]):
        column = 2 * number + 1
        (patch,) = board.at[column + 1, 1]
        shape = board.shape(patch)
        assert len(shape.interiors) == 1
        assert shape.intersection(hole_in((column, 0), hole)).area < 1e-6
        contents.append(board.patches[patch].content)
    assert contents[0] == contents[-1]
    for index, hole in enumerate(holes):
        for other_index, other in enumerate(holes):
            assert (contents[index] == contents[other_index]) == (hole == other)


@settings(max_examples=25, deadline=None)
@given(_HOLES, st.integers(1, 3))
def test_a_turned_square_has_the_content_of_the_square_with_the_turned_hole(hole, quarters):
    middle = (PITCH / 2.0, PITCH / 2.0)
    left, front, right, back = rotate(hole_in((0, 0), hole), 90 * quarters, origin=middle).bounds
    turned = tuple(round(length) for length in (left, front, right - left, back - front))
    board = squares([hole, turned])
    content, expected = (board.patches[board.at[column, 1][0]].content for column in (2, 4))
    for _ in range(quarters):
        content = board.turned(content)
    assert content == expected
    for _ in range(4 - quarters):
        content = board.turned(content)
    assert content == board.patches[board.at[2, 1][0]].content


@settings(max_examples=8, deadline=None)
@given(_HOLES, _HOLES)
def test_no_tile_lies_over_an_obstacle_wherever_like_tiles_have_theirs(first, second):
    """Two tiles of a row with the same seams around them, each with a post in the same square."""
    posts = []
    for column, (x, y, wide, deep) in ((5, first), (9, second)):
        at = [1.5 + PITCH * column + x, 1.5 + PITCH + y]
        posts.append({"name": f"post {column}", "at": at, "size": [wide - 2.0, deep - 2.0]})
    drawer = {"name": "top", "width": 675, "depth": 171, "height": 60, "obstacles": posts}
    spec = {"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}, "coupon": False}
    mapped = MappedDrawer(lay_out(load(spec)), 0)
    blocked = [shapely.Polygon(ring) for ring in mapped.drawer.outline[1:]]
    assert len(blocked) == 2
    for tile in mapped.floor:
        area = shapely.Polygon(tile.outline, tile.holes)
        assert all(area.intersection(post).area < 0.01 for post in blocked)
    middle = [tile.place.mark for tile in mapped.floor][1:3]
    assert (middle[0] == middle[1]) == (first == second)
