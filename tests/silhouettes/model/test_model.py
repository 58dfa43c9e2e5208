"""Silhouettes of models: outlines up to a depth, resting poses, undercuts, meshes that are not closed."""

import io
import zipfile
from math import cos, pi, sin

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from trimesh import creation

from worker.silhouettes.errors import ModelRefused, SilhouetteError
from worker.silhouettes.model.model import ModelOptions, read_model
from worker.silhouettes.model.shadow import shadow

_PLAIN = ModelOptions()


def _bytes(mesh, kind):
    content = mesh.export(file_type=kind)
    return content if isinstance(content, bytes) else content.encode()


def _refusal(content, kind="stl", options=_PLAIN):
    with pytest.raises(ModelRefused) as refusal:
        read_model(content, kind, options)
    assert refusal.value.remedy
    return refusal.value


@pytest.mark.parametrize("kind", ["stl", "obj", "3mf"])
def test_a_block_in_each_format(kind):
    made = read_model(_bytes(creation.box((30, 20, 10)), kind), kind, _PLAIN).silhouette

    assert made.size == pytest.approx((30.0, 20.0))
    assert made.depth == pytest.approx(10.0)
    assert made.method == "model"
    assert made.details["undercut"] == made.details["overhang"] == 0.0
    assert bool(made.warnings) == (kind != "3mf")


@pytest.mark.outside
@pytest.mark.parametrize(
    ("unit", "factor"), [("inch", 25.4), ("centimeter", 10.0), ("millimeter", 1.0), ("micron", 0.001)]
)
def test_units_of_3mf(unit, factor):
    """3MF Core Specification 1.3, 3.4: the attribute unit of the model."""
    side = 30.0 / factor
    plain = _bytes(creation.box((side, side, side)), "3mf")
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(plain)) as before, zipfile.ZipFile(stream, "w") as after:
        for name in before.namelist():
            after.writestr(name, before.read(name).replace(b'unit="millimeter"', f'unit="{unit}"'.encode()))

    assert read_model(stream.getvalue(), "3mf", _PLAIN).silhouette.size == pytest.approx((30.0, 30.0), rel=1e-5)


def test_the_unit_of_an_stl_is_taken_from_the_options():
    content = _bytes(creation.box((3, 2, 1)), "stl")

    made = read_model(content, "stl", ModelOptions(unit="in")).silhouette

    assert made.size == pytest.approx((76.2, 50.8))
    assert made.warnings == ()


@pytest.mark.outside
@pytest.mark.parametrize(("inner", "outer", "thickness"), [(8.4, 16.0, 1.6), (13.0, 24.0, 2.5)])
def test_washers(inner, outer, thickness):
    """ISO 7089, normal series, product grade A: nominal d1 min, d2 max and h."""
    washer = creation.annulus(inner / 2, outer / 2, thickness, sections=256)

    made = read_model(_bytes(washer, "stl"), "stl", _PLAIN).silhouette

    assert made.polygon.area == pytest.approx(pi / 4 * (outer**2 - inner**2), rel=0.002)
    assert (len(made.holes), made.depth) == (1, pytest.approx(thickness))


def test_only_sections_up_to_the_depth_count():
    """A mushroom: the cap is wider than the stem below it. A cone section's radius is known at each height."""
    cone = creation.cone(20.0, 40.0, sections=128)
    cone.apply_transform(np.diag([1.0, 1.0, -1.0, 1.0]))
    cone.invert()
    cone.fix_normals()

    for depth in (10.0, 25.0):
        made = read_model(_bytes(cone, "stl"), "stl", ModelOptions(depth=depth)).silhouette

        assert made.polygon.area == pytest.approx(pi * (depth / 2) ** 2, rel=0.01)
        assert made.depth == pytest.approx(40.0)
        assert made.details["overhang"] == pytest.approx(20 - depth / 2, abs=0.1)
        assert any("wider" in warning for warning in made.warnings)


@given(st.floats(1.0, 39.0), st.floats(1.0, 39.0))
@settings(max_examples=20, deadline=None)
def test_a_deeper_outline_contains_a_shallower_section(first, second):
    """The thing lifts straight out: no section at or below the depth leaves the outline, by trimesh's own sections."""
    mesh = trimesh.util.concatenate(
        [
            creation.icosphere(3, 20.0),
            creation.box((50, 8, 6), np.array([[1, 0, 0, 9], [0, 1, 0, 3], [0, 0, 1, -4], [0, 0, 0, 1]], float)),
        ]
    )
    mesh.apply_translation((0, 0, 20))
    depth, level = max(first, second), min(first, second)

    outline = shapely.union_all(shadow(np.array(mesh.triangles), depth, closed=True))

    section = mesh.section(plane_origin=(0, 0, level), plane_normal=(0, 0, 1))
    assert shapely.distance(shapely.points(section.vertices[:, :2]), outline).max() < 0.02


def test_resting_poses_of_a_block():
    """By symmetry the shares are those of the solid angles of the faces; the largest face is the likeliest."""
    reading = read_model(_bytes(creation.box((30, 20, 10)), "stl"), "stl", _PLAIN)

    assert [pose.size for pose in reading.poses] == [
        pytest.approx((30, 20, 10)), pytest.approx((30, 10, 20)), pytest.approx((20, 10, 30)),
    ]  # fmt: skip
    assert sum(pose.share for pose in reading.poses) == pytest.approx(1.0)
    angle = 4 * np.arcsin(15 * 10 / np.sqrt((15**2 + 5**2) * (10**2 + 5**2)))  # of a rectangle, from its axis
    assert reading.poses[0].share == pytest.approx(2 * angle / (4 * pi))
    for number, pose in enumerate(reading.poses, start=1):
        made = read_model(_bytes(creation.box((30, 20, 10)), "stl"), "stl", ModelOptions(pose=number)).silhouette
        assert (*made.size, made.depth) == pytest.approx(pose.size)


def test_a_pen_stands_on_its_end_or_lies():
    pen = creation.cylinder(6.0, 140.0, sections=48)

    reading = read_model(_bytes(pen, "stl"), "stl", ModelOptions(pose=1))

    assert reading.silhouette.size == pytest.approx((140.0, 12.0), abs=0.1)
    assert len(reading.poses) == 2
    assert _refusal(_bytes(pen, "stl"), options=ModelOptions(pose=3)).limit == "1 to 2"


def test_no_pose_on_a_tip():
    """A cone lies on its side or stands on its base, never on its tip. On its side it is 2 r cos(half angle) high."""
    poses = read_model(_bytes(creation.cone(10, 40, sections=64), "stl"), "stl", _PLAIN).poses

    assert sorted(pose.size[2] for pose in poses) == pytest.approx([20 * cos(np.arctan(10 / 40)), 40.0], rel=2e-3)


def test_a_mesh_that_is_not_closed_is_repaired_only_on_request():
    box = creation.box((30, 20, 10))
    box.update_faces(np.arange(12) > 0)

    error = _refusal(_bytes(box, "stl"))

    assert (error.reason, error.pointer, error.value) == ("not-closed", "/repair", "3 open edges")
    made = read_model(_bytes(box, "stl"), "stl", ModelOptions(repair=True)).silhouette
    assert made.polygon.area == pytest.approx(600.0)
    assert any("not closed" in warning for warning in made.warnings)


def test_a_mesh_that_is_inside_out_is_turned_and_reported():
    box = creation.box((30, 20, 10))
    box.invert()

    made = read_model(_bytes(box, "stl"), "stl", _PLAIN).silhouette

    assert made.size == pytest.approx((30.0, 20.0))
    assert any("inside out" in warning for warning in made.warnings)


def test_bodies_that_overlap_are_one_outline():
    cross = trimesh.util.concatenate([creation.box((30, 10, 10)), creation.box((10, 30, 10))])

    made = read_model(_bytes(cross, "stl"), "stl", _PLAIN).silhouette

    assert made.polygon.area == pytest.approx(500.0)
    assert len(made.outer) == 12


def test_separate_bodies_are_refused():
    pair = trimesh.util.concatenate([creation.box((10, 10, 10)), creation.box((5, 5, 5))])
    pair.vertices[8:] += (40, 0, 0)

    assert _refusal(_bytes(pair, "stl")).reason == "several-outlines"


def test_a_fine_ball_has_its_poses_soon():
    """Its hull is capped: trimesh's own search takes over a minute for these 20,480 triangles."""
    reading = read_model(_bytes(creation.icosphere(5, 20.0), "stl"), "stl", _PLAIN)

    turn = 2 * pi * np.arange(2000) / 2000
    disc = shapely.Polygon([(20 + 20 * cos(t), 20 + 20 * sin(t)) for t in turn])
    assert reading.silhouette.polygon.symmetric_difference(disc).area < 0.01 * disc.area
    assert 0 < len(reading.poses) <= 6


def _archive(**parts):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name.replace("__", "/").replace("_", "."), content)
    return stream.getvalue()


_BOMB = b'<!DOCTYPE m [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]><model>&b;</model>'


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"", "stl"),
        (b"solid nothing\nendsolid", "stl"),
        (b"\0" * 80 + b"\xff\xff\xff\x7f" + b"\0" * 50, "stl"),
        (b"\0" * 80 + b"\x01\0\0\0" + b"\xff" * 50, "stl"),
        (b"v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3", "obj"),
        (b"v 1e300 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3", "obj"),
        (b"f 1 2 9999999", "obj"),
        (b"\n" * 2_000_000, "obj"),
        (b"PK\x03\x04", "3mf"),
        (_archive(**{"3D__3dmodel_model": _BOMB}), "3mf"),
        (_archive(**{"3D__3dmodel_model": b"<model>" + b"<a>" * 1000 + b"</a>" * 1000 + b"</model>"}), "3mf"),
        (_archive(**{"3D__x_bin": bytes(130_000_000)}), "3mf"),
    ],
    ids=["nothing", "no facet", "long", "nan", "nan obj", "far", "index", "lines", "torn", "entity", "deep", "bomb"],
)  # fmt: skip
def test_hostile_files_are_refused(content, kind):
    assert _refusal(content, kind).reason in {"unreadable", "too-large", "empty", "entities", "too-deep"}


def test_a_model_in_the_wrong_unit_is_refused():
    content = _bytes(creation.box((300, 200, 100)), "stl")

    assert _refusal(content, options=ModelOptions(unit="m")).pointer == "/unit"
    with pytest.raises(SilhouetteError) as refusal:
        read_model(_bytes(creation.box((0.3, 0.2, 0.1)), "stl"), "stl", _PLAIN)
    assert refusal.value.reason == "size"
