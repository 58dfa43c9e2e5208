import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from tests.layout.floor.test_floor_builder import JOINT, floor_of
from tests.layout.floor.tile_checks import insets, section
from worker.layout.floor.tile_mark import mark_lettering
from worker.layout.model.shapes import Socket, TileShape


def tile(width, depth, sockets, windows=()):
    outline = ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))
    return TileShape(outline, windows, sockets, JOINT.socket_levels(), 5.0, 3.0)


def box_of(lettering):
    size = np.array([len(lettering.text) * 0.75 * lettering.cap_height, lettering.cap_height])
    width, depth = size if lettering.turn == 0.0 else size[::-1]
    x, y = lettering.at
    return shapely.box(x - width / 2, y - depth / 2, x + width / 2, y + depth / 2)


@pytest.mark.parametrize("text", ["F1", "F12"])
@pytest.mark.parametrize(("width", "depth"), [(252, 252), (310, 425), (100, 60), (400, 70), (60, 400), (137, 200)])
def test_letters_stay_on_plastic(text, width, depth):
    floor, _, _ = floor_of(shapely.box(0, 0, width, depth))
    for shape in {p.shape for p in floor.pieces}:
        lettering = mark_lettering(shape, text, line_width=0.44)
        assert lettering is not None
        assert 2.2 <= lettering.cap_height <= 5.0
        assert lettering.face == "top"
        top = section(shape, insets(shape)[0])
        assert top.buffer(-0.39).covers(box_of(lettering))


def test_strips_before_nodes_when_letters_are_larger_there():
    sockets = tuple(Socket(42.0 * i, 42.0 * j, 42.0, 42.0) for i in range(2) for j in range(2))
    on_node = mark_lettering(tile(84.0, 84.0, sockets), "F1", line_width=0.44)
    on_strip = mark_lettering(tile(90.5, 84.0, sockets), "F1", line_width=0.44)
    assert on_node is not None
    assert on_strip is not None
    assert on_node.at == (42.0, 42.0)
    assert on_strip.at[0] > 84.0
    assert on_strip.cap_height > on_node.cap_height


def test_no_room_no_mark():
    assert mark_lettering(tile(42.0, 42.0, (Socket(0, 0, 42, 42),)), "F1", line_width=0.44) is None


def test_long_marks_go_along_a_narrow_strip():
    lettering = mark_lettering(
        tile(48.0, 84.0, (Socket(0, 0, 42, 42), Socket(0, 42, 42, 42))), "F1234", line_width=0.44
    )
    assert lettering is not None
    assert lettering.turn == 90.0
    # the strip with the land beside it, less the millimetre that letters keep from an edge
    land = JOINT.land - 1.0
    assert Polygon([(42 - land, 0), (48, 0), (48, 84), (42 - land, 84)]).covers(box_of(lettering))
