"""Labels: read back from the PDF, in sizes of their ledges, on both papers."""

import io
from itertools import combinations
from math import hypot

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from worker.output.drawings.labels import CLEARANCE, label_sheets, labels_of, write_labels
from worker.output.drawings.paper import MARGIN, PAGES
from worker.output.drawings.sheet import LEAST, Path, TextLine
from worker.spec.drawer.tray import Tray
from worker.spec.items.shape import Box
from worker.spec.manifest import (
    Cells,
    ContentEntry,
    DrawerEntry,
    Generator,
    Manifest,
    PartEntry,
    PlacementEntry,
)

HOSTILE = ("<script>alert(1)</script>", "a & b", "x" * 80, "\u05e9\u05dc\u05d5\u05dd", "\U0001f600", "w x " * 15 + "w")
EPSILON = 1e-6


def tray(name="bits", width=83.4, mark="T1", *, ledge=True, text=None):
    given = {"name": name, "cells": [2, 1], "height": 40, "label_ledge": ledge}
    if text is not None:
        given["text"] = {"text": text, "face": "ledge"}
    return PartEntry(
        mark=mark, kind="tray", name=name, quantity=1, size=(width, 41.4, 40.0), triangles=12, volume=1.0,
        area=1.0, digest="ab" * 32, checks=(), files=(), tray=Tray.model_validate(given),
    )  # fmt: skip


def content(placement, item, label=None):
    return ContentEntry(
        item=item, pointer="/items/0", count=3, capacity=4, storage="rows", shape=Box(kind="box", size=(5, 5, 5)),
        placement=placement, at=(0.0, 0.0, 3.0), size=(5.0, 5.0, 5.0), label=label,
    )  # fmt: skip


def manifest(parts, places, contents=(), copies=1):
    drawer = DrawerEntry(
        name="top", copies=copies, size=(500.0, 300.0, 80.0), outline=(((0, 0), (500, 0), (500, 300), (0, 300)),),
        origin=(0.0, 0.0), pitch=42.0, cells=Cells(whole=77, half=0, across=(11, 7)), leftover=(38.0, 6.0), free=0,
        placements=tuple(
            PlacementEntry(mark=mark, at=(42.0 * i, 0.0, 0.0), turn=0, cell=(i, 0), name=name)
            for i, (mark, name) in enumerate(places)
        ),
        contents=tuple(contents),
    )  # fmt: skip
    return Manifest(
        generator=Generator(version="0", kernel="k"), name="hall <&>", spec_digest="cd" * 32, drawers=(drawer,),
        parts=tuple(parts), assembly=(), warnings=(), cautions=(),
    )  # fmt: skip


def boxes(sheet):
    """Return the labels' boxes: each has eight marks, two at a corner."""
    marks = [shape.points for shape in sheet.shapes if isinstance(shape, Path) and shape.width == 0.15]
    inside = []
    for start in range(0, len(marks), 8):
        eight = marks[start : start + 8]
        xs = sorted({x for (x, y), (u, _) in eight if x == u})
        ys = sorted({y for (_, y), (_, v) in eight if y == v})
        inside.append((xs[0], ys[0], xs[-1], ys[-1]))
    return inside


def assert_sound(sheets, page):
    width, height = PAGES[page]
    for sheet in sheets:
        assert (sheet.width, sheet.height) == (width, height)
        every = [shape.box for shape in sheet.shapes if isinstance(shape, TextLine)]
        for left, top, right, low in every:
            assert min(left, top) >= MARGIN - EPSILON
            assert right <= width - MARGIN + EPSILON
            assert low <= height - MARGIN + EPSILON
        for (a, b, c, d), (e, f, g, h) in combinations(every, 2):
            assert min(c, g) - max(a, e) < EPSILON or min(d, h) - max(b, f) < EPSILON
        assert min(shape.size for shape in sheet.shapes if isinstance(shape, TextLine)) >= LEAST - EPSILON
        marks = [shape.points for shape in sheet.shapes if isinstance(shape, Path) and shape.width == 0.15]
        for points in marks:
            for x, y in points:
                assert 0.0 < x < width
                assert 0.0 < y < height
        cut = boxes(sheet)
        for (a, b, c, d), (e, f, g, h) in combinations(cut, 2):
            # apart by more than two marks
            assert max(max(a, e) - min(c, g), max(b, f) - min(d, h)) >= 5.0 - EPSILON
        for text in (
            shape for shape in sheet.shapes if isinstance(shape, TextLine) and shape.bold and shape.size != 4.0
        ):
            left, top, right, low = text.box
            inside = [a <= left and b <= top and right <= c and low <= d for a, b, c, d in cut]
            assert sum(inside) == 1 or text.text.startswith("Labels"), text


@pytest.mark.parametrize("width", [83.4, 230.0])
def test_the_text_of_a_label_is_in_the_middle_of_it_in_the_largest_type_that_leaves_a_millimetre(width):
    (sheet,) = label_sheets(manifest([tray(width=width)], [("T1", "one two three")]), "A4")
    (cut,) = boxes(sheet)
    turned = cut[3] - cut[1] > cut[2] - cut[0]
    lines = [shape.box for shape in sheet.shapes if isinstance(shape, TextLine) and shape.bold
             and shape.turned == turned and not shape.text.startswith("Labels")]  # fmt: skip
    left, top, right, low = (
        side(own) for side, own in zip((min, min, max, max), zip(*lines, strict=True), strict=True)
    )
    assert ((left + right) / 2.0, (top + low) / 2.0) == pytest.approx(
        ((cut[0] + cut[2]) / 2.0, (cut[1] + cut[3]) / 2.0)
    )
    assert min(left - cut[0], top - cut[1], cut[2] - right, cut[3] - low) >= 1.0 - EPSILON


def text_of_pdf(made, page="A4"):
    reader = PdfReader(io.BytesIO(write_labels(made, page)))
    return " ".join(" ".join(pdf_page.extract_text() for pdf_page in reader.pages).split())


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_each_ledge_has_a_label_that_fits_it(page):
    made = manifest([tray()], [("T1", f"name {i}") for i in range(50)], copies=2)
    sheets = label_sheets(made, page)
    assert_sound(sheets, page)
    every = [box for sheet in sheets for box in boxes(sheet)]
    assert len(every) == 100
    for left, top, right, low in every:
        # walls of 1.2 mm; a ledge 12 mm deep that drops 3 mm
        assert right - left == pytest.approx(83.4 - 2.4 - CLEARANCE)
        assert low - top == pytest.approx(hypot(12.0, 3.0) - CLEARANCE)
    reader = PdfReader(io.BytesIO(write_labels(made, page)))
    assert len(reader.pages) == len(sheets)
    for pdf_page in reader.pages:
        sides = [float(side) * 25.4 / 72.0 for side in (pdf_page.mediabox.width, pdf_page.mediabox.height)]
        assert sides == pytest.approx(PAGES[page], abs=0.01)
    text = text_of_pdf(made, page)
    assert all(f"name {i} T1 at" in text for i in range(50))
    assert "2 of 2" in text


def test_the_ruler_is_50_mm():
    sheet, *_ = label_sheets(manifest([tray()], [("T1", "a")]), "A4")
    assert any(
        isinstance(shape, Path) and abs(shape.points[1][0] - shape.points[0][0] - 50.0) < EPSILON and shape.width == 0.2
        for shape in sheet.shapes
    )
    assert "50 mm" in text_of_pdf(manifest([tray()], [("T1", "a")]))


def test_what_a_label_says():
    parts = [tray(mark="T1"), tray(mark="T2", text="SCREWS"), tray(mark="T3", text="fasteners"), tray(mark="T4")]
    places = [("T1", "own name"), ("T2", "x"), ("T3", "nuts, bolts"), ("T1", "dice"), ("T4", "coins")]
    contents = [
        content(2, "nuts", "M4"), content(2, "bolts"), content(3, "dice", "DICE!"), content(4, "coins"),
    ]  # fmt: skip
    texts = [label.text for label in labels_of(manifest(parts, places, contents), 500.0)]
    assert texts == ["own name", "SCREWS", "fasteners", "DICE!", "coins"]


def test_no_ledge_no_labels():
    made = manifest([tray(ledge=None)], [("T1", "a")])
    assert label_sheets(made, "A4") == []
    assert write_labels(made, "Letter") is None


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_long_labels_lie_turned_and_longer_ones_are_told(page):
    made = manifest([tray(width=230.0), tray(width=83.4, mark="T2"), tray(width=420.0, mark="T3")],
                    [("T1", "long"), ("T2", "short"), ("T3", "too long"), ("T1", "another")])  # fmt: skip
    sheets = label_sheets(made, page)
    assert_sound(sheets, page)
    sizes = sorted(tuple(sorted((round(c - a, 3), round(d - b, 3)))) for sheet in sheets for a, b, c, d in boxes(sheet))
    assert [long for _, long in sizes][:3] == [80.0, 226.6, 226.6]
    text = text_of_pdf(made, page)
    assert "the ledge is longer" in text
    assert "another" in text


def test_hostile_names_are_set_or_told():
    made = manifest([tray()], [("T1", name) for name in HOSTILE])
    for page in PAGES:
        assert_sound(label_sheets(made, page), page)
    assert write_labels(made, "A4") == write_labels(made, "A4")
    text = text_of_pdf(made)
    assert "<script>" in text
    assert "write it in by hand" in text
    assert "write it in by hand" not in text_of_pdf(manifest([tray()], [("T1", "\u017b\u0416\u03a9")]))


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.text(min_size=1, max_size=60), st.floats(10.0, 450.0)), min_size=1, max_size=12),
    st.sampled_from(sorted(PAGES)),
)
def test_any_labels_are_sound(texts, page):
    parts = [tray(mark=f"T{i}", width=round(width, 2)) for i, (_, width) in enumerate(texts)]
    made = manifest(parts, [(f"T{i}", text) for i, (text, _) in enumerate(texts)])
    sheets = label_sheets(made, page)
    assert_sound(sheets, page)
    assert sum(len(boxes(sheet)) for sheet in sheets) == len(texts)
