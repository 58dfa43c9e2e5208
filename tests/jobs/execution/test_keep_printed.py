"""A job over one that was built: nothing that serves on is built again."""

import io
import json
import zipfile
from datetime import UTC, datetime

import jsonschema
import pytest

from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.spec import load
from worker.spec.manifest import Manifest, manifest_schema

NOW = datetime(2026, 3, 2, 17, 30, tzinfo=UTC)

ITEMS = (
    {"name": "pens", "shape": {"kind": "cylinder", "diameter": 10, "length": 120}, "count": 4},
    {"name": "dice", "shape": {"kind": "box", "size": [16, 16, 16]}, "count": 6, "label": True},
)


class Counting(InMemoryPartCache):
    """Parts in memory, and how many were built."""

    def __init__(self):
        super().__init__()
        self.built = 0

    def keep(self, part):
        self.built += 1
        super().keep(part)


def job(*items, **fields):
    drawer = {"name": "top", "width": 175, "depth": 175, "height": 50, "items": list(items)}
    return {
        "spec": "1", "name": "bench left", "drawers": [drawer], "printer": {"bed": [180, 180, 180]}, "coupon": False,
        **fields,
    }  # fmt: skip


@pytest.fixture(scope="module")
def store():
    return Counting()


@pytest.fixture(scope="module")
def made(store):
    return run_pipeline(load(job(*ITEMS)), part_store=store, now=NOW)


def test_the_manifest_says_what_lies_where(made):
    document = json.loads(made.manifest)
    jsonschema.validate(document, manifest_schema())
    manifest = Manifest.model_validate(document)
    (drawer,) = manifest.drawers
    assert {(content.item, content.count) for content in drawer.contents} == {("pens", 4), ("dice", 6)}
    marks = {part.mark: part for part in manifest.parts}
    for content in drawer.contents:
        part = marks[drawer.placements[content.placement].mark]
        assert part.kind == "tray"
        assert part.tray is not None
        assert part.shape is not None
    assert manifest.changes is None
    assert manifest.unplaced == ()
    with zipfile.ZipFile(io.BytesIO(made.bundle)) as bundle:
        assert "6 x dice" in bundle.read("READ-FIRST.txt").decode()


def test_the_same_job_over_its_own_manifest_builds_nothing(made, store):
    before = store.built
    again = run_pipeline(load(job(*ITEMS, previous=json.loads(made.manifest))), part_store=store, now=NOW)
    assert store.built == before
    document = json.loads(again.manifest)
    jsonschema.validate(document, manifest_schema())
    changes = document["changes"]
    assert (changes["new"], changes["moved"], changes["retired"]) == ([], [], [])
    old = json.loads(made.manifest)
    assert document["parts"] == old["parts"]
    assert document["drawers"] == old["drawers"]


def test_one_thing_more_builds_its_tray_only(made, store):
    before = store.built
    more = {"name": "chalk", "shape": {"kind": "box", "size": [60, 12, 12]}, "count": 5}
    again = run_pipeline(load(job(more, *ITEMS, previous=json.loads(made.manifest))), part_store=store, now=NOW)
    assert store.built == before + 1
    document = json.loads(again.manifest)
    assert [(change["name"], change["count"]) for change in document["changes"]["new"]] == [("chalk", 1)]
    assert (document["changes"]["moved"], document["changes"]["retired"]) == ([], [])
    with zipfile.ZipFile(io.BytesIO(again.bundle)) as bundle:
        page = bundle.read("READ-FIRST.txt").decode()
    assert "Print:\n   1 x T3" in page
    assert max(map(len, page.splitlines())) <= 100
