"""What every solid must be, whatever it is built from."""

import numpy as np
import pytest
import trimesh

from worker.spec.tolerances import COORDINATE_GRID, SLIVER_ALTITUDE


def assert_sound(mesh, genus):
    """Closed, oriented, in one piece, no point twice, on the grid, no slivers, taken by two libraries as it is."""
    edges = np.concatenate([mesh.triangles[:, [0, 1]], mesh.triangles[:, [1, 2]], mesh.triangles[:, [2, 0]]])
    forth, counts = np.unique(edges, axis=0, return_counts=True)
    assert (counts == 1).all()
    assert np.array_equal(forth, np.unique(edges[:, ::-1], axis=0))
    assert len(np.unique(mesh.triangles)) == len(mesh.vertices)
    assert len(np.unique(mesh.vertices, axis=0)) == len(mesh.vertices)
    steps = np.round(mesh.vertices / COORDINATE_GRID)
    assert np.array_equal(steps * COORDINATE_GRID, mesh.vertices)
    assert mesh.altitudes.min() > SLIVER_ALTITUDE
    solid = mesh.manifold()
    assert solid.status().name == "NoError"
    assert solid.genus() == genus
    assert len(solid.decompose()) == 1
    assert solid.volume() == pytest.approx(mesh.volume, rel=1e-9)
    read = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    assert read.is_watertight
    assert read.is_winding_consistent
    assert read.volume == pytest.approx(mesh.volume, rel=1e-9)
    # Euler's formula: V - E + F = 2 - 2 g for one closed surface.
    assert read.euler_number == 2 - 2 * genus


def assert_same(mesh, expected):
    """The same solid as the oracle's: volume, genus, and nothing in one that is not in the other."""
    direct = mesh.manifold()
    assert direct.genus() == expected.genus()
    assert direct.volume() == pytest.approx(expected.volume(), rel=1e-7)
    apart = (direct - expected).volume() + (expected - direct).volume()
    assert apart < 1e-6 * expected.volume()
