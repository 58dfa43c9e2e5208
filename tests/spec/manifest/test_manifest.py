import json
from pathlib import Path

import jsonschema
import pytest
from pydantic import ValidationError

from worker.layout.model.shapes import Kind
from worker.spec.manifest import FileEntry, Manifest, PartKind, PlannedPart, manifest_schema

PUBLISHED = Path(__file__).parents[3] / "openapi" / "manifest.schema.json"


def test_the_published_schema_is_current():
    # made anew with: python -m api.openapi.contract write
    assert json.loads(PUBLISHED.read_text()) == manifest_schema()


def test_the_schema_is_a_schema_and_refuses_unknown_fields():
    schema = manifest_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["additionalProperties"] is False
    assert all(entry["additionalProperties"] is False for entry in schema["$defs"].values())


def test_every_field_that_is_written_is_required():
    assert set(manifest_schema()["required"]) == set(Manifest.model_fields)


def test_kinds_of_parts_are_those_of_the_layout():
    assert PartKind == Kind


@pytest.mark.parametrize("mark", ["f1", "F", "F1/", "F-1", "", "../F1", "F1\n"])
def test_a_mark_is_a_letter_and_a_number(mark):
    with pytest.raises(ValidationError):
        PlannedPart(mark=mark, kind="tile", name="x", quantity=1, size=(1.0, 1.0, 1.0))


@pytest.mark.parametrize("name", ["", ".hidden", "a/b", "a\\b", "ü.stl", "x" * 65, "a b"])
def test_a_file_name_is_plain(name):
    with pytest.raises(ValidationError):
        FileEntry(name=name, media_type="model/stl", bytes=1, sha256="0" * 64)


@pytest.mark.parametrize("length", [float("nan"), float("inf"), 0.0, -1.0])
def test_a_size_is_a_positive_length(length):
    with pytest.raises(ValidationError):
        PlannedPart(mark="F1", kind="tile", name="x", quantity=1, size=(length, 1.0, 1.0))
