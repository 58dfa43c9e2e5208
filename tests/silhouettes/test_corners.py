"""Outlines with few corners: at most as many as a spec takes, and never smaller than the outline."""

from math import cos, pi, sin

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.silhouettes.corners import outline_corners
from worker.silhouettes.outline_drawing import draw_outline
from worker.silhouettes.silhouette import Silhouette
from worker.spec.items.shape import Prism


@given(st.integers(3, 900), st.floats(2.0, 200.0), st.floats(0.0, 0.4), st.integers(1, 8))
@settings(max_examples=60, deadline=None)
def test_few_corners_contain_the_outline(count, radius, wave, waves):
    turns = 2 * pi * np.arange(count) / count
    radii = radius * (1 + wave * np.sin(waves * turns))
    polygon = shapely.Polygon(np.column_stack([radii * np.cos(turns), radii * np.sin(turns)]))
    made = Silhouette.of_polygon(polygon, method="points", uncertainty=0.0)

    corners = outline_corners(made)

    around, outline = shapely.Polygon(corners), shapely.Polygon(made.outer - made.outer.min(axis=0))
    assert len(corners) <= 256
    assert around.is_valid
    shift = np.array(around.centroid.coords[0]) - np.array(outline.centroid.coords[0])
    moved = shapely.transform(outline, lambda points: points + shift)
    assert moved.difference(around.buffer(0.01 if count <= 256 else 0.3)).area < 1e-6
    assert outline.area - 0.002 * outline.length <= around.area
    # up to 256 corners nothing but rounding is added
    assert around.area <= outline.area + outline.length * (0.002 if count <= 256 else 0.5)
    Prism.model_validate({"kind": "polygon", "points": corners.tolist(), "height": 1})


def test_a_fine_disc_grows_by_less_than_a_printer_resolves():
    turns = 2 * pi * np.arange(2000) / 2000
    disc = shapely.Polygon([(50 * cos(turn), 50 * sin(turn)) for turn in turns])
    made = Silhouette.of_polygon(disc, method="points", uncertainty=0.0)

    assert shapely.Polygon(outline_corners(made)).area < pi * 50.05**2


def test_the_drawing_is_at_full_size_with_its_dimensions():
    plate = shapely.Polygon([(0, 0), (40, 0), (40, 20), (0, 20)], [[(10, 10), (12, 14), (14, 10)]])
    made = Silhouette.of_polygon(plate, method="points", uncertainty=0.0, depth=2.0)

    drawing = draw_outline(made.document(), "shim <1>")

    assert 'width="64.000mm" height="44.000mm" viewBox="-12.000 -32.000 64.000 44.000"' in drawing
    assert "<title>shim &lt;1&gt;: 40.0 x 20.0 mm, 2.0 mm high</title>" in drawing
    assert drawing.count("Z") == 2
