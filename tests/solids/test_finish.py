import manifold3d
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from worker.solids.finish import finished, without_slivers
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed
from worker.spec.tolerances import COORDINATE_GRID, SLIVER_ALTITUDE, VOLUME_RATIO

CUBE = Mesh.of(manifold3d.Manifold.cube((10.0, 10.0, 10.0)))


def split_edge(mesh, start, end, point):
    """Return the mesh with a point put on one edge."""
    at = len(mesh.vertices)
    faces = []
    for triangle in mesh.triangles.tolist():
        for corner in range(3):
            a, b, c = (triangle[(corner + step) % 3] for step in range(3))
            if {a, b} == {start, end}:
                faces += [(a, at, c), (at, b, c)]
                break
        else:
            faces.append(triangle)
    return Mesh(np.vstack([mesh.vertices, point]), np.array(faces, dtype=np.int32))


def diagonal(mesh):
    """Return the ends of an edge that lies in a face."""
    for start, end, _ in mesh.triangles.tolist():
        if np.count_nonzero(mesh.vertices[start] != mesh.vertices[end]) == 2:
            return start, end
    raise AssertionError


def test_altitudes_are_twice_the_area_over_the_longest_side():
    points = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 3.0, 0.0], [1.0, 0.0, 0.0]])
    mesh = Mesh(points, np.array([[0, 1, 2], [0, 1, 3]], dtype=np.int32))
    assert mesh.altitudes == pytest.approx([12.0 / 5.0, 0.0])


def test_a_needle_is_collapsed():
    start, end = diagonal(CUBE)
    first = split_edge(CUBE, start, end, (CUBE.vertices[start] + CUBE.vertices[end]) / 2.0)
    near = first.vertices[-1] + (CUBE.vertices[end] - CUBE.vertices[start]) * 1e-4
    needle = split_edge(first, len(first.vertices) - 1, end, near)
    moved = needle.vertices.copy()
    moved[-1] += 1e-3 * np.cross([0.0, 0.0, 1.0], CUBE.vertices[end] - CUBE.vertices[start]) * 1e-4
    needle = Mesh(moved, needle.triangles)
    whole = without_slivers(needle)
    assert len(whole.vertices) < len(needle.vertices) or needle.altitudes.min() > SLIVER_ALTITUDE
    assert whole.altitudes.min() > SLIVER_ALTITUDE
    assert whole.manifold().status() == manifold3d.Error.NoError
    assert whole.volume == pytest.approx(1000.0, rel=1e-6)


def test_a_cap_is_flipped():
    # A point a hair off the middle of a face's diagonal, inside one of its triangles.
    start, end = diagonal(CUBE)
    split = split_edge(CUBE, start, end, (CUBE.vertices[start] + CUBE.vertices[end]) / 2.0)
    again = diagonal(Mesh(split.vertices, split.triangles))
    cap = split_edge(split, *again, (split.vertices[again[0]] + split.vertices[again[1]]) / 2.0)
    assert cap.manifold().status() == manifold3d.Error.NoError
    faces = cap.triangles.tolist()
    # Turn one edge so that three points on one line become a triangle.
    thin = _flattened(cap.vertices, faces)
    assert thin.altitudes.min() <= SLIVER_ALTITUDE
    whole = without_slivers(thin)
    assert whole.altitudes.min() > SLIVER_ALTITUDE
    assert whole.manifold().status() == manifold3d.Error.NoError
    assert whole.volume == pytest.approx(1000.0, rel=1e-9)
    assert len(whole.triangles) == len(thin.triangles)


def _flattened(vertices, faces):
    """Return the mesh with the first edge flipped that makes a flat triangle in a face."""
    for i, first in enumerate(faces):
        for j, other in enumerate(faces):
            shared = set(first) & set(other)
            if i >= j or len(shared) != 2:
                continue
            for corner in range(3):
                a, b, c = (first[(corner + step) % 3] for step in range(3))
                if {a, b} != shared:
                    continue
                (d,) = set(other) - shared
                new = np.array([[a, d, c], [d, b, c]], dtype=np.int32)
                heights = Mesh(vertices, new).altitudes
                corners = vertices[[a, b, c, d]]
                flat = np.ptp(corners, axis=0).min() == 0.0
                if flat and heights.min() <= SLIVER_ALTITUDE < heights.max():
                    kept = [face for k, face in enumerate(faces) if k not in {i, j}]
                    return Mesh(vertices, np.concatenate([np.array(kept, dtype=np.int32), new]))
    raise AssertionError


def test_a_sound_mesh_is_left_alone():
    assert without_slivers(CUBE).triangles.tolist() == CUBE.triangles.tolist()


lengths = st.integers(-60, 180).map(lambda steps: steps * 0.5)
spot = st.tuples(lengths, lengths, lengths)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(spot, spot, st.booleans()), max_size=4),
    st.tuples(spot, spot, st.booleans()),
    st.floats(5.0, 85.0),
)
def test_any_boolean_comes_out_clean(straight, turned, angle):
    # One box is turned, well out of plane and off the others' corners: films thinner than the grid would be refused.
    solid = manifold3d.Manifold.cube((100.0, 100.0, 100.0))
    for (at, size, add), turn in [*((cutter, 0.0) for cutter in straight), (turned, angle)]:
        box = manifold3d.Manifold.cube(tuple(abs(side) + 10.0 for side in size)).rotate((turn, turn / 2.0, 0.0))
        box = box.translate([along + (0.137 if turn else 0.0) for along in at])
        solid = solid + box if add else solid - box
    assume(solid.volume() > 1e5)
    mesh = finished(solid)
    assert mesh.altitudes.min() > SLIVER_ALTITUDE
    steps = mesh.vertices / COORDINATE_GRID
    assert np.abs(steps - np.round(steps)).max() < 1e-6
    again = mesh.manifold()
    assert again.status() == manifold3d.Error.NoError
    assert again.genus() == solid.genus()
    assert again.volume() == pytest.approx(solid.volume(), rel=VOLUME_RATIO)


def test_a_solid_that_rounding_destroys_is_refused():
    film = manifold3d.Manifold.cube((10.0, 10.0, 4e-4))
    with pytest.raises(CheckFailed):
        finished(film)
