import struct

import manifold3d
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from worker.layout.model.shapes import KeyShape, Lettering, Part, TileShape, TrayShape
from worker.output.checks.part_checks import Expected, expected_of, fits_bed, inspect, open_edges, require
from worker.output.meshes.stl import write_stl
from worker.output.meshes.threemf import write_3mf
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed
from worker.spec.printer.printer import Forbidden, Printer

PRINTER = Printer(bed=(220.0, 220.0, 250.0))


def checks_of(mesh, *, expected=None, printer=PRINTER, stl=None, threemf=None):
    """Inspect a mesh's files; it is expected to be as it is unless said otherwise."""
    expected = expected or Expected(0, mesh.volume, tuple(mesh.bounds[1].tolist()))
    stl = write_stl(mesh, "x") if stl is None else stl
    threemf = write_3mf(mesh, name="x", part_number="x") if threemf is None else threemf
    return inspect(stl, threemf, expected, printer).checks


def failures(*args, **kwargs):
    return {check.name for check in checks_of(*args, **kwargs) if not check.passed}


def changed(mesh, triangles):
    return Mesh(mesh.vertices, np.asarray(triangles, dtype=np.int32))


def test_a_good_part_passes_every_check(floor):
    mesh = floor(2, 3)
    checks = checks_of(mesh, expected=Expected(6, mesh.volume, (84.0, 126.0, 3.0)))
    assert {check.name: check.passed for check in checks} == dict.fromkeys(
        ["files", "closed", "volume", "size", "slivers", "self-intersection", "bed", "components", "genus", "wall"],
        True,
    )
    require(checks, "F1")


def test_figures_and_limits_are_told(floor):
    mesh = floor(1, 1)
    checks = {check.name: check for check in checks_of(mesh, expected=Expected(1, mesh.volume, (42.0, 42.0, 3.0)))}
    assert checks["wall"].value == pytest.approx(1.2, abs=2e-3)
    assert checks["wall"].limit == "at least 0.88 mm (2 lines) less 0.02 mm for rounding"
    assert checks["genus"].value == 1
    assert checks["bed"].value == "42.000 x 42.000 x 3.000"
    assert checks["volume"].value == pytest.approx(mesh.volume, rel=1e-5)


def test_a_flipped_triangle_is_found(box):
    mesh = box()
    assert "closed" in failures(changed(mesh, [mesh.triangles[0][::-1], *mesh.triangles[1:]]))


def test_a_missing_triangle_is_found(box):
    mesh = box()
    assert "closed" in failures(changed(mesh, mesh.triangles[1:]))


def test_a_doubled_triangle_is_found(box):
    mesh = box()
    failed = failures(changed(mesh, [*mesh.triangles, mesh.triangles[0]]))
    assert {"closed", "self-intersection"} <= failed


def test_a_solid_inside_out_is_found(box):
    mesh = box()
    failed = failures(changed(mesh, mesh.triangles[:, ::-1]), expected=Expected(0, mesh.volume, (10.0, 20.0, 5.0)))
    assert "volume" in failed


def test_two_boxes_through_each_other_are_found(box, together):
    mesh = together(box(), box(at=(5.0, 5.0, 2.0)))
    expected = Expected(0, mesh.volume, (15.0, 25.0, 7.0))
    assert failures(mesh, expected=expected) >= {"self-intersection", "components"}


def test_a_piece_too_many_is_found(box, together):
    mesh = together(box(), box(at=(20.0, 0.0, 0.0)))
    assert failures(mesh) >= {"components"}
    two = Expected(mesh.manifold().genus(), mesh.volume, (30.0, 20.0, 5.0), components=2)
    assert failures(mesh, expected=two) == set()


def test_a_hole_too_few_is_found(floor):
    mesh = floor(1, 1)
    assert failures(mesh, expected=Expected(2, mesh.volume, (42.0, 42.0, 3.0))) == {"genus"}


@pytest.mark.parametrize("factor", [1.0 - 3e-5, 1.0 + 3e-5])
def test_another_volume_than_built_is_found(box, factor):
    assert failures(box(), expected=Expected(0, 1000.0 * factor, (10.0, 20.0, 5.0))) == {"volume"}


@pytest.mark.parametrize("size", [(10.01, 20.0, 5.0), (10.0, 19.99, 5.0), (10.0, 20.0, 5.01)])
def test_another_size_than_planned_is_found(box, size):
    assert failures(box(), expected=Expected(0, 1000.0, size)) == {"size"}


def test_a_part_beside_its_origin_is_found(box):
    assert failures(box(at=(1.0, 0.0, 0.0)), expected=Expected(0, 1000.0, (11.0, 20.0, 5.0))) == {"size"}


def test_a_sliver_is_found(box):
    mesh = box()
    edge = mesh.triangles[0][:2]
    middle = mesh.vertices[edge].mean(axis=0)
    inward = np.array([5.0, 10.0, 2.5]) - middle
    vertices = np.vstack([mesh.vertices, middle + inward * 1e-5])
    new = len(mesh.vertices)
    triangles = []
    for triangle in mesh.triangles:  # split both triangles of the edge at a point next to it
        for k in range(3):
            a, b, c = np.roll(triangle, -k)
            if {a, b} == set(edge.tolist()):
                triangles += [[a, new, c], [new, b, c]]
                break
        else:
            triangles.append(triangle)
    split = Mesh(vertices, np.array(triangles, dtype=np.int32))
    assert open_edges(split) == 0
    assert split.altitudes.min() > 1.0  # the split triangles are well formed
    flat = Mesh(vertices, np.array([*mesh.triangles[1:], [edge[0], edge[1], new], [edge[1], mesh.triangles[0][2], new],
                                    [mesh.triangles[0][2], edge[0], new]], dtype=np.int32))  # fmt: skip
    assert failures(flat) == {"slivers"}


def test_a_fold_is_found(box):
    mesh = box()
    top = [t for t in range(12) if (mesh.vertices[mesh.triangles[t]][:, 2] == 5.0).all()]
    a, b, c = mesh.triangles[top[0]]
    corners = mesh.vertices[[a, b, c]]
    beyond = corners.mean(axis=0) + 1.2 * (corners.mean(axis=0) - corners[2])  # over the edge a-b, folded back
    vertices = np.vstack([mesh.vertices, beyond])
    others = [t for index, t in enumerate(mesh.triangles) if index != top[0]]
    folded = Mesh(vertices, np.array([*others, [a, b, 8], [b, c, 8], [c, a, 8]], dtype=np.int32))
    assert open_edges(folded) == 0
    assert "self-intersection" in failures(folded)


def test_a_thin_wall_is_found():
    thin = manifold3d.Manifold.cube((20.0, 20.0, 5.0)) - manifold3d.Manifold.cube((15.0, 18.6, 6.0)).translate(
        (2.0, 0.7, -1.0)
    )
    mesh = Mesh.of(thin)
    expected = Expected(1, mesh.volume, (20.0, 20.0, 5.0))
    assert failures(mesh, expected=expected) == {"wall"}
    assert failures(mesh, expected=expected, printer=Printer(bed=(220.0, 220.0, 250.0), nozzle=0.2, layer=0.1)) == set()


@pytest.mark.parametrize("size", [(220.0, 20.0, 5.0), (20.0, 219.1, 5.0), (20.0, 20.0, 250.1)])
def test_a_part_too_large_for_the_bed_is_found(box, size):
    assert failures(box(*size)) == {"bed"}


def test_files_that_differ_are_found(box):
    other = write_3mf(box(10.0, 20.0, 5.001), name="x", part_number="x")
    assert failures(box(), threemf=other) == {"files"}
    assert "files" in failures(box(), threemf=write_3mf(changed(box(), box().triangles[1:]), name="x", part_number="x"))


@pytest.mark.parametrize("vertex", [8, 1000])
def test_a_triangle_of_a_vertex_that_does_not_exist_is_found(box, vertex):
    triangles = np.array(box().triangles)
    triangles[0, 0] = vertex
    checks = checks_of(box(), threemf=write_3mf(changed(box(), triangles), name="x", part_number="x"))
    assert any(not check.passed and check.name in {"files", "readable"} for check in checks)


def test_a_file_that_cannot_be_read_is_found(box):
    assert failures(box(), stl=b"solid") == {"readable"}
    assert failures(box(), threemf=b"") == {"readable"}


def test_a_file_without_triangles_is_found(box):
    assert failures(box(), stl=b"x".ljust(80) + bytes(4)) == {"readable"}


@settings(max_examples=60)
@given(st.data())
def test_no_harm_to_a_file_goes_unnoticed_or_raises(floor, data):
    mesh = floor(1, 2)
    stl = bytearray(write_stl(mesh, "x"))
    triangle = data.draw(st.integers(0, len(mesh.triangles) - 1))
    word = data.draw(st.integers(3, 11))  # a coordinate
    value = data.draw(st.floats(width=32))
    place = 84 + 50 * triangle + 4 * word
    before = struct.unpack_from("<f", stl, place)[0]
    assume(not abs(value - before) <= 1e-4)
    struct.pack_into("<f", stl, place, value)
    checks = checks_of(mesh, stl=bytes(stl), expected=Expected(2, mesh.volume, (42.0, 84.0, 3.0)))
    assert not all(check.passed for check in checks)


def test_a_failed_check_raises_with_part_figure_and_limit(box):
    mesh = box()
    with pytest.raises(CheckFailed) as caught:
        require(checks_of(mesh, expected=Expected(3, mesh.volume, (10.0, 20.0, 6.0))), "T4")
    error = caught.value
    assert (error.part, error.value, error.limit) == ("T4", 1.0, "a bounding box at most 0.002 mm off the planned one")
    assert [failure.value for failure in error.errors] == [0]
    assert "'size'" in error.message


BED = Printer(bed=(100.0, 80.0, 50.0), margin=5.0, forbidden=(Forbidden(at=(0.0, 0.0), size=(30.0, 20.0)),))


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((90.0, 50.0, 10.0), False),
        ((65.0, 70.0, 10.0), True),  # right of the forbidden corner
        ((70.0, 65.0, 10.0), True),  # the same, turned
        ((90.0, 55.0, 10.0), True),  # behind it
        ((90.0, 55.1, 10.0), False),
        ((66.0, 70.0, 10.0), False),
        ((10.0, 10.0, 50.1), False),
        ((10.0, 10.0, 50.0), True),
    ],
)
def test_the_bed_has_margins_and_forbidden_areas(size, expected):
    expected = expected or size == (90.0, 50.0, 10.0)  # 80 - 5 - 20 = 55 mm are left behind the corner
    assert fits_bed(size, BED) == expected


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((200.0, 60.0, 10.0), True),  # in front of the forbidden strip
        ((60.0, 200.0, 10.0), True),  # the same, turned
        ((200.0, 60.1, 10.0), False),
        ((119.0, 100.0, 10.0), True),  # beside it
        ((121.0, 61.0, 10.0), False),
    ],
)
def test_a_forbidden_area_of_a_bed_that_is_not_square(size, expected):
    area = Forbidden(at=(120.0, 60.0), size=(80.0, 40.0))
    assert fits_bed(size, Printer(bed=(200.0, 100.0, 50.0), margin=0.0, forbidden=(area,))) == expected


@pytest.mark.parametrize(("over", "expected"), [(0.0015, True), (0.004, False)])
@pytest.mark.parametrize("between", [((0.0, 0.0, 20.0, 100.0), (60.0, 0.0, 40.0, 100.0)), ((0.0, 0.0, 20.0, 100.0),)])
def test_a_box_fits_between_forbidden_areas_within_rounding(between, over, expected):
    """A strip 40 or 80 mm wide is left over the whole depth of the bed; with the axes swapped, too."""
    wide = 40.0 if len(between) > 1 else 80.0
    for swap in (False, True):
        areas = [(area[1], area[0], area[3], area[2]) if swap else area for area in between]
        forbidden = tuple(Forbidden(at=area[:2], size=area[2:]) for area in areas)
        printer = Printer(bed=(100.0, 100.0, 50.0), margin=0.0, forbidden=forbidden)
        assert fits_bed((wide + over, 95.0, 10.0), printer) == expected


def test_edges_that_four_triangles_share_are_open():
    """Two tetrahedra on both sides of an edge: each is closed, and together they are no solid there."""
    faces = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]
    corners = [(0, 0, 0), (9, 0, 0), (5, 5, 0), (5, 3, 5), (9, 9, 1), (1, 9, 1)]
    vertices, second = np.array(corners, dtype=float), (4, 5, 2, 3)
    triangles = [*faces, *(tuple(second[corner] for corner in face) for face in faces)]
    assert open_edges(Mesh(vertices, np.array(faces, dtype=np.int32))) == 0
    assert open_edges(Mesh(vertices, np.array(triangles, dtype=np.int32))) == 4


@settings(max_examples=60)
@given(
    st.floats(5.0, 120.0),
    st.floats(5.0, 120.0),
    st.lists(st.tuples(*(st.integers(0, 8),) * 2, *(st.integers(1, 4),) * 2), max_size=3),
)
def test_a_box_fits_where_a_search_of_the_bed_finds_a_place(width, depth, areas):
    width, depth = round(width), round(depth)
    forbidden = tuple(
        Forbidden(at=(10.0 * x, 10.0 * y), size=(10.0 * min(w, 10 - x), 10.0 * min(d, 10 - y))) for x, y, w, d in areas
    )
    printer = Printer(bed=(100.0, 100.0, 50.0), margin=0.0, forbidden=forbidden)
    places = [(x, y, w, d) for w, d in ((width, depth), (depth, width)) for x in range(101 - w) for y in range(101 - d)]
    free = any(
        all(
            x >= a.at[0] + a.size[0] or a.at[0] >= x + w or y >= a.at[1] + a.size[1] or a.at[1] >= y + d
            for a in forbidden
        )
        for x, y, w, d in places
    )
    assert fits_bed((width, depth, 10.0), printer) == free


def test_letterings_are_not_measured(box):
    ring = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))
    tile = TileShape(ring, (), (), ((1.0, 0.0), (1.0, 3.0)), 5.0, 3.0, (Lettering("F1", "top", (5.0, 5.0), 4.0),))
    tray = TrayShape(
        (2, 2), False, 42.0,  # noqa: FBT003 - a row of a table
        0.25, ((1.0, 0.0),), None, 5.0, 40.0, 1.2, 5.4, 5.4,
        letterings=(
            Lettering("T1", "bottom", (5.0, 5.0), 4.0),
            Lettering("screws", "front", (30.0, 20.0), 6.0, raised=True),
            Lettering("M3", "floor", (20.0, 20.0), 6.0, raised=True),
        ),
    )  # fmt: skip
    size = (10.0, 20.0, 5.0)
    assert expected_of(Part("F1", "tile", "x", tile, size, 1), box(), 0).unmeasured == ((2.6, 3.0),)
    assert expected_of(Part("T1", "tray", "x", tray, size, 1), box(), 0).unmeasured == (
        (0.0, 0.4),
        (14.0, 26.0),
        (5.4, pytest.approx(5.8)),
    )
    key = expected_of(Part("K1", "key", "x", KeyShape(ring, 3.0), size, 1), box(), 2)
    assert key == Expected(2, pytest.approx(1000.0), size)
