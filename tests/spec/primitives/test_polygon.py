"""Polygons: simple ones are accepted, all others are refused."""

from math import dist

import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from worker.spec.primitives.polygon import LEAST_SIDE, Polygon

_ADAPTER = TypeAdapter(Polygon)
_few = st.integers(0, 9).map(float)
_any = _few | st.floats(0.0, 12.0, allow_subnormal=False)
_points = st.lists(st.tuples(_any, _any), min_size=3, max_size=12) | st.lists(
    st.tuples(_few, _few), min_size=3, max_size=6
)


def _accepted(points):
    try:
        _ADAPTER.validate_python(points)
    except ValidationError:
        return False
    return True


def _wide(points):
    sides = [max(along) - min(along) for along in zip(*points, strict=True)]
    return min(sides) >= LEAST_SIDE and all(dist(point, points[index - 1]) > 0.01 for index, point in enumerate(points))


@settings(max_examples=100)
@given(_points)
@example([(0.0, 0.0), (9.0, 0.0), (4.0, 0.0), (4.0, 9.0)])  # turns back onto its own side
@example([(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (9.0, 4.0)])  # the last side lies on the one before
@example([(0.0, 0.0), (8.0, 0.0), (8.0, 8.0), (4.0, 0.0), (0.0, 8.0)])  # a corner on a side
def test_a_polygon_is_accepted_if_it_is_simple(points):
    """Outside: the OGC's rules of simple features, as GEOS implements them."""
    if _wide(points):
        assert _accepted(points) == shapely.Polygon(points).is_valid
