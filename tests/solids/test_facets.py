import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.solids.facets import facets
from worker.solids.ring import signed_area

SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])


def thicknesses(rings, faces):
    corners = np.concatenate(rings)[faces]
    sides = np.roll(corners, -1, axis=1) - corners
    doubled = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
    return doubled / np.linalg.norm(sides, axis=2).max(axis=1)


def assert_fills(rings, faces):
    """The triangles' edges are the rings' and pairs; their areas sum up; none is turned over or flat."""
    edges = {edge for a, b, c in faces.tolist() for edge in ((a, b), (b, c), (c, a))}
    assert len(edges) == 3 * len(faces)
    starts = np.cumsum([0, *[len(ring) for ring in rings]])
    around = {
        (int(start) + place, int(start) + (place + 1) % len(ring))
        for start, ring in zip(starts, rings, strict=False)
        for place in range(len(ring))
    }
    assert {(a, b) for a, b in edges if (b, a) not in edges} == around
    widths = thicknesses(rings, faces)
    assert widths.min() > 1e-3
    corners = np.concatenate(rings)[faces]
    area = sum(signed_area(corner) for corner in corners)
    assert area == pytest.approx(sum(signed_area(ring) for ring in rings), rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    columns=st.integers(1, 6),
    rows=st.integers(1, 6),
    size=st.sampled_from([0.5, 0.9, 0.97]),
    along=st.integers(0, 8),
    islands=st.booleans(),
)
def test_holes_in_rows_and_columns_leave_no_sliver(columns, rows, size, along, islands):
    steps = np.linspace(0.0, columns, along + 2)[1:-1]
    below = np.column_stack([steps, np.full(along, 0.0)])
    outer = np.concatenate([[[0.0, 0.0]], below, [[columns, 0.0], [columns, rows], [0.0, rows]]])
    # Points on the straight of the outline would be slivers of the region itself: they stand out a little.
    outer[1 : along + 1, 1] -= 0.05
    rings = [outer]
    for x in range(columns):
        for y in range(rows):
            middle = np.array([x + 0.5, y + 0.5])
            rings.append((middle + (SQUARE - 0.5) * size)[::-1])
            if islands:
                rings.append(middle + (SQUARE - 0.5) * size / 2.0)
    rings = [ring * 40.0 for ring in rings]
    assert_fills(rings, facets(rings))


def test_a_row_of_points_that_fans_out_to_one_far_point_is_mended():
    # Six windows in a row and one that stands 0.01 mm off it: what a real border looked like.
    outer = np.array([[0.0, 0.0], [200.0, 0.0], [200.0, 9.0], [0.0, 9.0]])
    window, holes = np.array([[0.0, 0.0], [0.0, 5.0], [22.0, 5.0], [22.0, 0.0]]), []
    for place in range(6):
        corner = np.array([3.0 + 30.0 * place, 2.0 if place < 5 else 1.99])
        holes.append(corner + window)
    assert_fills([outer, *holes], facets([outer, *holes]))


def test_triangles_are_taken_again_only_where_they_fit():
    rings = [SQUARE * 10.0, (SQUARE * 4.0 + 3.0)[::-1]]
    faces = facets(rings)
    near = [rings[0], (SQUARE * 3.5 + 3.2)[::-1]]
    assert facets(near, faces) is faces
    assert_fills(near, faces)
    folded = [rings[0], (SQUARE * 1.0 + 0.5)[::-1]]
    assert_fills(folded, facets(folded, faces))
