"""The reference sheet: read back from its PDF as a printer and a camera would."""

import io

import cv2
import numpy as np
import pypdfium2
import pytest
from pypdf import PdfReader

from worker.output.drawings.reference_sheet import draw_reference_sheet, write_reference_sheet
from worker.output.drawings.sheet import Path, TextLine, to_pdf, to_svg
from worker.silhouettes.photo.sheet import BAR, SHEET_SIZES, TINT_NAMES, TINTS, reference_sheet

_PIXELS = 8.0  # a mm
_POINT = 72.0 / 25.4


@pytest.fixture(scope="module", params=SHEET_SIZES)
def sheet(request):
    return reference_sheet(request.param)


@pytest.fixture(scope="module")
def picture(sheet):
    """The page as `(rows, columns, 3) uint8`, red, green and blue."""
    page = pypdfium2.PdfDocument(write_reference_sheet(sheet.size, "green"))[0]
    return page.render(scale=_PIXELS / _POINT, no_smoothpath=True).to_numpy()[..., 2::-1]


def _pixel(sheet, point):
    (x, y), (_, height) = sheet.corner, sheet.paper
    return np.array([(x + point[0]) * _PIXELS, (height - y - point[1]) * _PIXELS])


@pytest.mark.outside
def test_the_page_has_the_size_of_the_paper(sheet):
    """ISO 216, ANSI/ASME Y14.1."""
    (page,) = PdfReader(io.BytesIO(write_reference_sheet(sheet.size, "green"))).pages
    assert [float(side) / _POINT for side in page.mediabox[2:]] == pytest.approx(sheet.paper, abs=0.01)


@pytest.mark.outside
def test_an_independent_detector_reads_all_markers_where_they_are(sheet, picture):
    """OpenCV's detector."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(np.ascontiguousarray(picture))
    places = dict(zip(numbers.ravel().tolist(), corners, strict=True))
    assert places.keys() == sheet.markers.keys()
    for number, expected in sheet.markers.items():
        pixels = [_pixel(sheet, corner) for corner in expected]
        assert np.abs(places[number][0] - pixels).max() < 1.5


def test_the_bar_measures_its_length(sheet, picture):
    rows = picture[: int((sheet.paper[1] - sheet.corner[1] - sheet.outside[1] - 1.0) * _PIXELS)]
    dark = (rows.max(axis=2) < 128).any(axis=1)
    bar = (rows.max(axis=2) < 128)[np.flatnonzero(dark)[-1]]
    columns = np.flatnonzero(bar)
    assert (columns[-1] - columns[0] + 1) / _PIXELS == pytest.approx(BAR, abs=2.1 / _PIXELS)
    assert columns[0] / _PIXELS == pytest.approx(sheet.corner[0], abs=2.1 / _PIXELS)


def test_the_field_has_its_tint_but_for_the_marks_of_the_card_box(sheet, picture):
    left, bottom, right, top = sheet.field
    (x0, y1), (x1, y0) = _pixel(sheet, (left + 0.5, bottom + 0.5)), _pixel(sheet, (right - 0.5, top - 0.5))
    field = picture[round(y0) : round(y1), round(x0) : round(x1)].astype(int)
    other = (np.abs(field - TINTS["green"]) > 2).any(axis=2)
    assert 0 < other.mean() < 0.002
    down, along = np.nonzero(other)
    (card_x0, card_y1), (card_x1, card_y0) = _pixel(sheet, sheet.card_box[:2]), _pixel(sheet, sheet.card_box[2:])
    extent = [along.min() + round(x0), down.min() + round(y0), along.max() + round(x0), down.max() + round(y0)]
    assert extent == pytest.approx([card_x0, card_y0, card_x1, card_y1], abs=3.0)


@pytest.mark.parametrize("tint", TINT_NAMES)
def test_text_stays_on_the_paper_and_off_the_ring(sheet, tint):
    drawn = draw_reference_sheet(sheet.size, tint)
    boxes = [shape.box for shape in drawn.shapes if isinstance(shape, TextLine)]
    low, high = sheet.paper[1] - sheet.corner[1] - sheet.outside[1], sheet.paper[1] - sheet.corner[1]
    assert boxes
    for left, top, right, bottom in boxes:
        assert left >= 4.0
        assert right <= sheet.paper[0] - 4.0
        assert 4.0 <= top < bottom <= low or high <= top < bottom <= sheet.paper[1] - 4.0
    assert tint in boxes_text(drawn)
    assert "100 %" in boxes_text(drawn)


def test_the_lines_of_the_bar_are_the_edges_of_its_blocks(sheet):
    """Blocks of 10 mm, every second one filled, and a line along their upper and their lower ends."""
    drawn = draw_reference_sheet(sheet.size, "green")
    high = sheet.paper[1] - sheet.corner[1] - sheet.outside[1]
    filled = [shape.points for shape in drawn.shapes if isinstance(shape, Path) and shape.fill == 0.0
              and max(y for _, y in shape.points) < high]  # fmt: skip
    wide = [points for points in filled if points[2][0] - points[0][0] == pytest.approx(BAR)]
    blocks = [points for points in filled if points not in wide]
    assert [points[2][0] - points[0][0] for points in blocks] == pytest.approx([10.0] * len(blocks))
    starts = [points[0][0] - sheet.corner[0] for points in blocks]
    assert starts == pytest.approx([20.0 * number for number in range(len(blocks))])
    assert len(blocks) == BAR // 20 + BAR // 10 % 2
    (top, low) = (wide[0][0][1], wide[1][2][1])
    assert (top, low) == pytest.approx((blocks[0][0][1], blocks[0][2][1]))
    assert all(points[2][1] - points[0][1] == pytest.approx(0.2) for points in wide)


def boxes_text(drawn):
    return " ".join(shape.text for shape in drawn.shapes if isinstance(shape, TextLine))


def test_the_same_sheet_has_the_same_bytes():
    drawn = {(size, tint): to_pdf([draw_reference_sheet(size, tint)]) for size in SHEET_SIZES for tint in TINT_NAMES}
    assert len(set(drawn.values())) == len(SHEET_SIZES) * len(TINT_NAMES)
    for (size, tint), data in drawn.items():
        assert data == write_reference_sheet(size, tint)
    assert b"#7fe0a0" in to_svg(draw_reference_sheet("a4", "green"))
