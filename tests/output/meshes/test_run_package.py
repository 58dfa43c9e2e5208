import io
import itertools
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.output.meshes.run_package import BedObject, LetteringBody, check_run, read_run, write_run
from worker.output.meshes.threemf import read_3mf
from worker.spec.errors import CheckFailed
from worker.spec.printer.printer import Printer
from worker.spec.tolerances import FILE_SLACK

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
PICTURE = b"\x89PNG\r\n\x1a\n stands for a picture"
PRINTER = Printer.model_validate(
    {"bed": [200, 180, 100], "margin": 1, "forbidden": [{"at": [0, 150], "size": [30, 30]}]}
)


@pytest.fixture(scope="module")
def run(box):
    """Three pieces of two marks, one of them turned; the second's mesh does not start at the origin."""
    tray, key = box(40.0, 20.0, 10.0), box(5.0, 3.0, 2.0, at=(1.0, -2.0, 3.0))
    return [
        BedObject(tray, "T1 1/2", "T1", "#1e88e5", (1.0, 1.0)),
        BedObject(tray, "T1 2/2", "T1", "#1e88e5", (60.0, 1.0), 90),
        BedObject(key, "K1", "K1", "#1E88E5", (100.0, 50.25), 90),
    ]


def parts_of(data):
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return {name: package.read(name) for name in package.namelist()}


def model_of(data):
    return ET.fromstring(parts_of(data)["3D/3dmodel.model"])  # noqa: S314 - we wrote it


def failed(checks):
    return {check.name for check in checks if not check.passed}


def test_the_mesh_of_a_mark_is_written_once_and_each_piece_is_named(run):
    model = model_of(write_run(run, title="run 1", metadata={"Application": "drawerwright"}))
    objects = {element.attrib["id"]: element for element in model.iter(f"{CORE}object")}
    assert len([piece for piece in objects.values() if piece.find(f"{CORE}mesh") is not None]) == 2
    items = list(model.iter(f"{CORE}item"))
    assert [objects[item.attrib["objectid"]].attrib["name"] for item in items] == ["T1 1/2", "T1 2/2", "K1"]
    assert [item.attrib["partnumber"] for item in items] == ["T1", "T1", "K1"]
    assert [element.text for element in model.iter(f"{CORE}metadata")] == ["drawerwright", "run 1"]


def test_colours_are_of_the_core_specification_and_never_on_components(run):
    model = model_of(write_run(run, title="run 1", metadata={}))
    (base,) = model.iter(f"{CORE}base")
    assert base.attrib["displaycolor"] == "#1E88E5"
    for element in model.iter(f"{CORE}object"):
        assert (element.find(f"{CORE}components") is None) == (element.attrib.get("pid") == "1")


def test_without_colours_there_is_no_palette(run):
    model = model_of(write_run([replace(piece, colour=None) for piece in run], title="run 1", metadata={}))
    assert not list(model.iter(f"{CORE}basematerials"))
    assert not any("pid" in element.attrib for element in model.iter(f"{CORE}object"))


def test_the_thumbnail_is_where_the_relationship_says(run):
    parts = parts_of(write_run(run, title="run 1", metadata={}, thumbnail=PICTURE))
    relations = ET.fromstring(parts["_rels/.rels"])  # noqa: S314 - we wrote it
    (target,) = (
        relation.attrib["Target"] for relation in relations if relation.attrib["Type"].endswith("/metadata/thumbnail")
    )
    assert parts[target.removeprefix("/")] == PICTURE
    assert b'Extension="png" ContentType="image/png"' in parts["[Content_Types].xml"]
    assert len(parts_of(write_run(run, title="run 1", metadata={}))) == len(parts) - 1


def test_the_same_run_gives_the_same_bytes(run):
    assert write_run(run, title="a", metadata={}) == write_run(run, title="a", metadata={})


def test_what_the_core_specification_does_not_know_is_refused(run):
    with pytest.raises(ValueError, match="Colour"):
        write_run(run, title="a", metadata={"Colour": "red"})
    with pytest.raises(ValueError, match="red"):
        write_run([replace(run[0], colour="red")], title="a", metadata={})
    with pytest.raises(ValueError, match="at least one piece"):
        write_run([], title="a", metadata={})


def test_a_mark_has_one_mesh_and_one_colour(run, box):
    with pytest.raises(ValueError, match="T1"):
        write_run([run[0], replace(run[1], mesh=box())], title="a", metadata={})
    with pytest.raises(ValueError, match="T1"):
        write_run([run[0], replace(run[1], colour="#000000")], title="a", metadata={})


def test_a_run_passes_its_checks(run):
    checks = check_run(write_run(run, title="a", metadata={}), run, PRINTER, spacing=5.0, subject="run-01.3mf")
    assert failed(checks) == set()
    assert {check.subject for check in checks} == {"run-01.3mf"}
    assert next(check.value for check in checks if check.name == "spacing") == 19.0


@pytest.mark.parametrize(
    ("change", "failures"),
    [
        ({"at": (0.9, 1.0)}, {"on bed"}),
        ({"at": (165.0, 1.0)}, {"on bed"}),
        ({"at": (5.0, 140.0)}, {"forbidden"}),
        ({"at": (5.0, 130.0)}, set()),  # it ends where the forbidden area begins
        ({"at": (30.0, 155.0)}, set()),  # it begins where that ends
        ({"at": (50.0, 10.0)}, {"spacing"}),
        ({"at": (19.0, 1.0)}, {"spacing"}),
    ],
)
def test_a_piece_in_a_bad_place_is_found(run, change, failures):
    moved = [replace(run[0], **change), *run[1:]]
    assert failed(check_run(write_run(moved, title="a", metadata={}), moved, PRINTER, spacing=5.0)) == failures


def test_a_piece_elsewhere_than_planned_is_found(run):
    data = write_run(run, title="a", metadata={})
    assert failed(check_run(data, [replace(run[0], at=(1.0, 1.001)), *run[1:]], PRINTER)) == {"places"}
    assert failed(check_run(data, [replace(run[0], name="T2"), *run[1:]], PRINTER)) == {"pieces"}
    assert failed(check_run(data, run[:2], PRINTER)) == {"pieces", "places"}


def test_another_mesh_is_found(run, floor):
    checks = check_run(write_run(run, title="a", metadata={}), [*run[:2], replace(run[2], mesh=floor(1, 1))], PRINTER)
    assert failed(checks) == {"places"}


def test_too_high_a_piece_is_found(box):
    tower = [BedObject(box(10.0, 10.0, 100.1), "T1", "T1", None, (10.0, 10.0))]
    assert failed(check_run(write_run(tower, title="a", metadata={}), tower, PRINTER)) == {"on bed"}


def test_a_damaged_run_is_told(run):
    data = bytearray(write_run(run, title="a", metadata={}))
    data[len(data) // 2] ^= 0xFF
    assert failed(check_run(bytes(data), run, PRINTER)) == {"readable"}
    assert failed(check_run(b"no package", run, PRINTER)) == {"readable"}


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'objectid="1"', b'objectid="9"'),
        (b"transform=", b"turned="),
        (b"<mesh>", b"<other/>\n<mesh>"),
        (b"1 0 0 0", b"x 0 0 0"),
        (b'v1="', b'v1="-'),
        (b'v2="', b'v2="1.'),
        (b'v2="', b'v2="1 '),
        (b'v3="', b'v3="x'),
    ],
)
def test_a_model_that_is_not_as_written_is_told_or_read_alike(run, old, new):
    parts = parts_of(write_run([replace(piece, colour=None) for piece in run], title="a", metadata={}))
    parts["3D/3dmodel.model"] = parts["3D/3dmodel.model"].replace(old, new, 1)
    changed = io.BytesIO()
    with zipfile.ZipFile(changed, "w") as package:
        for name, data in parts.items():
            package.writestr(name, data)
    assert failed(check_run(changed.getvalue(), run, PRINTER)) in (set(), {"readable"})
    if b"other" not in new:
        with pytest.raises(CheckFailed):
            read_run(changed.getvalue())


@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(*[st.integers(0, 400_000_000)] * 2, st.sampled_from([0, 90]), st.integers(0, 2)),
        min_size=1, max_size=8,
    ),
    st.tuples(*[st.floats(-50.0, 50.0)] * 3),
)  # fmt: skip
def test_every_piece_reads_back_in_its_place(box, places, corner):
    meshes = [box(30.0, 20.0, 5.0, at=corner), box(1.234, 7.0, 40.0), box(9.0, 9.0, 9.0, at=(0.5, 0.25, -9.0))]
    run = [
        BedObject(meshes[kind], f"T{kind} {i}", f"T{kind}", None, (x / 1e6, y / 1e6), turn)
        for i, (x, y, turn, kind) in enumerate(places)
    ]
    data = write_run(run, title="a", metadata={})
    for item, piece in zip(read_run(data), run, strict=True):
        assert item.name == piece.name
        assert np.abs(item.placed - piece.placed).max() < FILE_SLACK
        low, high = item.placed.min(axis=0), item.placed.max(axis=0)
        assert low[:2] == pytest.approx(piece.at, abs=FILE_SLACK)
        assert low[2] == pytest.approx(0.0, abs=FILE_SLACK)
        size = np.ptp(piece.mesh.vertices, axis=0)
        assert high - low == pytest.approx(size[[1, 0, 2]] if piece.turn else size, abs=FILE_SLACK)
        assert np.linalg.det(item.transform[:3]) == pytest.approx(1.0)
    assert len(read_3mf(data)) == len({piece.part_number for piece in run})


@settings(max_examples=50)
@given(
    st.lists(st.tuples(*[st.integers(-3, 48)] * 2, st.sampled_from([0, 90])), min_size=2, max_size=4),
    st.integers(0, 6),
)
def test_spacing_bed_and_forbidden_areas_are_judged_as_by_rectangles(box, places, spacing):
    """Against shapely, on whole numbers well away from the slack."""
    plate = box(12.0, 7.0, 1.0)
    run = [BedObject(plate, f"T1 {i}", "T1", None, (float(x), float(y)), turn) for i, (x, y, turn) in enumerate(places)]
    area = {"at": [20, 20], "size": [6, 9]}
    printer = Printer.model_validate({"bed": [50, 50, 50], "margin": 1, "forbidden": [area]})
    rectangles = [shapely.box(x, y, x + (7 if turn else 12), y + (12 if turn else 7)) for x, y, turn in places]
    grown = [rectangle.buffer(spacing / 2.0, join_style="mitre") for rectangle in rectangles]
    expected = set()
    if any(first.intersection(second).area > 0.0 for first, second in itertools.combinations(grown, 2)):
        expected.add("spacing")
    if not all(shapely.box(1, 1, 49, 49).covers(rectangle) for rectangle in rectangles):
        expected.add("on bed")
    if any(shapely.box(20, 20, 26, 29).intersection(rectangle).area > 0.0 for rectangle in rectangles):
        expected.add("forbidden")
    assert failed(check_run(write_run(run, title="a", metadata={}), run, printer, spacing=float(spacing))) == expected


def test_lettering_is_a_second_body_of_its_piece(run, box):
    letters = LetteringBody(box(4.0, 2.0, 0.4, at=(3.0, 5.0, 0.0)), "PLA", "#000000")
    lettered = [replace(piece, lettering=letters) if piece.part_number == "T1" else piece for piece in run]
    data = write_run(lettered, title="run 1", metadata={})
    model = model_of(data)
    assert [base.attrib["displaycolor"] for base in model.iter(f"{CORE}base")] == ["#1E88E5", "#000000"]
    objects = {element.attrib["id"]: element for element in model.iter(f"{CORE}object")}
    meshes = [element for element in objects.values() if element.find(f"{CORE}mesh") is not None]
    assert [element.attrib["pindex"] for element in meshes] == ["0", "1", "0"]
    assert [len(item.bodies) for item in read_run(data)] == [2, 2, 1]
    assert not failed(check_run(data, lettered, PRINTER))
    # the turned piece's letters turn with it: 5 mm from its front are 5 mm from its right end
    second = read_run(data)[1].all_placed[1]
    assert second.min(axis=0) == pytest.approx((60.0 + 20.0 - 5.0 - 2.0, 1.0 + 3.0, 0.0))
    elsewhere = LetteringBody(box(4.0, 2.0, 0.4, at=(3.0, 5.1, 0.0)), "PLA", "#000000")
    wrong = [replace(piece, lettering=elsewhere) if piece.lettering else piece for piece in lettered]
    assert failed(check_run(data, wrong, PRINTER)) == {"places"}
    assert failed(check_run(data, run, PRINTER)) == {"places"}


def test_two_bodies_are_told_apart_without_colours_of_the_filaments(run, box):
    letters = LetteringBody(box(4.0, 2.0, 0.4), "PLA", None)
    model = model_of(write_run([replace(run[2], colour=None, lettering=letters)], title="run 1", metadata={}))
    assert len({base.attrib["displaycolor"] for base in model.iter(f"{CORE}base")}) == 2
