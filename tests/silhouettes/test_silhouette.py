"""The silhouette and its errors."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from worker.silhouettes.errors import PhotoRefused, SilhouetteError
from worker.silhouettes.silhouette import Silhouette

_SQUARE = shapely.Polygon([(0, 0), (0, 40), (30, 40), (30, 0)], [[(10, 10), (20, 10), (20, 20), (10, 20)]])


@given(st.booleans(), st.booleans())
def test_rings_are_wound_either_way_and_open(reverse_outer, reverse_hole):
    outer, hole = list(_SQUARE.exterior.coords), list(_SQUARE.interiors[0].coords)
    given_polygon = shapely.Polygon(outer[::-1] if reverse_outer else outer, [hole[::-1] if reverse_hole else hole])

    made = Silhouette.of_polygon(given_polygon, method="points", uncertainty=0.0)

    assert shapely.LinearRing(made.outer).is_ccw
    assert not shapely.LinearRing(made.holes[0]).is_ccw
    assert made.outer.shape == (4, 2)
    assert made.polygon.equals(_SQUARE)
    assert made.size == (30.0, 40.0)


def test_rings_cannot_be_changed():
    made = Silhouette.of_polygon(_SQUARE, method="drawing", uncertainty=0.05, depth=3.0)

    with pytest.raises(ValueError, match="read-only"):
        made.outer[0, 0] = 5.0


@pytest.mark.parametrize(
    ("corners", "reason"),
    [
        ([], "empty"),
        ([(0, 0), (np.nan, 1), (5, 5)], "empty"),
        ([(0, 0), (0.5, 0), (0.5, 30)], "size"),
        ([(0, 0), (3001, 0), (0, 30)], "size"),
        ([(0, 0), (30, 30), (30, 0), (0, 30)], "not-simple"),
    ],
)
def test_what_is_no_outline_is_refused_with_its_reason(corners, reason):
    with np.errstate(invalid="ignore"), pytest.raises(SilhouetteError) as refusal:
        Silhouette.of_polygon(shapely.Polygon(corners), method="points", uncertainty=0.0)

    assert refusal.value.reason == reason
    assert refusal.value.remedy


def test_the_reason_is_in_the_problem_document():
    error = PhotoRefused("Only 3 markers were seen.", reason="too-few-markers", value=3, remedy="Show the whole sheet.")

    assert error.problem(status=422) == {
        "type": "/problems/photo-refused",
        "title": "The photo gives no silhouette.",
        "status": 422,
        "detail": "Only 3 markers were seen.",
        "value": 3,
        "remedy": "Show the whole sheet.",
        "reason": "too-few-markers",
    }
