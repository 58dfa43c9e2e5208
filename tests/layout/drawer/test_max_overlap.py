"""The pile of sheets, against counting at many points."""

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from worker.layout.drawer.max_overlap import deepest

WINDOW = shapely.box(0, 0, 40, 40)


@st.composite
def sheets(draw: st.DrawFn) -> list[Polygon]:
    seed, count = draw(st.integers(0, 2**32 - 1)), draw(st.integers(0, 120))
    random = np.random.default_rng(seed)
    sides = random.integers(3, 7, count)
    drawn = []
    for corners in sides:
        angles = np.sort(random.uniform(0, 2 * np.pi, corners))
        points = random.uniform(0, 40, 2) + np.column_stack([np.cos(angles), np.sin(angles)]) * random.uniform(3, 30)
        drawn.append(Polygon(points).intersection(WINDOW))
    return [sheet for sheet in drawn if isinstance(sheet, Polygon) and sheet.area > 0]


@given(sheets())
@settings(max_examples=25, deadline=None)
def test_no_point_lies_under_more_sheets(pile: list[Polygon]) -> None:
    spots = deepest(WINDOW, pile)
    depths = {sum(sheet.intersects(shapely.Point(spot)) for sheet in pile) for spot in spots}
    assert len(depths) == 1
    grid = np.linspace(0.25, 39.75, 60)
    points = shapely.points(*(axis.ravel() for axis in np.meshgrid(grid, grid)))
    counts = sum((shapely.intersects(sheet, points).astype(int) for sheet in pile), np.zeros(len(points), dtype=int))
    assert counts.max() <= depths.pop()
    assert all(WINDOW.covers(shapely.Point(spot)) for spot in spots)


def test_equal_sheets_count_each() -> None:
    pile = [shapely.box(0, 0, 10, 40)] * 3 + [shapely.box(5, 0, 40, 40)] * 2
    assert [5 < x < 10 for x, _ in deepest(WINDOW, pile)] == [True]


def test_an_empty_pile_is_as_deep_everywhere() -> None:
    assert deepest(WINDOW, []) == [(20.0, 20.0)]
