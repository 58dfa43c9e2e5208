import json
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.plan import Cell, DrawerPlan, Lattice
from worker.layout.model.shapes import Placement
from worker.output.meshes.scene import FLOOR, TRAYS, upright, write_glb
from worker.solids.mesh import Mesh

SQUARE = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0))


def drawer_of(*placements):
    lattice = Lattice((0.0, 0.0), 42.0, (Cell(0, 0, 2, 2),))
    return DrawerPlan(
        name="top", outline=(SQUARE,), size=(100.0, 100.0, 50.0), lattice=lattice, whole=1, half=0, across=(1, 1),
        leftover=(0.0, 0.0), free=0, placements=placements, seams=(), copies=1,
    )  # fmt: skip


def chunks_of(data):
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    chunks, at = {}, 12
    while at < len(data):
        size, kind = struct.unpack_from("<I4s", data, at)
        assert size % 4 == 0
        chunks[kind] = data[at + 8 : at + 8 + size]
        at += 8 + size
    return json.loads(chunks[b"JSON"]), chunks.get(b"BIN\0", b"")


def turned(quaternion, points):
    """Points turned by a unit quaternion, by the textbook's formula."""
    axis, w = np.array(quaternion[:3]), quaternion[3]
    return points + 2.0 * np.cross(axis, np.cross(axis, points) + w * points)


def points_of(document, binary, node):
    """The vertices of a node where it stands, in metres."""
    primitive = document["meshes"][node["mesh"]]["primitives"][0]
    accessor = document["accessors"][primitive["attributes"]["POSITION"]]
    view = document["bufferViews"][accessor["bufferView"]]
    points = np.frombuffer(binary, "<f4", accessor["count"] * 3, view["byteOffset"]).reshape(-1, 3)
    assert points.min(axis=0).tolist() == pytest.approx(accessor["min"])
    assert points.max(axis=0).tolist() == pytest.approx(accessor["max"])
    return turned(node.get("rotation", [0, 0, 0, 1]), points.astype(float)) + node.get("translation", [0, 0, 0])


@pytest.fixture(scope="module")
def glb(box):
    drawer = drawer_of(
        Placement("F1", (0.0, 0.0, 0.0)),
        Placement("T1", (1.0, 2.0, 3.0), 0, (0, 0), "bits"),
        Placement("T1", (50.0, 2.0, 3.0), 90, (1, 0), "screws"),
    )
    return write_glb(drawer, {"F1": box(100.0, 100.0, 3.0), "T1": box(40.0, 20.0, 10.0)}, {"T1": "#ffffff"})


def test_a_mark_is_one_mesh_and_each_place_a_named_node(glb):
    document, _ = chunks_of(glb)
    assert [mesh["name"] for mesh in document["meshes"]] == ["F1", "T1"]
    assert [node["name"] for node in document["nodes"]] == ["top", "F1", "T1 bits", "T1 screws"]
    assert [node.get("mesh") for node in document["nodes"]] == [None, 0, 1, 1]
    assert document["nodes"][0]["children"] == [1, 2, 3]


def test_colours_are_in_linear_light(glb):
    document, _ = chunks_of(glb)
    floor, trays = document["materials"]
    assert (floor["name"], trays["name"]) == (f"floor {FLOOR}", "trays #FFFFFF")
    assert trays["pbrMetallicRoughness"]["baseColorFactor"] == [1.0, 1.0, 1.0, 1.0]
    assert floor["pbrMetallicRoughness"]["baseColorFactor"][0] == pytest.approx(
        ((int(FLOOR[1:3], 16) / 255 + 0.055) / 1.055) ** 2.4, abs=1e-6
    )


def test_marks_of_one_colour_share_a_material(box):
    drawer = drawer_of(*(Placement(mark, (0.0, 0.0, 0.0), 0, (0, 0)) for mark in ("T10", "T2")))
    document, _ = chunks_of(write_glb(drawer, {"T2": box(), "T10": box()}, {}))
    assert [material["name"] for material in document["materials"]] == [f"trays {TRAYS}"]
    assert [mesh["name"] for mesh in document["meshes"]] == ["T2", "T10"]


def test_a_turned_tray_stands_where_the_plan_says(glb):
    document, binary = chunks_of(glb)
    points = points_of(document, binary, document["nodes"][3])
    assert points.min(axis=0) == pytest.approx([0.050, 0.003, -0.042])
    assert points.max(axis=0) == pytest.approx([0.070, 0.013, -0.002])


@pytest.mark.parametrize(("count", "kind"), [(65_535, "<u2"), (65_536, "<u4")])
def test_many_vertices_have_wide_indices(count, kind):
    vertices = np.random.default_rng(1).uniform(0.0, 90.0, (count, 3))
    mesh = Mesh(vertices, np.arange(65_535, dtype=np.int32).reshape(-1, 3) + count - 65_535)
    document, binary = chunks_of(write_glb(drawer_of(Placement("F1", (0.0, 0.0, 0.0))), {"F1": mesh}, {}))
    accessor = document["accessors"][1]
    view = document["bufferViews"][accessor["bufferView"]]
    assert accessor["componentType"] == {"<u2": 5123, "<u4": 5125}[kind]
    assert np.array_equal(np.frombuffer(binary, kind, accessor["count"], view["byteOffset"]), mesh.triangles.ravel())


def test_the_same_drawer_gives_the_same_bytes(box):
    drawer = drawer_of(Placement("F1", (0.0, 0.0, 0.0)))
    assert write_glb(drawer, {"F1": box()}, {}) == write_glb(drawer, {"F1": box()}, {})


def test_an_empty_drawer_is_a_scene_too():
    document, binary = chunks_of(write_glb(drawer_of(), {}, {}))
    assert document["scenes"] == [{"name": "top"}]
    assert binary == b""


def test_what_has_no_mesh_or_no_colour_is_refused(box):
    drawer = drawer_of(Placement("F1", (0.0, 0.0, 0.0)))
    with pytest.raises(KeyError):
        write_glb(drawer, {}, {})
    with pytest.raises(ValueError, match="RED"):
        write_glb(drawer, {"F1": box()}, {"F1": "red"})


@settings(max_examples=40)
@given(
    st.tuples(*[st.floats(-500.0, 500.0)] * 3),
    st.sampled_from([0, 90, 180, 270]),
    st.tuples(*[st.floats(-20.0, 20.0)] * 3),
)
def test_every_part_stands_at_the_least_corner_of_its_box(box, at, turn, corner):
    mesh = box(30.0, 20.0, 5.0, at=corner)
    document, binary = chunks_of(write_glb(drawer_of(Placement("T1", at, turn, (0, 0))), {"T1": mesh}, {}))
    points = points_of(document, binary, document["nodes"][1])
    x, z, y = points.min(axis=0)[0], points.min(axis=0)[1], -points[:, 2].max()
    assert [x * 1e3, y * 1e3, z * 1e3] == pytest.approx(at, abs=1e-3)
    width, height, depth = np.ptp(points, axis=0) * 1e3
    assert [width, depth, height] == pytest.approx([20.0, 30.0, 5.0] if turn % 180 else [30.0, 20.0, 5.0], abs=1e-3)


def test_upright_keeps_the_hand():
    assert np.linalg.det(upright(np.eye(3)) * 1e3) == pytest.approx(1.0)
