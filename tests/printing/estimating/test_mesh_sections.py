"""Sections of meshes against slices of the same solids by manifold3d."""

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.printing.estimating.parts import parts
from worker.printing.estimating.mesh_sections import sections
from worker.solids import Mesh


def region(rings):
    return manifold3d.CrossSection(rings, manifold3d.FillRule.Positive)


def difference(left, right):
    return (left - right).area() + (right - left).area()


@pytest.mark.parametrize("name", ["small", "coarse", "l-shaped"])
def test_sections_of_parts_are_those_of_their_solids(name):
    for _, mark, mesh in parts(name):
        solid = mesh.manifold()
        low, high = (float(bound[2]) for bound in mesh.bounds)
        heights = np.linspace(low, high, 12)[1:-1] + 0.0137  # clear of flat faces
        for height, section in zip(heights, sections(mesh, heights), strict=True):
            plain = solid.slice(height)
            assert difference(region(section.rings), plain) < 1e-4 * max(plain.area(), 1.0), (mark, height)
            # arcs lose every other point, and nothing else changes: at most two thirds of 0.05 mm along all edges
            edge = sum(np.linalg.norm(np.roll(ring, 1, axis=0) - ring, axis=1).sum() for ring in section.rings)
            assert difference(region(section.coarse), plain) < 2.0 / 3.0 * 0.05 * max(edge, 1.0), (mark, height)
            assert sum(map(len, section.coarse)) <= sum(map(len, section.rings))


@given(st.floats(5.0, 40.0), st.floats(1.0, 4.0), st.integers(3, 40), st.floats(0.05, 0.95))
@settings(max_examples=40, deadline=None)
def test_a_ring_of_facets_by_closed_form(radius, wall, facets, share):
    tube = manifold3d.Manifold.cylinder(20.0, radius, circular_segments=facets)
    tube -= manifold3d.Manifold.cylinder(20.0, radius - wall / 2.0, circular_segments=facets)
    (section,) = sections(Mesh.of(tube), [20.0 * share])
    area = facets / 2.0 * np.sin(2.0 * np.pi / facets) * (radius**2 - (radius - wall / 2.0) ** 2)
    assert region(section.rings).area() == pytest.approx(area, rel=1e-4)
    assert [len(ring) for ring in section.rings] == [facets, facets]


def test_diagonals_of_flat_walls_leave_no_points():
    (section,) = sections(Mesh.of(manifold3d.Manifold.cube([30.0, 20.0, 10.0])), [4.0])
    assert [len(ring) for ring in section.rings] == [4]
    assert section.coarse[0].tolist() == section.rings[0].tolist()


def test_a_height_at_a_vertex_takes_what_lies_above():
    step = manifold3d.Manifold.cube([30.0, 20.0, 5.0]) + manifold3d.Manifold.cube([10.0, 20.0, 9.0])
    below, at, above = sections(Mesh.of(step), [4.9, 5.0, 5.1])
    assert region(below.rings).area() == pytest.approx(600.0)
    assert region(at.rings).area() == region(above.rings).area() == pytest.approx(200.0)


def test_sections_along_upright_walls_are_alike():
    wall, higher, wider = (
        section
        for cube in ([30.0, 20.0, 10.0], [30.0, 20.0, 12.0], [30.0, 20.5, 12.0])
        for section in sections(Mesh.of(manifold3d.Manifold.cube(cube)), [5.0])
    )
    assert wall.is_like(higher)
    assert not wall.is_like(wider)


def test_an_open_mesh_is_refused():
    cube = Mesh.of(manifold3d.Manifold.cube([30.0, 20.0, 10.0]))
    with pytest.raises(ValueError, match="not closed"):
        sections(Mesh(cube.vertices, cube.triangles[:-1]), [0.5, 5.0, 9.5])
