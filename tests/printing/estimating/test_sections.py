"""Contours of sections: corners are counted in right angles."""

from math import cos, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.printing.estimating.sections import Contours


def contours(*rings):
    (made,) = Contours.of_each([[np.array(ring, dtype=float) for ring in rings]])
    return made


def polygon(sides, radius=10.0, turn=0.0):
    return [
        (radius * cos(turn + 2.0 * pi * side / sides), radius * sin(turn + 2.0 * pi * side / sides))
        for side in range(sides)
    ]


@given(st.floats(1.0, 90.0), st.floats(1.0, 90.0), st.floats(0.0, 360.0))
def test_a_rectangle_has_four_corners_however_it_lies(width, depth, turn):
    c, s = cos(radians(turn)), sin(radians(turn))
    corners = [(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)]
    made = contours([(c * x - s * y, s * x + c * y) for x, y in corners])
    assert (made.length, made.corners) == (pytest.approx(2.0 * (width + depth)), pytest.approx(4.0))
    assert (made.rings, made.parts) == (1, 1)


def test_an_ell_has_six_corners_and_a_frame_eight():
    ell = [(0, 0), (30, 0), (30, 10), (10, 10), (10, 40), (0, 40)]
    assert contours(ell).corners == pytest.approx(6.0)
    frame = contours([(0, 0), (30, 0), (30, 30), (0, 30)], [(5, 5), (5, 20), (20, 20), (20, 5)])
    assert (frame.corners, frame.length, frame.rings, frame.parts) == (pytest.approx(8.0), 180.0, 2, 1)


@given(st.integers(19, 90), st.floats(0.0, 6.0))
def test_an_arc_of_facets_has_no_corners(sides, turn):
    assert contours(polygon(sides, turn=turn)).corners == 0.0


@given(st.integers(4, 17))
def test_the_blunter_a_corner_the_less_it_counts(sides):
    """A turn of 90 degrees counts 1, one of 20 degrees nothing."""
    sharper, blunter = (contours(polygon(count)).corners / count for count in (sides, sides + 1))
    assert 1.0 >= sharper > blunter
    assert sharper == pytest.approx(1.0) or sides > 4
