import io
import xml.etree.ElementTree as ET
import zipfile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.output.meshes.stl import read_corners, write_stl
from worker.output.meshes.threemf import METADATA_NAMES, read_3mf, write_3mf
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


def model_of(data):
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return ET.fromstring(package.read("3D/3dmodel.model"))  # noqa: S314 - we wrote it


def test_the_package_holds_the_three_parts_of_a_minimal_3mf(box):
    data = write_3mf(box(), name="F1 tile", part_number="F1")
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        assert package.namelist() == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
        relations = ET.fromstring(package.read("_rels/.rels"))  # noqa: S314 - we wrote it
    assert [relation.attrib["Target"] for relation in relations] == ["/3D/3dmodel.model"]


def test_the_model_says_millimetres_name_number_and_metadata(box):
    model = model_of(
        write_3mf(
            box(), name="F1", part_number="F1", metadata={"Title": "a < b & c", "Application": "Drawerwright 0.1"}
        )
    )
    assert model.attrib["unit"] == "millimeter"
    assert {element.attrib["name"]: element.text for element in model.iter(f"{CORE}metadata")} == {
        "Application": "Drawerwright 0.1",
        "Title": "a < b & c",
    }
    (thing,) = model.iter(f"{CORE}object")
    (item,) = model.iter(f"{CORE}item")
    assert (thing.attrib["name"], thing.attrib["partnumber"], thing.attrib["type"]) == ("F1", "F1", "model")
    assert item.attrib == {"objectid": thing.attrib["id"], "partnumber": "F1"}


def test_numbers_on_the_grid_have_three_decimals(box):
    model = model_of(write_3mf(box(1.5, 2.25, 3.001), name="x", part_number="x"))
    numbers = {element.attrib[axis] for element in model.iter(f"{CORE}vertex") for axis in "xyz"}
    assert numbers == {"0.000", "1.500", "2.250", "3.001"}


@settings(max_examples=30)
@given(st.lists(st.floats(0.001, 400.0), min_size=3, max_size=3))
def test_the_3mf_and_the_stl_hold_the_same_points(box, size):
    mesh = box(*size)
    (read,) = read_3mf(write_3mf(mesh, name="x", part_number="x"))
    assert np.array_equal(read.triangles, mesh.triangles)
    on_grid = np.abs(np.round(mesh.vertices, 3) - mesh.vertices).max() <= 1e-7
    corners = read_corners(write_stl(mesh, "x"))
    packed = read.vertices.astype(np.float32)[read.triangles]
    assert np.array_equal(packed, corners) or (on_grid and np.abs(packed - corners).max() <= 4e-5)


def test_a_tile_reads_back_as_it_was(floor):
    mesh = floor(2, 3)
    (read,) = read_3mf(write_3mf(mesh, name="x", part_number="x"))
    assert np.array_equal(read.triangles, mesh.triangles)
    assert np.abs(read.vertices - mesh.vertices).max() < 1e-9


def test_the_same_mesh_gives_the_same_bytes(floor):
    assert write_3mf(floor(1, 1), name="x", part_number="x") == write_3mf(floor(1, 1), name="x", part_number="x")


@settings(max_examples=60)
@given(st.text(max_size=20))
def test_any_text_is_well_formed(box, text):
    model = model_of(write_3mf(box(), name=text, part_number="T1", metadata=dict.fromkeys(METADATA_NAMES, text)))
    assert len(list(model.iter(f"{CORE}metadata"))) == len(METADATA_NAMES)


def test_what_xml_cannot_carry_is_replaced(box):
    model = model_of(write_3mf(box(), name="a\x00b\ud800", part_number="T1"))
    assert next(model.iter(f"{CORE}object")).attrib["name"] == "a\ufffdb\ufffd"


def test_an_unknown_metadata_name_is_refused(box):
    with pytest.raises(ValueError, match="Colour"):
        write_3mf(box(), name="x", part_number="x", metadata={"Colour": "red"})


def test_a_damaged_package_is_refused(box):
    data = bytearray(write_3mf(box(), name="x", part_number="x"))
    data[len(data) // 2] ^= 0xFF
    with pytest.raises(CheckFailed):
        read_3mf(bytes(data))
    with pytest.raises(CheckFailed):
        read_3mf(b"no package")


def test_an_element_without_three_numbers_is_refused(box):
    with zipfile.ZipFile(io.BytesIO(write_3mf(box(), name="x", part_number="x"))) as package:
        model = package.read("3D/3dmodel.model").replace(b' y="', b' note="" q="', 1).replace(b'q="0.000"', b"", 1)
    changed = io.BytesIO()
    with zipfile.ZipFile(changed, "w") as package:
        package.writestr("3D/3dmodel.model", model)
    with pytest.raises(CheckFailed):
        read_3mf(changed.getvalue())


def test_an_empty_mesh_is_refused():
    with pytest.raises(CheckFailed, match="encloses no volume"):
        write_3mf(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)), name="x", part_number="x")
