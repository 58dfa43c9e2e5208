"""The sheet of a run: one page that says all that somebody at the printer needs."""

import io
from datetime import UTC, datetime, timedelta
from itertools import combinations

import pytest
from pypdf import PdfReader

from tests.printing.progress.planned_manifest import bench
from worker.output.drawings.run_sheet import _clock, run_sheet, write_run_sheet
from worker.output.drawings.sheet import Path, TextLine
from worker.output.filament_changes import filament_changes
from worker.spec.manifest import PauseEntry, RunLettering, StepEntry, SwapEntry

_BEGIN = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
_STEP = StepEntry(
    run=2, printer="by the window", begin=_BEGIN, attended_until=_BEGIN + timedelta(minutes=15),
    end=_BEGIN + timedelta(hours=3), free=_BEGIN + timedelta(hours=3.5), spool=40.0,
    swaps=(
        SwapEntry(material="PETG", colour=None, after_grams=0.0, onto=40.0),
        SwapEntry(material="PETG", colour=None, after_grams=30.0, at=_BEGIN + timedelta(hours=1), onto=1000.0),
    ),
)  # fmt: skip


@pytest.fixture(scope="module")
def job():
    return bench()


def _text(data):
    (page,) = PdfReader(io.BytesIO(data)).pages
    return " ".join(page.extract_text().split())


def test_one_page_says_what_the_run_needs(job):
    spec, manifest = job
    for run in manifest.runs:
        text = _text(write_run_sheet(manifest, run, spec.printer, _STEP))
        assert f"Run {run.number}: bench left" in text
        for piece in run.pieces:
            assert piece.mark in text
        for words in (
            "by the window",
            "2026-03-02 18:00",
            "2026-03-02 21:30",
            f"{run.grams:.0f} g",
            "1:",
            run.material,
        ):
            assert words in text
        assert "watch the first layer to 18:15" in text
        assert "After about 30 g, at about 19:00 on Mon: the spool runs out; put on one with 1000 g" in text
        assert "change to a spool with 40 g" in text
        for words in ("unattended", "hot", "Ventilate", "manufacturer's instructions", "local regulations"):
            assert words in text


def test_pieces_go_to_their_places(job):
    spec, manifest = job
    run = next(run for run in manifest.runs if any(piece.mark.startswith("T") for piece in run.pieces))
    text = _text(write_run_sheet(manifest, run, spec.printer, None))
    drawer = next(piece.drawer for piece in run.pieces)
    assert f"{drawer}: " in text
    assert "Start" not in text.split("What to do")[0]


def test_everything_lies_on_the_page_and_pieces_on_the_bed(job):
    spec, manifest = job
    for run in manifest.runs:
        sheet = run_sheet(manifest, run, spec.printer, _STEP)
        boxes = [shape.box for shape in sheet.shapes if isinstance(shape, TextLine)]
        assert all(left >= 0.0 and right <= sheet.width and low <= sheet.height for left, _, right, low in boxes)
        outlines = [shape.points for shape in sheet.shapes if isinstance(shape, Path)]
        bed, pieces = outlines[0], outlines[1:]
        assert len(pieces) == len(run.pieces)
        for points in pieces:
            assert all(bed[0][0] <= x <= bed[2][0] and bed[0][1] <= y <= bed[2][1] for x, y in points)


@pytest.mark.parametrize("bed", [(180.0, 180.0), (400.0, 150.0), (120.0, 500.0)])
def test_the_bed_is_to_scale_and_nothing_is_written_over_anything(job, bed):
    spec, manifest = job
    printer = spec.printer.model_copy(update={"bed": (*bed, 200.0)})
    sizes = {part.mark: part.size for part in manifest.parts}
    for run in manifest.runs:
        sheet = run_sheet(manifest, run, printer, _STEP)
        outline, *pieces = [shape.points for shape in sheet.shapes if isinstance(shape, Path)]
        scale = (outline[2][0] - outline[0][0]) / bed[0]
        assert (outline[2][1] - outline[0][1]) / bed[1] == pytest.approx(scale)
        for piece, corners in zip(run.pieces, pieces, strict=True):
            wide, deep = sizes[piece.mark][:2] if piece.turn % 180 == 0 else sizes[piece.mark][1::-1]
            # the bed's front is at the bottom
            assert ((corners[0][0] - outline[0][0]) / scale, (outline[2][1] - corners[2][1]) / scale) == pytest.approx(
                piece.at
            )
            assert ((corners[2][0] - corners[0][0]) / scale, (corners[2][1] - corners[0][1]) / scale) == pytest.approx(
                (wide, deep)
            )
        boxes = [shape.box for shape in sheet.shapes if isinstance(shape, TextLine)]
        marks = [shape.text for shape in sheet.shapes if isinstance(shape, TextLine)]
        outside = [box for box, mark in zip(boxes, marks, strict=True) if mark not in sizes]
        for (a, b, c, d), (e, f, g, h) in combinations(outside, 2):
            assert min(c, g) - max(a, e) < 1e-6 or min(d, h) - max(b, f) < 1e-6
        # the words below the bed do not lie on it, nor anything beside it
        left, top, right, low = outline[0][0], outline[0][1], outline[2][0], outline[2][1]
        assert all(min(c, right) - max(a, left) < 1e-6 or min(d, low) - max(b, top) < 1e-6 for a, b, c, d in outside)


def test_a_scheduled_pause_has_its_time(job):
    spec, manifest = job
    at = _BEGIN + timedelta(minutes=50)
    pauses = (
        PauseEntry(height=0.0, layers=0, material="PLA", colour="#102030", seconds=0.0),
        PauseEntry(height=0.4, layers=2, material="PETG", colour=None, seconds=3000.0),
    )
    lettering = RunLettering(
        material="PLA", colour="#102030", method="pauses", changes=2, grams=2.0, waste=1.0, seconds=600.0, pauses=pauses
    )
    run = manifest.runs[1].model_copy(update={"lettering": lettering})
    step = _STEP.model_copy(update={"pauses": (at,)})
    text = _text(write_run_sheet(manifest, run, spec.printer, step))
    assert "Before the start: load PLA #102030" in text
    assert "0.4 mm, after 2 layers, at about 18:50 on Mon: let the printer pause" in text
    assert filament_changes(run, step)[-1].startswith("0.4 mm, after 2 layers, at about 18:50 on Mon")
    assert filament_changes(run)[-1].startswith("0.4 mm, after 2 layers: let")


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(None, "unknown"), (0.0, "0:00 h"), (89.0, "0:01 h"), (3600.0, "1:00 h"), (37_000.0, "10:17 h")],
)
def test_times_are_in_hours_and_minutes(seconds, text):
    assert _clock(seconds) == text


def test_a_caution_that_does_not_fit_the_page_is_left_out_whole(job):
    spec, manifest = job
    topics = [caution.model_copy(update={"text": f"First {index}: {caution.text} Last {index}."})
              for index, caution in enumerate(manifest.cautions * 3)]  # fmt: skip
    shown = _text(
        write_run_sheet(manifest.model_copy(update={"cautions": topics}), manifest.runs[0], spec.printer, None)
    )
    written = [index for index in range(len(topics)) if f"First {index}:" in shown]
    assert written
    assert len(written) < len(topics)
    assert written == [index for index in range(len(topics)) if f"Last {index}." in shown]
