"""Maps: read back from SVG and PDF, and drawn for drawers of every kind."""

import io
import json
import subprocess
import sys
from hashlib import sha256
from itertools import combinations, pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree
from pypdf import PdfReader
from shapely.geometry import Polygon, box

from worker.layout.planner import lay_out
from worker.output.drawings.font import MISSING, fitted, text_width, wrapped
from worker.output.drawings.map import PAPER, ROOM, map_pages, map_picture, write_map_pdf, write_map_svg
from worker.output.drawings.mapped_drawer import MappedDrawer
from worker.output.drawings.sheet import LEAST, Path, TextLine
from worker.spec.errors import LayoutError
from worker.spec.manifest import PauseEntry, RunEntry, RunLettering, RunPiece
from worker.spec.reading.loader import load

HOSTILE = (
    "<script>alert(1)</script>", "a & b", "x" * 80, "\u05e9\u05dc\u05d5\u05dd", "\U0001f600", "w x " * 15 + "w",
    "\u017b\u00f3\u0142w \u0416\u0443\u043a", "]]>",
)  # fmt: skip
EPSILON = 1e-6


def planned(*drawers, **fields):
    spec = {"spec": "1", "name": "hall", "drawers": list(drawers), "printer": {"bed": [256, 256, 256]}, **fields}
    return lay_out(load(spec))


def hostile():
    trays = [{"name": name, "cells": [1 + i % 3, 1], "height": 30, "quantity": 2} for i, name in enumerate(HOSTILE)]
    return planned({"name": "top & left <b>", "width": 400, "depth": 330, "height": 60, "trays": trays})


def piled():
    boxes = [
        {
            "name": name,
            "shape": {"kind": "box", "size": [60, 60, high]},
            "access": "rarely",
            "storage": "rows",
            "mass": high,
        }
        for name, high in (("light", 12), ("heavy", 14), ("plate", 16))
    ]
    return planned({"name": "stack", "width": 90, "depth": 92, "height": 90, "items": boxes})


def texts(sheet):
    return [shape for shape in sheet.shapes if isinstance(shape, TextLine)]


def assert_sound(plan, index):
    """Everything is on its sheet, no text lies on another or is too small, and the cells lie in the outline."""
    pages = map_pages(plan, index)
    for sheet in (map_picture(plan, index), *pages):
        for shape in sheet.shapes:
            points = shape.points if isinstance(shape, Path) else (shape.box[:2], shape.box[2:])
            for x, y in points:
                assert -EPSILON <= x <= sheet.width + EPSILON, shape
                assert -EPSILON <= y <= sheet.height + EPSILON, shape
        written = texts(sheet)
        assert min(line.size for line in written) >= LEAST - EPSILON
        boxes = [(*line.box, line.text) for line in written]
        for (a, b, c, d, text), (e, f, g, h, other) in combinations(boxes, 2):
            assert min(c, g) - max(a, e) < EPSILON or min(d, h) - max(b, f) < EPSILON, (text, other)
    for sheet in pages:
        assert sorted((sheet.width, sheet.height)) == list(PAPER)
        across, down = ROOM if sheet.width < sheet.height else ROOM[::-1]
        for shape in sheet.shapes:
            for x, y in shape.points if isinstance(shape, Path) else (shape.box[:2], shape.box[2:]):
                assert abs(x - sheet.width / 2.0) <= across / 2.0 + EPSILON, shape
                assert 10.0 - EPSILON <= y <= 10.0 + down + EPSILON, shape
    mapped = MappedDrawer(plan, index)
    outer, *holes = mapped.drawer.outline
    usable = Polygon(outer, holes).buffer(0.01)
    assert all(usable.contains(box(*cell)) for cell in mapped.cells)
    for mapped_part in mapped.floor:
        # tabs of a seam reach into the neighbour, never out of the drawer
        assert usable.contains(Polygon(mapped_part.outline, mapped_part.holes).buffer(0.0))


def read(plan, index):
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(write_map_pdf(plan, index))).pages)


@pytest.mark.parametrize("make", [hostile, piled])
def test_sheets_are_sound(make):
    assert_sound(make(), 0)


def test_picture_is_safe_full_size_and_names_each_piece():
    plan = hostile()
    root = etree.fromstring(write_map_svg(plan, 0), etree.XMLParser(resolve_entities=False, no_network=True))
    sheet = map_picture(plan, 0)
    assert root.get("width") == f"{round(sheet.width, 3):.12g}mm"
    assert root.get("viewBox") == f"0 0 {round(sheet.width, 3):.12g} {round(sheet.height, 3):.12g}"
    names = {etree.QName(element).localname for element in root.iter()}
    assert names == {"svg", "title", "desc", "rect", "polygon", "polyline", "text"}
    assert not any("textLength" in element.attrib or "script" in element.attrib for element in root.iter())
    assert root.get("font-family") == "sans-serif"
    lines = [element.text for element in root.iter("{*}text")]
    for part in plan.parts:
        here = sum(place.mark == part.mark for place in plan.drawers[0].placements)
        if part.kind in {"tile", "tray"} and here:
            # each in its place, and the rows of the tables
            assert lines.count(part.mark) >= here + 2
    assert any("\U0001f600" in text for text in lines)


def test_each_page_is_a4_and_each_mark_reads_back():
    plan = hostile()
    reader = PdfReader(io.BytesIO(write_map_pdf(plan, 0)))
    for page in reader.pages:
        sides = sorted(float(side) * 25.4 / 72.0 for side in (page.mediabox.width, page.mediabox.height))
        assert sides == pytest.approx([210.0, 297.0], abs=0.01)
    words = read(plan, 0).split()
    for placement in plan.drawers[0].placements:
        assert words.count(placement.mark) >= 3
    assert "top & left <b>" in reader.metadata.title
    # Latin with marks and Cyrillic are set, what cannot be is told of
    assert "\u017b\u00f3\u0142w" in words
    assert "\u0416\u0443\u043a" in words
    assert MISSING in " ".join(words)
    assert "replaces characters that the typeface lacks" in read(plan, 0)


def test_pauses_of_the_runs_for_a_drawer_are_in_its_legend():
    plan = planned({"name": "top", "width": 90, "depth": 90, "height": 40})
    pause = PauseEntry(height=2.6, layers=13, material="PETG", colour="#102030", seconds=1800.0)
    lettering = RunLettering(
        material="PETG", colour="#102030", method="pauses", changes=1, grams=1.0, waste=1.0, seconds=300.0,
        pauses=(pause,),
    )  # fmt: skip
    runs = [
        RunEntry(
            number=number, material="PLA", colour=None, layer=0.2, line_width=0.44, lettering=lettering,
            pieces=(RunPiece(mark="F1", at=(0.0, 0.0), turn=0, drawer=drawer),),
        )
        for number, drawer in ((4, "top"), (5, "low"))
    ]  # fmt: skip
    pages = PdfReader(io.BytesIO(write_map_pdf(plan, 0, runs))).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "Run 4: 2.6 mm, after 13 layers: let the printer pause, and change to PETG #102030." in text
    assert "Run 5" not in text


def test_what_lies_where_is_told():
    items = [{"name": "dice", "shape": {"kind": "box", "size": [16, 16, 16]}, "count": 12, "label": "DICE"}]
    drawer = {"name": "one", "width": 200, "depth": 150, "height": 60, "copies": 2}
    plan = planned(drawer, items=items)
    text = read(plan, 0)
    assert "x dice" in text
    assert "free" in text
    assert "front of the drawer" in text
    assert "2 drawers alike" in text


def test_a_pile_is_told_from_the_top():
    plan = piled()
    (*_, stack) = sorted(MappedDrawer(plan, 0).stacks, key=len)
    assert len(stack) > 1
    text = " ".join(read(plan, 0).split())
    for below, above in pairwise(stack):
        assert f"on top of {below.place.mark}" in text
        assert above.place.at[2] > below.place.at[2]
    assert "hatched corner" in text


def test_trays_on_several_others_have_a_page_of_their_own():
    lower = [{"name": f"lower {n}", "cells": [2, 1], "height": 30, "at": [2 * n, 0]} for n in (0, 1)]
    upper = {"name": "upper", "cells": [4, 1], "height": 30, "on": ["lower 0", "lower 1"]}
    plan = planned({"name": "deep", "width": 180, "depth": 92, "height": 90, "trays": [*lower, upper]})
    floor, trays, upper_trays, _ = map_pages(plan, 0)
    assert [page.shapes and texts(page)[0].text for page in (floor, trays, upper_trays)] == [
        "deep: floor", "deep: trays", "deep: upper trays",
    ]  # fmt: skip
    marks = [place.mark for place in plan.drawers[0].placements if place.cell is not None]
    assert marks == ["T1", "T1", "T2"]
    assert {text.text for text in texts(trays)} & {"T1", "T2"} == {"T1"}
    assert {text.text for text in texts(upper_trays)} & {"T1", "T2"} == {"T2"}
    text = " ".join(read(plan, 0).split())
    assert "upper, on top of T1" in text
    assert "set the upper trays on the rims of those below" in text


def test_a_tray_on_panels_covers_them_on_its_page_and_names_them():
    panels = [{"name": name, "along": "y", "at": at, "height": 60} for name, at in (("left", 42.5), ("right", 168.5))]
    upper = {"name": "upper", "cells": [3, 2], "height": 30, "on": ["left", "right"]}
    size = {"width": 300, "depth": 200, "height": 120, "floor": "none"}
    plan = planned({"name": "deep", **size, "panels": panels, "trays": [upper]})
    lanes, upper_trays, _ = map_pages(plan, 0)
    assert [texts(page)[0].text for page in (lanes, upper_trays)] == ["deep: panels", "deep: upper trays"]
    # what is drawn later covers what is drawn before: the tray, rounded by 4 facets a corner, comes after the strips
    filled = [len(shape.points) for shape in upper_trays.shapes if isinstance(shape, Path) and shape.fill is not None]
    assert filled.count(20) == 1
    strips = [n for n, shape in enumerate(upper_trays.shapes) if isinstance(shape, Path) and shape.fill == 0.3]
    tray = next(n for n, shape in enumerate(upper_trays.shapes) if isinstance(shape, Path) and len(shape.points) == 20)
    assert len(strips) == 2
    assert max(strips) < tray
    text = " ".join(read(plan, 0).split())
    assert "upper, on top of left, right" in text
    assert "set the upper trays on the panels that their rows name" in text
    assert "feet drop into the sockets" not in text


def test_keys_are_drawn_and_counted():
    plan = planned(
        {"name": "one", "width": 300, "depth": 200, "height": 60},
        grid={"seam": "key"},
        printer={"bed": [160, 160, 160]},
    )
    keys = [place for place in plan.drawers[0].placements if plan.part(place.mark).kind == "key"]
    assert keys
    dark = [shape for shape in map_pages(plan, 0)[0].shapes if isinstance(shape, Path) and shape.fill == 0.25]
    assert len(dark) == len(keys)
    words = " ".join(read(plan, 0).split())
    assert f"K1 key {len(keys)} " in words
    assert "Press a key into each seam" in words
    without = " ".join(read(planned({"name": "one", "width": 300, "depth": 200, "height": 60}), 0).split())
    assert "Press a key" not in without
    assert "identical drawers" not in without


def test_what_has_no_floor_is_hatched():
    """A tooth 30 mm wide: its lines lie in it, evenly, and the legend gives the area."""
    outline = [[0, 0], [130, 0], [130, 180], [100, 180], [100, 50], [0, 50]]
    plan = planned({"name": "L", "outline": outline, "height": 60})
    assert "apart" in {part.reason for part in plan.drawers[0].floor.left_out}
    area = sum(part.area for part in plan.drawers[0].floor.left_out)
    sheet = map_picture(plan, 0)
    full = map_picture(planned({"name": "L", "width": 127, "depth": 43, "height": 60}), 0)
    slants = [
        [shape for shape in picture.shapes if isinstance(shape, Path) and len(shape.points) == 2 and slanted(shape)]
        for picture in (sheet, full)
    ]
    # lines at 45 degrees, as far apart along x: the sum of their drops is the area over that distance
    drops = sum(abs(shape.points[1][1] - shape.points[0][1]) for shape in slants[0])
    assert drops == pytest.approx(area / 1.4, rel=0.03)
    assert not slants[1]
    assert any(f"{area:.0f} mm" in line.text for line in texts(sheet))


def slanted(shape):
    (x0, y0), (x1, y1) = shape.points
    return abs(abs(x1 - x0) - abs(y1 - y0)) < 1e-6 < abs(x1 - x0) and shape.width == pytest.approx(0.15)


def test_the_scale_is_the_drawings():
    plan = planned({"name": "one", "width": 311, "depth": 425, "height": 60})
    mapped = MappedDrawer(plan, 0)
    sheet, *_ = map_pages(plan, 0)
    subtitle = next(text.text for text in texts(sheet) if "1:" in text.text)
    scale = float(subtitle.rsplit("1:", 1)[1])
    widest = max(max(x for x, _ in shape.points) - min(x for x, _ in shape.points) for shape in sheet.shapes
                 if isinstance(shape, Path) and shape.closed and shape.fill is None)  # fmt: skip
    assert widest == pytest.approx(mapped.extent[0] / scale)


_AGAIN = """
import sys, json, hashlib
from worker.layout.planner import lay_out
from worker.output.drawings.map import write_map_pdf, write_map_svg
from worker.spec.manifest import PauseEntry, RunEntry, RunLettering, RunPiece
from worker.spec.reading.loader import load
plan = lay_out(load(json.loads(sys.argv[1])))
for index in (1, 0):
    print(hashlib.sha256(write_map_pdf(plan, index) + write_map_svg(plan, index)).hexdigest())
"""


def test_bytes_are_the_same_in_any_process_and_order():
    drawers = [{"name": f"d {i} \u017b\u0416", "width": 150 + 40 * i, "depth": 140, "height": 50} for i in range(2)]
    spec = {"spec": "1", "name": "same", "drawers": drawers, "printer": {"bed": [180, 180, 180]}}
    plan = lay_out(load(spec))
    here = [sha256(write_map_pdf(plan, index) + write_map_svg(plan, index)).hexdigest() for index in (0, 1)]
    command = [sys.executable, "-c", _AGAIN, json.dumps(spec)]
    there = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
    assert there == here[::-1]


_SIDE = st.floats(60.0, 450.0).map(lambda side: round(side, 1))


@st.composite
def drawers(draw):
    wide, deep = draw(_SIDE), draw(_SIDE)
    drawer = {
        "name": draw(st.sampled_from(HOSTILE)),
        "height": draw(st.sampled_from([30, 55, 90])),
    }
    if draw(st.booleans()) and min(wide, deep) > 140:
        x, y = wide * draw(st.sampled_from([0.4, 0.6])), deep * draw(st.sampled_from([0.4, 0.7]))
        drawer["outline"] = [[0, 0], [wide, 0], [wide, y], [x, y], [x, deep], [0, deep]]
    else:
        drawer |= {"width": wide, "depth": deep}
    if draw(st.booleans()):
        drawer["obstacles"] = [{"name": "post", "at": [wide * 0.3, deep * 0.25], "size": [20, 15]}]
    sizes = draw(st.lists(st.tuples(st.integers(1, 3), st.integers(1, 4)), max_size=5))
    drawer["trays"] = [
        {"name": f"{draw(st.sampled_from(HOSTILE[:2]))} {i}", "cells": list(size), "height": 25, "compartments": [2, 1]}
        for i, size in enumerate(sizes)
    ]
    return drawer


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(drawers(), st.sampled_from(["dovetail", "key", "plain"]), st.booleans())
def test_any_drawer_makes_sound_sheets(drawer, seam, halves):
    spec = {"grid": {"seam": seam, "half_cells": halves}, "printer": {"bed": [200, 200, 200]}}
    try:
        plan = planned(drawer, **spec)
    except LayoutError:
        drawer["trays"] = []
        try:
            plan = planned(drawer, **spec)
        except LayoutError:
            return
    assert_sound(plan, 0)


@pytest.mark.parametrize(("wide", "deep"), [(2900, 60), (60, 1900), (48, 48)])
def test_extreme_drawers_have_sound_sheets(wide, deep):
    trays = [
        {
            "name": "a rather long name for a tray",
            "cells": [1, 1],
            "height": 25,
            "quantity": 1 if wide == deep < 50 else 6,
        }
    ]
    assert_sound(planned({"name": "big", "width": wide, "depth": deep, "height": 60, "trays": trays}), 0)


@given(st.text(max_size=60), st.floats(1.0, 60.0), st.floats(1.8, 8.0))
def test_text_is_fitted_and_wrapped_within_its_room(text, room, size):
    line, used = fitted(text, room, size, least=1.8)
    assert text_width(line, used) <= room + EPSILON
    assert used <= size
    assert all(text_width(line, size) <= room + EPSILON for line in wrapped(text, room, size))
