import io
import json
import zipfile
from hashlib import sha256
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.plan import Caution, Cell, DrawerPlan, Lattice, Plan, PlanWarning
from worker.layout.model.shapes import KeyShape, Part, Placement
from worker.output.bundle.bundle import MANIFEST, PARTS, READ_FIRST, SPEC, read_first, write_bundle
from worker.output.bundle.manifest_writer import (
    PartRecord,
    canonical_json,
    compose_manifest,
    file_entry,
    manifest_bytes,
    part_file_name,
    spec_digest,
)
from worker.output.meshes.stl import write_stl
from worker.output.meshes.threemf import write_3mf
from worker.spec import Spec
from worker.spec.errors import CheckFailed
from worker.spec.manifest import STL_TYPE, THREEMF_TYPE, Check, Manifest

SCHEMA = json.loads((Path(__file__).parents[3] / "openapi" / "manifest.schema.json").read_text())
_SPEC = b'{"spec": "1"}'
RING = ((0.0, 0.0), (10.0, 0.0), (10.0, 20.0), (0.0, 20.0))


@pytest.fixture
def plan():
    drawer = DrawerPlan(
        name="bench left, top", outline=(RING,), size=(10.0001, 20.0, 40.0),
        lattice=Lattice((0.1234567, 0.0), 42.0, (Cell(0, 0, 2, 2),)), whole=1, half=0, across=(1, 1),
        leftover=(-1e-9, 5.0), free=4, placements=(Placement("K1", (1.0004, 2.0006, 0.0), 90),), seams=(), copies=2,
    )  # fmt: skip
    part = Part("K1", "key", "butterfly key", KeyShape(RING, 5.0), (10.0, 20.0, 5.0), 2)
    return Plan(
        "bench", (drawer,), (part,), (PlanWarning("/drawers/0/width", "spread"),), (Caution("printing", "hot " * 60),)
    )


@pytest.fixture
def files(box):
    names = {suffix: part_file_name("K1", "key", suffix) for suffix in ("stl", "3mf")}
    return {names["stl"]: write_stl(box(), "x"), names["3mf"]: write_3mf(box(), name="x", part_number="x")}


@pytest.fixture
def manifest(plan, files):
    types = {"stl": STL_TYPE, "3mf": THREEMF_TYPE}
    entries = tuple(file_entry(name, types[name[-3:]], data) for name, data in files.items())
    check = Check(name="closed", passed=True, value=0, limit="0")
    record = PartRecord("ab" * 32, 12, 1000.00004, 700.0, (check,), entries)
    return compose_manifest(plan, {"K1": record}, [check], digest_of_spec="cd" * 32)


def test_a_manifest_is_as_its_schema_says(manifest):
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(manifest_bytes(manifest)))


def test_a_manifest_reads_back_as_it_was(manifest):
    assert Manifest.model_validate_json(manifest_bytes(manifest)) == manifest


def test_a_manifest_holds_what_is_asked_of_it(manifest, files):
    document = json.loads(manifest_bytes(manifest))
    (part,) = document["parts"]
    assert (part["mark"], part["kind"], part["quantity"], part["volume"]) == ("K1", "key", 2, 1000.0)
    assert {file["name"]: (file["bytes"], file["sha256"]) for file in part["files"]} == {
        name: (len(data), sha256(data).hexdigest()) for name, data in files.items()
    }
    assert document["drawers"][0]["cells"] == {"whole": 1, "half": 0, "across": [1, 1]}
    assert document["warnings"] == [{"pointer": "/drawers/0/width", "message": "spread"}]
    assert document["generator"]["kernel"].startswith("manifold3d ")
    assert document["bundle"] is None


def test_keys_are_sorted(manifest):
    document = json.loads(manifest_bytes(manifest))
    assert list(document) == sorted(document)


def test_a_part_without_a_record_is_no_manifest(plan):
    with pytest.raises(KeyError):
        compose_manifest(plan, {}, [], digest_of_spec="cd" * 32)


def test_the_bundle_holds_the_manifest_and_every_file(manifest, files):
    data = write_bundle(manifest, files, _SPEC)
    with zipfile.ZipFile(io.BytesIO(data)) as bundle:
        assert bundle.testzip() is None
        assert bundle.namelist() == [READ_FIRST, MANIFEST, SPEC, *(PARTS + name for name in files)]
        assert {name: bundle.read(PARTS + name) for name in files} == files
        assert bundle.read(MANIFEST) == manifest_bytes(manifest)
        assert bundle.read(SPEC) == _SPEC
        assert bundle.read(READ_FIRST).decode() == read_first(manifest)


def test_the_bundle_is_the_same_whether_its_own_entry_is_known(manifest, files):
    data = write_bundle(manifest, files, _SPEC)
    outer = manifest.model_copy(update={"bundle": file_entry("bundle.zip", "application/zip", data)})
    assert write_bundle(outer, files, _SPEC) == data


@pytest.mark.parametrize("harm", [lambda data: data + b"x", lambda data: b"\0" + data[1:], lambda _: None])
def test_a_file_that_is_not_what_the_manifest_says_makes_no_bundle(manifest, files, harm):
    name = next(iter(files))
    with pytest.raises(CheckFailed):
        write_bundle(manifest, {**files, name: harm(files[name])}, _SPEC)


def test_the_page_to_read_first_tells_cautions_warnings_parts_and_places(manifest):
    page = read_first(manifest)
    assert "- printing: hot hot" in page
    assert "- spread (/drawers/0/width)" in page
    assert "2 x K1" in page
    assert "K1    at 1, 2.001, turned 90 degrees counter-clockwise" in page
    assert max(map(len, page.splitlines())) <= 100


@settings(max_examples=40)
@given(st.dictionaries(st.text(max_size=5), st.integers(-5, 5) | st.text(max_size=5), max_size=5))
def test_canonical_json_forgets_the_order_of_keys(document):
    assert canonical_json(dict(reversed(document.items()))) == canonical_json(document)


def test_a_specs_digest_is_that_of_what_it_means():
    given_one_way = {
        "spec": "1", "name": "bench", "printer": {"bed": [256, 256, 256]},
        "drawers": [{"name": "top", "width": 310, "depth": 425, "height": 70}],
    }  # fmt: skip
    another = json.loads(json.dumps(given_one_way).replace("310", '"310 mm"').replace("425", '"42.5 cm"'))
    digests = {spec_digest(Spec.model_validate(document)) for document in (given_one_way, another)}
    assert len(digests) == 1
    given_one_way["drawers"][0]["height"] = 71
    assert spec_digest(Spec.model_validate(given_one_way)) not in digests
