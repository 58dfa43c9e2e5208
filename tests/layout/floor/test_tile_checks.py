"""The check of walls sees what is thin, and nothing else."""

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, translate

from tests.layout.floor.tile_checks import thin

_PLATE = shapely.box(-20.0, -20.0, 20.0, 20.0)
_WALL = 0.88


def windows(apart, angle, wide):
    """Two square windows whose corners face each other over a distance, and the plate around them."""
    square = rotate(shapely.box(0.0, 0.0, wide, wide), 45.0, origin=(0.0, 0.0))  # a corner at 0, 0, the rest above
    other = rotate(square, 180.0, origin=(0.0, 0.0))
    pair = translate(square, 0.0, apart / 2.0).union(translate(other, 0.0, -apart / 2.0))
    return _PLATE.difference(rotate(pair, angle, origin=(0.0, 0.0)))


@settings(deadline=None)
@given(st.floats(0.3, 2.0), st.floats(0.0, 360.0), st.floats(2.0, 8.0))
def test_a_neck_from_corner_to_corner_is_thin_where_it_is_narrower_than_a_wall(apart, angle, wide):
    if abs(apart - _WALL) > 0.03:
        assert bool(thin(windows(apart, angle, wide), _WALL)) == (apart < _WALL)


@settings(deadline=None)
@given(st.floats(0.3, 2.0), st.floats(0.0, 360.0), st.floats(0.5, 15.0))
def test_a_neck_from_a_corner_to_the_outline_is_thin_where_it_is_narrower_than_a_wall(apart, angle, shift):
    square = rotate(shapely.box(0.0, 0.0, 4.0, 4.0), 45.0, origin=(0.0, 0.0))
    plate = shapely.box(-20.0, -apart, 20.0, 20.0).difference(translate(square, shift, 0.0))
    if abs(apart - _WALL) > 0.03:
        assert bool(thin(rotate(plate, angle, origin=(0.0, 0.0)), _WALL)) == (apart < _WALL)


@pytest.mark.parametrize("turn", [45.0, 60.0, 90.0, 135.0])
@pytest.mark.parametrize("step", [0.1, 0.5, 2.0])
def test_corners_and_steps_are_not_thin(turn, step):
    slope = step / math.tan(math.radians(turn))
    plate = shapely.Polygon([(0, 0), (20, 0), (20, 5), (10 + slope, 5), (10, 5 + step), (0, 5 + step)])
    assert not thin(plate, _WALL)
