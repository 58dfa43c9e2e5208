"""Polygons: what is taken for simple at a glance is what the library takes for simple."""

from math import cos, dist, pi, sin

import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from worker.spec.primitives.polygon import LEAST_SIDE, Polygon, _sides_apart

_ADAPTER = TypeAdapter(Polygon)
_few = st.integers(0, 9).map(float)
_any = _few | st.floats(0.0, 12.0, allow_subnormal=False)
_points = st.lists(st.tuples(_any, _any), min_size=3, max_size=12) | st.lists(
    st.tuples(_few, _few), min_size=3, max_size=6
)


def _taken(points):
    try:
        _ADAPTER.validate_python(points)
    except ValidationError:
        return False
    return True


def _wide(points):
    sides = [max(along) - min(along) for along in zip(*points, strict=True)]
    return min(sides) >= LEAST_SIDE and all(dist(point, points[index - 1]) > 0.01 for index, point in enumerate(points))


@settings(max_examples=400)
@given(_points)
@example([(0.0, 0.0), (9.0, 0.0), (4.0, 0.0), (4.0, 9.0)])  # turns back onto its own side
@example([(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (9.0, 4.0)])  # the last side lies on the one before
@example([(0.0, 0.0), (8.0, 0.0), (8.0, 8.0), (4.0, 0.0), (0.0, 8.0)])  # a corner on a side
def test_a_polygon_is_taken_as_the_library_takes_it(points):
    """Outside: the OGC's rules of simple features, by GEOS."""
    if _wide(points):
        valid = shapely.Polygon(points).is_valid
        assert valid or not _sides_apart(tuple(points))
        assert _taken(points) == valid


@pytest.mark.parametrize("corners", [3, 4, 8, 12, 16])
def test_most_things_are_simple_at_a_glance(corners):
    round_ = tuple((50 + 40 * cos(2 * pi * k / corners), 50 + 40 * sin(2 * pi * k / corners)) for k in range(corners))
    assert _sides_apart(round_)
    assert _sides_apart(round_[::-1])


def test_a_cross_is_simple_at_a_glance_and_a_bow_tie_is_not():
    cross = ((1, 0), (2, 0), (2, 1), (3, 1), (3, 2), (2, 2), (2, 3), (1, 3), (1, 2), (0, 2), (0, 1), (1, 1))
    assert _sides_apart(cross)
    assert not _sides_apart(((0, 0), (9, 9), (9, 0), (0, 9)))
