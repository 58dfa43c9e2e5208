import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.output.meshes.stl import read_corners, read_stl, write_stl
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed

lengths = st.integers(1, 400_000).map(lambda micrometres: micrometres / 1000)


def test_the_size_is_84_and_50_for_each_triangle(box):
    data = write_stl(box(), "Drawerwright F1")
    assert len(data) == 84 + 50 * 12
    assert struct.unpack_from("<I", data, 80) == (12,)
    assert data[:80] == b"Drawerwright F1".ljust(80)


def test_records_hold_unit_normals_by_the_right_hand_rule_and_no_attribute(floor):
    mesh = floor(1, 2)
    records = np.frombuffer(write_stl(mesh, "x")[84:], dtype="<f4, <f4, <f4, (3, 3)<f4, <u2")
    normals = np.column_stack([records[f"f{axis}"] for axis in range(3)]).astype(float)
    corners = records["f3"].astype(float)
    expected = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert np.allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-6)
    assert np.allclose(normals, expected / np.linalg.norm(expected, axis=1)[:, None], atol=1e-6)
    assert not records["f4"].any()


@settings(max_examples=40)
@given(lengths, lengths, lengths)
def test_reading_back_restores_the_solid(box, x, y, z):
    mesh = box(x, y, z)
    read = read_stl(write_stl(mesh, "x"))
    assert len(read.vertices) == 8
    assert read.volume == pytest.approx(x * y * z, rel=1e-6)
    assert read.manifold().genus() == 0


def test_reading_back_merges_vertices_and_keeps_the_order_of_triangles(floor):
    mesh = floor(2, 2)
    data = write_stl(mesh, "x")
    read = read_stl(data)
    assert len(read.vertices) == len(mesh.vertices)
    assert np.array_equal(read.vertices.astype(np.float32)[read.triangles], read_corners(data))


def test_a_negative_zero_is_a_zero(box):
    mesh = box()
    signed = Mesh(np.where(mesh.vertices == 0.0, -0.0, mesh.vertices), mesh.triangles)
    assert write_stl(signed, "x") == write_stl(mesh, "x")


@pytest.mark.parametrize("header", ["solid tile", "SOLID", "x" * 81])
def test_a_header_that_misleads_is_refused(box, header):
    with pytest.raises(ValueError, match="cannot be the header"):
        write_stl(box(), header)


def test_a_triangle_without_area_is_refused():
    points = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0]])
    with pytest.raises(CheckFailed, match="no area") as failed:
        write_stl(Mesh(points, np.array([[0, 1, 2], [0, 1, 3]], dtype=np.int32)), "x")
    assert failed.value.value == 1


@pytest.mark.parametrize("cut", [-1, 1, 50, -84, -10_000])
def test_a_file_of_the_wrong_size_is_refused(box, cut):
    data = write_stl(box(), "x")
    with pytest.raises(CheckFailed, match="does not match its number of triangles"):
        read_stl(data + bytes(cut) if cut > 0 else data[:cut])


def test_a_number_that_is_not_finite_is_refused(box):
    data = bytearray(write_stl(box(), "x"))
    struct.pack_into("<f", data, 84 + 12, float("nan"))
    with pytest.raises(CheckFailed, match="not finite"):
        read_stl(bytes(data))
