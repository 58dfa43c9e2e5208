"""The figures of a mesh, against closed forms of a box."""

import manifold3d
import pytest

from worker.solids.mesh import Mesh


@pytest.mark.parametrize("at", [(0.0, 0.0, 0.0), (-7.0, 11.0, 3.0)])
def test_volume_area_and_altitudes_are_those_of_the_box_wherever_it_is(at):
    mesh = Mesh.of(manifold3d.Manifold.cube((2.0, 3.0, 5.0)).translate(at))
    assert mesh.volume == pytest.approx(2 * 3 * 5)
    assert mesh.area == pytest.approx(2 * (2 * 3 + 3 * 5 + 5 * 2))
    # each face is two right-angled triangles: legs over the diagonal
    faces = [(2, 3), (3, 5), (5, 2)]
    assert sorted(set(mesh.altitudes.round(9))) == pytest.approx(
        sorted(a * b / (a * a + b * b) ** 0.5 for a, b in faces)
    )
