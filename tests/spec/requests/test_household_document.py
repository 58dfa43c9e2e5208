"""The household as one document: its schema, and the rules between its entries."""

import copy
import json
from pathlib import Path

import jsonschema
import pytest

from worker.spec.errors import SpecError
from worker.spec.reading.json_limits import HOUSEHOLD_LIMITS
from worker.spec.reading.loader import load_as
from worker.spec.requests.household_document import HouseholdDocument, household_schema

_PUBLISHED = Path(__file__).parents[3] / "openapi" / "household.schema.json"

_DRAWER, _THING, _PIECE, _OTHER = (f"{number}" * 26 for number in range(4))
_TRAY = {"name": "pens", "cells": [1, 1], "height": 20}
_PART = {
    "mark": "T1", "kind": "tray", "name": "pens", "quantity": 1, "size": [41.5, 41.5, 20], "shape": "a" * 64,
    "triangles": 4, "volume": 1, "area": 1, "tray": _TRAY, "digest": "0" * 64, "checks": [], "files": [],
}  # fmt: skip
_CONTENT = {
    "item": "pen", "pointer": "/items/0", "count": 1, "capacity": 1, "storage": "rows", "placement": 0,
    "shape": {"kind": "box", "size": [9, 9, 9]}, "at": [1, 1, 3], "size": [10, 10, 9],
}  # fmt: skip
_ENTRY = {
    "name": "top", "copies": 1, "size": [300, 200, 60], "outline": [], "origin": [3, 3], "pitch": 42,
    "cells": {"whole": 28, "half": 0, "across": [7, 4]}, "leftover": [6, 32], "free": 108,
    "placements": [{"mark": "T1", "at": [3, 3, 3], "turn": 0, "cell": [0, 0]}], "contents": [_CONTENT],
}  # fmt: skip
_MANIFEST = {
    "manifest": "1", "generator": {"version": "1", "kernel": "none"}, "name": "job", "spec_digest": "0" * 64,
    "drawers": [_ENTRY], "parts": [_PART], "assembly": [], "warnings": [], "cautions": [],
}  # fmt: skip
_WHOLE = {
    "household": "1",
    "drawers": [
        {
            "id": _DRAWER,
            "created": "2026-03-07T18:42:00+01:00",
            "drawer": {"name": "top", "width": 300, "depth": 200, "height": "6 cm"},
            "layout": {
                "job": _OTHER, "laid_out": "2026-03-07T18:42:00Z", "manifest": _MANIFEST, "things": [_THING],
                "settings": {"printer": {"bed": [220, 220, 220]}, "trays": [_TRAY]},
            },
        }
    ],
    "things": [{"id": _THING, "thing": {"name": "pen", "drawer": _DRAWER}}],
    "pieces": [
        {
            "id": _PIECE, "placement": 0, "part": _PART,
            "piece": {"mark": "T1", "name": "pens", "digest": "0" * 64, "state": "placed", "drawer": _DRAWER},
        }
    ],
}  # fmt: skip


def _load(document):
    return load_as(HouseholdDocument, document, HOUSEHOLD_LIMITS)


def _changed(pointer, value):
    document = copy.deepcopy(_WHOLE)
    *steps, last = pointer.split("/")[1:]
    here = document
    for step in steps:
        here = here[int(step) if isinstance(here, list) else step]
    here[int(last) if isinstance(here, list) else last] = value
    return document


def test_the_published_schema_is_current_and_accepts_a_household():
    published = json.loads(_PUBLISHED.read_text())
    assert published == household_schema()
    jsonschema.Draft202012Validator.check_schema(published)
    jsonschema.Draft202012Validator(published).validate(_WHOLE)
    assert _load(_WHOLE).drawers[0].drawer.height == 60.0
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(published).validate(_changed("/things/0/thing/shape", {"kind": "cube"}))


def test_what_is_written_is_read_again():
    document = _load(_WHOLE)
    written = document.model_dump(mode="json", exclude_unset=True)
    jsonschema.Draft202012Validator(json.loads(_PUBLISHED.read_text())).validate(written)
    assert _load(written) == document


@pytest.mark.parametrize(
    ("changed", "value", "pointer"),
    [
        ("/things/0/thing/drawer", _OTHER, "/things/0/thing/drawer"),
        ("/pieces/0/piece/drawer", _OTHER, "/pieces/0/piece/drawer"),
        ("/drawers/0/layout/things", [_OTHER], "/drawers/0/layout/things/0"),
        ("/drawers/0/layout/things", [_THING, None], "/drawers/0/layout/things"),
        ("/drawers/0/layout/manifest/drawers", [], "/drawers/0/layout/manifest/drawers"),
        ("/drawers/0/layout/manifest/parts", [], "/drawers/0/layout/manifest/drawers/0/placements/0/mark"),
        (
            "/drawers/0/layout/manifest/drawers/0/contents/0/placement",
            1,
            "/drawers/0/layout/manifest/drawers/0/contents/0/placement",
        ),
        ("/drawers/0/layout/settings/printer/bed", [1, 1, 1], "/drawers/0/layout/settings/printer/bed/0"),
        ("/drawers/0/created", "2026-03-07T18:42:00", "/drawers/0/created"),
        ("/drawers/0/drawer/height", "high", "/drawers/0/drawer/height"),
        ("/things", [{"id": _THING, "thing": {"name": "pen"}}] * 2, "/things/1/id"),
        ("/things/0/thing/shape", {"kind": "standard", "id": "battery-zz"}, "/things/0/thing/shape/id"),
        ("/pieces/0/placement", 1, "/pieces/0/placement"),
        ("/pieces/0/piece/state", "spare", "/pieces/0/placement"),
        ("/pieces", [{**_WHOLE["pieces"][0], "id": key} for key in (_PIECE, _OTHER)], "/pieces/1/placement"),
        ("/household", "2", "/household"),
    ],
)
def test_what_contradicts_itself_is_named_by_its_pointer(changed, value, pointer):
    with pytest.raises(SpecError) as caught:
        _load(_changed(changed, value))
    assert pointer in [error.pointer for error in caught.value.errors]
