"""Sheets as SVG and PDF: both show every line of text and every path at the place that the sheet has it."""

import io
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from pypdf import PdfReader

from worker.output.drawings.font import ASCENT, LINE
from worker.output.drawings.sheet import LEAST, Sheet, TextLine, block, to_pdf, to_svg

CLOSE = 1e-6
_LENGTHS = st.floats(20.0, 150.0).map(lambda length: round(length, 2))
_ALIGN = st.sampled_from(["left", "middle", "right"])


def written(text, frame, size, **fields):
    sheet = Sheet(300.0, 300.0, "t", "d")
    sheet.write(text, frame, size, **fields)
    return sheet


@given(
    st.text("abc xyz", min_size=1, max_size=40), st.tuples(_LENGTHS, _LENGTHS, _LENGTHS), st.floats(2.0, 9.0),
    st.fixed_dictionaries({"align": _ALIGN, "bold": st.booleans(), "turned": st.booleans()}),
)  # fmt: skip
def test_a_line_lies_in_its_box_at_the_side_that_it_is_aligned_to(text, frame, size, style):
    x, y, room = frame
    align, turned = style["align"], style["turned"]
    for shape in written(text, frame, size, least=LEAST, **style).shapes:
        left, top, right, low = shape.box
        # turned text reads upwards from the lower end of its box
        start, end = (y - low, y - top) if turned else (left - x, right - x)
        assert start >= -CLOSE
        assert end <= room + CLOSE
        spare = room - (end - start)
        assert start == pytest.approx({"left": 0.0, "middle": spare / 2.0, "right": spare}[align], abs=CLOSE)
        assert (left if turned else top) == pytest.approx(x if turned else y)
        assert (right - left if turned else low - top) == pytest.approx(LINE * shape.size)


@given(
    st.lists(st.tuples(st.text("abc", min_size=1, max_size=6), st.floats(2.0, 5.0)), min_size=1, max_size=4),
    st.tuples(_LENGTHS, _LENGTHS, _LENGTHS, _LENGTHS), _ALIGN, st.booleans(),
)  # fmt: skip
def test_a_block_is_in_the_middle_of_its_frame_with_one_line_after_another(lines, frame, align, turned):
    x, y, across, down = frame
    texts = block([(text, size, False) for text, size in lines], frame, align=align, turned=turned)
    assert [text.text for text in texts] == [text for text, _ in lines]
    if turned:
        spans = [(text.box[0], text.box[2]) for text in texts]
        along = [(y + down - text.box[3], text.box[3] - text.box[1], down) for text in texts]
        start, room = x, across
    else:
        spans = [(text.box[1], text.box[3]) for text in texts]
        along = [(text.box[0] - x, text.box[2] - text.box[0], across) for text in texts]
        start, room = y, down
    assert spans[0][0] - start == pytest.approx(start + room - spans[-1][1])
    assert all(before[1] == pytest.approx(after[0]) for before, after in pairwise(spans))
    for begin, length, width in along:
        share = {"left": 0.0, "middle": 0.5, "right": 1.0}[align]
        assert begin == pytest.approx(share * (width - length), abs=CLOSE)


def places_of_pdf(data):
    """Return the text of the page with where each line begins on paper, mm from the left and the top."""
    (page,) = PdfReader(io.BytesIO(data)).pages
    high = float(page.mediabox.height)
    places = []

    def visit(text, matrix, own, *_):
        if text.strip():
            x = own[4] * matrix[0] + own[5] * matrix[2] + matrix[4]
            y = own[4] * matrix[1] + own[5] * matrix[3] + matrix[5]
            places.append((text.strip(), x * 25.4 / 72.0, (high - y) * 25.4 / 72.0))

    page.extract_text(visitor_text=visit)
    return places


@settings(max_examples=40, deadline=None)
@given(st.tuples(_LENGTHS, _LENGTHS), st.floats(2.0, 9.0), _ALIGN, st.booleans())
def test_svg_and_pdf_have_text_where_the_sheet_has_it(at, size, align, turned):
    sheet = Sheet(300.0, 200.0, "t", "d")
    line = TextLine("Handle", at, size, align=align, turned=turned)
    sheet.shapes.append(line)
    left, top, _, low = line.box
    # the baseline lies the ascent below the upper edge; turned text begins at the lower end
    start = (left + ASCENT * size, low) if turned else (left, top + ASCENT * size)
    ((text, x, y),) = places_of_pdf(to_pdf([sheet]))
    assert text == "Handle"
    assert (x, y) == pytest.approx(start, abs=0.01)
    (element,) = etree.fromstring(to_svg(sheet)).iter("{*}text")
    anchor = {None: 0.0, "middle": 0.5, "end": 1.0}[element.get("text-anchor")]
    if turned:
        place, turn = element.get("transform").split(") rotate(")
        x, y = map(float, place.removeprefix("translate(").split())
        assert turn == "-90)"
        assert (x, y) == pytest.approx((start[0], low - anchor * (low - top)), abs=0.01)
    else:
        x, y = float(element.get("x")), float(element.get("y"))
        assert (x, y) == pytest.approx((left + anchor * (line.box[2] - left), start[1]), abs=0.01)
    assert float(element.get("font-size")) == pytest.approx(size, abs=0.001)


def test_a_page_of_paths_has_them_in_millimetres_of_paper():
    sheet = Sheet(210.0, 297.0, "t", "d")
    sheet.rect(20.0, 30.0, 50.0, 40.0, fill=(1.0, 0.5, 0.0), stroke=None)
    sheet.line((10.0, 10.0), (60.0, 10.0), width=0.5, dash=(2.0, 1.0))
    (page,) = PdfReader(io.BytesIO(to_pdf([sheet]))).pages
    assert [float(side) for side in page.mediabox[2:]] == pytest.approx([210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0])
    content = page.get_contents().get_data().decode()
    assert "1 .5 0 rg" in content
    assert "20 267 m 70 267 l 70 227 l 20 227 l h" in content
    assert "[2 1] 0 d" in content
    rect, line = (element for element in etree.fromstring(to_svg(sheet)) if element.tag.split("}")[1] in
                  {"polygon", "polyline"})  # fmt: skip
    assert rect.get("points") == "20,30 70,30 70,70 20,70"
    assert (rect.get("fill"), rect.get("stroke"), rect.get("stroke-width")) == ("#ff8000", "none", None)
    assert (line.get("fill"), line.get("stroke"), line.get("stroke-dasharray")) == ("none", "#000000", "2 1")
