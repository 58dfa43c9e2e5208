"""Our files, read by programs that are not ours."""

import io

import lib3mf
import manifold3d
import numpy as np
import pytest
import stl
import trimesh

from worker.layout.planner import lay_out
from worker.output.meshes.stl import write_stl
from worker.output.meshes.threemf import write_3mf
from worker.solids.kernel import build
from worker.solids.mesh import Mesh
from worker.spec import Spec

pytestmark = pytest.mark.outside


SPEC = {
    "spec": "1",
    "name": "bench left, top",
    "printer": {"bed": [180, 180, 180]},
    "drawers": [
        {"name": "top", "width": 150, "depth": 200, "height": 60, "trays": [
            {"name": "bits", "cells": [2, 1], "height": 40, "compartments": [2, 1], "label_ledge": True}
        ]}
    ],
}  # fmt: skip


@pytest.fixture(scope="module", params=["F1", "T1", "C1", "ring"])
def mesh(request):
    """A real tile, tray and coupon, and a solid whose vertices lie off the grid."""
    if request.param == "ring":
        hole = manifold3d.Manifold.cylinder(20.0, 5.0, 5.0, 64).translate((15.0, 10.0, -1.0))
        return Mesh.of(manifold3d.Manifold.cube((30.0, 20.0, 8.0)) - hole)
    return build(lay_out(Spec.model_validate(SPEC)).part(request.param).shape)


def read_strictly(data):
    """Read by lib3mf, the 3MF consortium's own library, in strict mode; return the model's mesh objects."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)  # noqa: FBT003 - as the library has it
    reader.ReadFromBuffer(data)
    warnings = [reader.GetWarning(index) for index in range(reader.GetWarningCount())]
    objects, meshes = model.GetMeshObjects(), []
    while objects.MoveNext():
        meshes.append(objects.GetCurrentMeshObject())
    return model, meshes, warnings


def test_lib3mf_reads_the_3mf_strictly(mesh):
    """Source: lib3mf 2.5.0, strict reader; rules 3mf-12 to 3mf-21 of the 3MF Core Specification 1.4.0."""
    model, (thing,), warnings = read_strictly(
        write_3mf(mesh, name="F1 tile", part_number="F1", metadata={"Title": "bench left, top", "Application": "x"})
    )
    assert warnings == []
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert thing.IsManifoldAndOriented()
    assert (thing.GetName(), thing.GetPartNumber()) == ("F1 tile", "F1")
    assert (thing.GetVertexCount(), thing.GetTriangleCount()) == (len(mesh.vertices), len(mesh.triangles))
    box = thing.GetOutbox()
    assert list(box.MinCoordinate) == pytest.approx(mesh.bounds[0].tolist(), abs=1e-4)
    assert list(box.MaxCoordinate) == pytest.approx(mesh.bounds[1].tolist(), abs=1e-4)
    group = model.GetMetaDataGroup()
    assert {group.GetMetaData(i).GetName() for i in range(group.GetMetaDataCount())} == {"Title", "Application"}


def test_lib3mf_reads_two_bodies_of_one_object(mesh):
    """Source: lib3mf 2.5.0, strict reader; base materials: chapter 5 of the 3MF Core Specification 1.4.0."""
    letters = Mesh(mesh.vertices * (1.0, 1.0, -1.0), mesh.triangles[:, ::-1])
    model, bodies, warnings = read_strictly(write_3mf(mesh, name="T1", part_number="T1", lettering=letters))
    assert warnings == []
    assert len(bodies) == 2
    assert all(body.IsManifoldAndOriented() for body in bodies)
    groups = model.GetBaseMaterialGroups()
    assert groups.MoveNext()
    group = groups.GetCurrentBaseMaterialGroup()
    assert [group.GetName(number) for number in group.GetAllPropertyIDs()] == ["part", "lettering"]
    # resource, property, whether it has one: the library numbers properties from 1
    own = [tuple(body.GetObjectLevelProperty()) for body in bodies]
    assert own == [(group.GetUniqueResourceID(), number, True) for number in group.GetAllPropertyIDs()]
    objects = model.GetComponentsObjects()
    assert objects.MoveNext()
    whole = objects.GetCurrentComponentsObject()
    assert [whole.GetComponent(index).GetObjectResourceID() for index in range(whole.GetComponentCount())] == [
        body.GetResourceID() for body in bodies
    ]
    items = model.GetBuildItems()
    assert items.Count() == 1


def test_lib3mf_finds_one_item_to_print(mesh):
    """Source: lib3mf 2.5.0; rule 3mf-15."""
    model, _, _ = read_strictly(write_3mf(mesh, name="F1", part_number="F1"))
    items = model.GetBuildItems()
    assert items.Count() == 1
    assert items.MoveNext()
    assert items.GetCurrent().GetPartNumber() == "F1"


def test_numpy_stl_reads_the_stl(mesh):
    """Source: numpy-stl 4.1, an STL library of its own."""
    read = stl.mesh.Mesh.from_file("part.stl", fh=io.BytesIO(write_stl(mesh, "Drawerwright F1")), mode=stl.Mode.BINARY)
    volume, _, _ = read.get_mass_properties()
    assert len(read.vectors) == len(mesh.triangles)
    assert read.is_closed(exact=True)
    assert float(volume) == pytest.approx(mesh.volume, rel=1e-5)
    stored = read.normals / np.linalg.norm(read.normals, axis=1)[:, None]
    assert np.allclose(stored, read.get_unit_normals(), atol=1e-5)


@pytest.mark.parametrize("kind", ["stl", "3mf"])
def test_trimesh_finds_both_watertight(mesh, kind):
    """Source: trimesh 5, reading without any repair."""
    data = write_stl(mesh, "x") if kind == "stl" else write_3mf(mesh, name="x", part_number="x")
    read = trimesh.load_mesh(io.BytesIO(data), file_type=kind, process=False)
    if kind == "stl":
        read.merge_vertices()  # an STL file shares no vertices
    assert read.is_watertight
    assert read.is_winding_consistent
    assert read.volume == pytest.approx(mesh.volume, rel=1e-5)
