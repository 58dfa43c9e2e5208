"""The pipeline called in-process: what it makes, keeps, reports and refuses."""

import io
import json
import zipfile
from datetime import UTC, datetime
from hashlib import sha256

import jsonschema
import numpy as np
import pytest
from pypdf import PdfReader

from worker.jobs.common.errors import JobCancelled
from worker.jobs.execution import pipeline
from worker.jobs.execution.pipeline import run_pipeline
from worker.jobs.files.part_cache import InMemoryPartCache
from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed, LayoutError
from worker.spec.manifest import manifest_schema

NOW = datetime(2026, 3, 2, 17, 30, tzinfo=UTC)

_TRAYS = (
    {"name": "screws", "cells": [1, 1], "height": 30, "compartments": [2, 1], "finger_ramp": True},
    {"name": "bits", "cells": [2, 1], "height": 25},
    {"name": "more bits", "cells": [2, 1], "height": 25},
)


class Counting(InMemoryPartCache):
    """Parts in memory, and the digests that were kept in order."""

    def __init__(self):
        super().__init__()
        self.kept = []

    def keep(self, part):
        self.kept.append(part.digest)
        super().keep(part)


@pytest.fixture
def store():
    return Counting()


@pytest.fixture(scope="module")
def made(spec):
    return run_pipeline(spec(*_TRAYS), part_store=InMemoryPartCache(), now=NOW)


def test_the_manifest_names_every_file_with_its_bytes(made):
    manifest = json.loads(made.manifest)
    jsonschema.validate(manifest, manifest_schema())
    named = {file["name"]: file for part in manifest["parts"] for file in part["files"]}
    assert named == {
        stored.name: {
            "name": stored.name,
            "media_type": stored.media_type,
            "bytes": stored.bytes,
            "sha256": stored.sha256,
        }
        for stored in made.files
    }
    documents = {document["file"]["name"]: document["file"] for document in manifest["documents"]}
    assert documents == {document.entry.file.name: document.entry.file.model_dump() for document in made.documents}
    assert all(sha256(document.data).hexdigest() == document.entry.file.sha256 for document in made.documents)
    assert manifest["bundle"]["sha256"] == sha256(made.bundle).hexdigest()
    assert all(check["passed"] for part in manifest["parts"] for check in part["checks"])
    assert manifest["assembly"]
    assert all(check["passed"] for check in manifest["assembly"])


def test_the_bundle_holds_every_file(made):
    with zipfile.ZipFile(io.BytesIO(made.bundle)) as bundle:
        assert bundle.testzip() is None
        sums = {name.rsplit("/", 1)[-1]: sha256(bundle.read(name)).hexdigest() for name in bundle.namelist()}
    assert {file.name: file.sha256 for file in made.files}.items() <= sums.items()
    assert {document.entry.file.name: document.entry.file.sha256 for document in made.documents}.items() <= sums.items()


def test_equal_trays_are_one_part(made):
    trays = [part for part in json.loads(made.manifest)["parts"] if part["kind"] == "tray"]
    assert sorted(part["quantity"] for part in trays) == [1, 2]


def test_the_same_spec_gives_the_same_bytes_with_and_without_kept_parts(spec, store, made):
    first = run_pipeline(spec(*_TRAYS), part_store=store, now=NOW)
    kept = list(store.kept)
    assert len(kept) == len(set(kept)) == len(json.loads(first.manifest)["parts"])
    second = run_pipeline(spec(*_TRAYS), part_store=store, now=NOW)
    assert store.kept == kept
    assert first == second == made


def test_another_job_uses_the_parts_it_shares(spec, store):
    run_pipeline(spec(*_TRAYS), part_store=store, now=NOW)
    before = len(store.kept)
    other = {"name": "washers", "cells": [1, 1], "height": 31}
    run_pipeline(spec(*_TRAYS, other), part_store=store, now=NOW)
    assert len(store.kept) == before + 1


def test_a_part_is_checked_anew_for_another_printer(spec, store):
    run_pipeline(spec(), part_store=store, now=NOW)
    before = list(store.kept)
    run_pipeline(spec(printer={"bed": [300, 300, 300]}), part_store=store, now=NOW)
    assert store.kept == before * 2


def test_progress_is_told_part_by_part(spec):
    reports = []
    run_pipeline(spec(*_TRAYS), part_store=InMemoryPartCache(), now=NOW, report=reports.append)
    total = reports[-1].total
    steps = [report.done for report in reports]
    assert steps == sorted(steps)
    assert set(steps) == set(range(total))
    assert (reports[0].total, reports[0].now) == (0, "layout")
    assert {report.total for report in reports[1:]} == {total}
    names = [report.now for report in reports]
    last = names[names.index("assembly") :]
    assert last == ["assembly", "estimates", "runs", "run 1", "documents", "bundle"]
    assert all(report.now for report in reports)


def test_known_parts_are_no_steps(spec):
    store, reports = InMemoryPartCache(), []
    run_pipeline(spec(*_TRAYS), part_store=store, now=NOW)
    run_pipeline(spec(*_TRAYS), part_store=store, now=NOW, report=reports.append)
    assert [report.now for report in reports][:2] == ["layout", "assembly"]


@pytest.mark.parametrize("after", [1, 2, 3])
def test_cancelling_is_noticed_before_the_next_part(spec, store, after):
    reports = []
    with pytest.raises(JobCancelled):
        run_pipeline(
            spec(*_TRAYS), part_store=store, now=NOW, report=reports.append, cancelled=lambda: len(reports) > after
        )
    assert len(store.kept) == after - 1


def test_what_cannot_be_laid_out_is_refused_with_its_place(spec, store):
    with pytest.raises(LayoutError) as caught:
        run_pipeline(spec({"name": "saw", "cells": [9, 1], "height": 30}), part_store=store, now=NOW)
    assert caught.value.pointer.startswith("/drawers/0/trays/0")
    assert store.kept == []


def _open(mesh):
    return Mesh(mesh.vertices, mesh.triangles[:-1])


def _inside_out(mesh):
    return Mesh(mesh.vertices, np.ascontiguousarray(mesh.triangles[:, ::-1]))


def _too_large(mesh):
    return Mesh(mesh.vertices * 1.01, mesh.triangles)


@pytest.mark.parametrize("harm", [_open, _inside_out, _too_large])
def test_a_broken_solid_fails_with_its_part_and_is_not_kept(spec, store, monkeypatch, harm):
    build = pipeline.build
    monkeypatch.setattr(pipeline, "build", lambda shape: harm(build(shape)))
    with pytest.raises(CheckFailed) as caught:
        run_pipeline(spec(*_TRAYS), part_store=store, now=NOW)
    assert caught.value.part
    assert caught.value.limit
    assert store.kept == []


LABELLED = {
    "name": "labelled", "cells": [1, 1], "height": 30, "label_ledge": True,
}  # fmt: skip
PLANNED = {
    "material": {"name": "PETG", "cost_per_kg": 24, "colour": "#2E5E4E"},
    "printing": {
        "tray": {"layer": 0.28, "line_width": 0.5, "material": {"name": "PLA", "cost_per_kg": 19}},
        "compare": [0.16],
    },
    "schedule": {"attended": [{"start": "17:30", "end": "23:00"}]},
    "coupon": True,
}


@pytest.fixture(scope="module")
def planned(spec):
    return run_pipeline(spec(LABELLED, **PLANNED), part_store=InMemoryPartCache(), now=NOW, identity="job-7")


def test_a_job_is_estimated_packed_and_dated(planned):
    manifest = json.loads(planned.manifest)
    jsonschema.validate(manifest, manifest_schema())
    of_mark = {part["mark"]: part["estimate"] for part in manifest["parts"]}
    assert {entry["material"] for entry in of_mark.values()} == {"PETG", "PLA"}
    assert (of_mark["T1"]["layer"], of_mark["T1"]["line_width"], of_mark["F1"]["layer"]) == (0.28, 0.5, 0.2)
    assert [run["file"] for run in manifest["runs"]] == [f"run-{run['number']:02d}.3mf" for run in manifest["runs"]]
    work = manifest["work"]
    assert work["grams"] == pytest.approx(sum(run["grams"] for run in manifest["runs"]), abs=1e-3)
    assert [alternative["layer"] for alternative in work["alternatives"]] == [0.16]
    assert manifest["schedule"]["steps"][0]["begin"] == "2026-03-02T17:30:00Z"
    assert {purchase["material"]: purchase["spools"] for purchase in manifest["purchases"]} == {"PETG": 1, "PLA": 1}
    # a part is judged by its own lines
    walls = {part["mark"]: check["limit"] for part in manifest["parts"] for check in part["checks"]
             if check["name"] == "wall"}  # fmt: skip
    assert "at least 1 mm" in walls["T1"]
    assert "at least 0.88 mm" in walls["F1"]
    named = {check["subject"] for check in manifest["assembly"]}
    assert named >= {run["file"] for run in manifest["runs"]}


def test_documents_have_folders_of_their_own_and_a_page_that_tells_of_them(planned):
    with zipfile.ZipFile(io.BytesIO(planned.bundle)) as bundle:
        names = {name for name in bundle.namelist() if not name.startswith("parts/")}
        page = bundle.read("READ-FIRST.txt").decode()
        calendar = bundle.read("schedule.ics")
    assert names == {
        "READ-FIRST.txt", "manifest.json", "spec.json", "bill.csv", "schedule.ics", "models/drawer-1.glb",
        "pictures/drawer-1.png",
        "maps/map-1.svg", "maps/map-1.pdf", "labels/labels-a4.pdf", "labels/labels-letter.pdf",
        *(f"runs/run-{number:02d}.{suffix}" for number in range(1, 5) for suffix in ("3mf", "pdf")),
    }  # fmt: skip
    assert "4 runs" in page
    assert "off by 25 %" in page
    assert "PETG #2E5E4E" in page
    assert "buy 1 spool for 24.00" in page
    assert "unattended hours" in page
    assert b"job-7" in calendar


def test_each_run_has_a_sheet_with_its_dates(planned):
    manifest = json.loads(planned.manifest)
    sheets = {entry["run"]: entry["file"]["name"] for entry in manifest["documents"] if entry["role"] == "sheet"}
    assert sheets == {run["number"]: run["file"].replace(".3mf", ".pdf") for run in manifest["runs"]}
    with zipfile.ZipFile(io.BytesIO(planned.bundle)) as bundle:
        (page,) = PdfReader(io.BytesIO(bundle.read("runs/run-01.pdf"))).pages
    (step,) = [step for step in manifest["schedule"]["steps"] if step["run"] == 1]
    assert datetime.fromisoformat(step["begin"]).strftime("%Y-%m-%d %H:%M") in page.extract_text()


def lettered(spec, *, tool_changes):
    second = {"material": {"name": "PLA", "colour": "#000000", "cost_per_kg": 30}, "change_grams": 0.5}
    planned = {**PLANNED, "material": {"name": "PLA", "cost_per_kg": 20, "colour": "#56B4E9"}, "printing": {}}
    job = spec(LABELLED, **planned)
    fields = job.model_dump(mode="json")
    fields["printer"]["tool_changes"] = tool_changes
    fields["printing"]["lettering"] = second
    return type(job).model_validate(fields)


def test_lettering_is_a_body_for_a_printer_that_changes_filaments(spec):
    store = Counting()
    made = run_pipeline(lettered(spec, tool_changes=True), part_store=store, now=NOW, identity="job-8")
    manifest = json.loads(made.manifest)
    jsonschema.validate(manifest, manifest_schema())
    names = {check["name"] for part in manifest["parts"] for check in part["checks"]}
    assert {"bodies apart", "bodies volume", "bodies whole", "lettering"} <= names
    for run in manifest["runs"]:
        lettering = run["lettering"]
        assert lettering["method"] == "bodies"
        assert lettering["waste"] == 0.5 * lettering["changes"] > 0.0
        pieces = [part["estimate"] for piece in run["pieces"] for part in manifest["parts"]
                  if part["mark"] == piece["mark"]]  # fmt: skip
        assert run["grams"] == pytest.approx(sum(entry["grams"] for entry in pieces) + lettering["waste"], abs=1e-3)
        own, second = run["grams"] - lettering["grams"], lettering["grams"]
        assert run["cost"] == pytest.approx(0.02 * own + 0.03 * second, abs=1e-3)
    bought = {entry["colour"]: entry["grams"] for entry in manifest["purchases"]}
    assert sum(bought.values()) == pytest.approx(manifest["work"]["grams"], abs=0.02)
    plain = run_pipeline(replace_lettering(lettered(spec, tool_changes=True)), part_store=store, now=NOW)
    # a part with two bodies is another part, and its STL the same
    shapes = [[(part["triangles"], part["volume"], part["area"]) for part in document["parts"]]
              for document in (manifest, json.loads(plain.manifest))]  # fmt: skip
    assert shapes[0] == shapes[1]
    assert len(store.kept) == len(set(store.kept)) == 2 * len(manifest["parts"])


def replace_lettering(job):
    return job.model_copy(update={"printing": job.printing.model_copy(update={"lettering": None})})


def test_lettering_is_a_pause_for_any_other_printer(spec):
    made = run_pipeline(lettered(spec, tool_changes=False), part_store=InMemoryPartCache(), now=NOW, identity="job-9")
    manifest = json.loads(made.manifest)
    assert any(caution["topic"] == "filament changes" for caution in manifest["cautions"])
    (run,) = [run for run in manifest["runs"] if any(piece["mark"] == "T1" for piece in run["pieces"])]
    assert [(pause["height"], pause["colour"]) for pause in run["lettering"]["pauses"]] == [
        (0.0, "#000000"), (0.4, "#56B4E9"),
    ]  # fmt: skip
    with zipfile.ZipFile(io.BytesIO(made.bundle)) as bundle:
        (page,) = PdfReader(io.BytesIO(bundle.read(f"runs/run-{run['number']:02d}.pdf"))).pages
        first, calendar = bundle.read("READ-FIRST.txt").decode(), bundle.read("schedule.ics").decode()
    pause = "0.4 mm, after 2 layers: let the printer pause, and change to PLA #56B4E9"
    assert pause in " ".join(page.extract_text().split())
    assert pause in first
    assert "let the printer pause" in calendar.replace("\r\n ", "")


def test_a_planned_job_is_the_same_bytes_again(spec, planned):
    assert run_pipeline(spec(LABELLED, **PLANNED), part_store=InMemoryPartCache(), now=NOW, identity="job-7") == planned


def test_runs_of_unlike_printers_lie_on_their_own_beds(spec, store):
    printers = [
        {"name": "small", "bed": [100, 100, 100], "cost_per_hour": 0.1},
        {"name": "large", "bed": [180, 180, 180], "forbidden": [{"at": [0, 0], "size": [180, 30]}]},
    ]
    single = spec(*_TRAYS).model_dump(mode="json", exclude_unset=True, exclude={"printer"})
    job = type(spec()).model_validate({**single, "printers": printers, "schedule": {"wait_for_coupon": False}})
    made = run_pipeline(job, part_store=store, now=NOW)
    manifest = json.loads(made.manifest)
    assert {name for run in manifest["runs"] for name in run["printers"]} == {"small", "large"}
    sizes = {part["mark"]: part["size"] for part in manifest["parts"]}
    for run in manifest["runs"]:
        for piece in run["pieces"]:
            width, depth, _ = sizes[piece["mark"]]
            across, deep = (depth, width) if piece["turn"] else (width, depth)
            right, back = piece["at"][0] + across, piece["at"][1] + deep
            assert max(right, back) <= (99.501 if run["printers"] == ["small"] else 179.501)
            assert run["printers"] == ["small"] or piece["at"][1] >= 30.0
    steps = {step["run"]: step["printer"] for step in manifest["schedule"]["steps"]}
    assert steps == {run["number"]: run["printers"][0] for run in manifest["runs"]}
    assert json.loads(zipfile.ZipFile(io.BytesIO(made.bundle)).read("spec.json")).keys() >= {"printers", "schedule"}
    other = {entry["printers"][0] for part in manifest["parts"] for entry in part["other_estimates"]}
    assert other == {"small", "large"} - {manifest["made_for"]}
