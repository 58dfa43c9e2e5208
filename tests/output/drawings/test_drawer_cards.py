"""Drawer cards: codes as an independent decoder reads them from the PDF (zxing-cpp, over pages drawn by pdfium)."""

import io

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.output.drawings.test_labels import manifest, tray
from worker.output.drawings.drawer_cards import card_sheets, qr_modules
from worker.output.drawings.labels import write_labels
from worker.output.drawings.paper import MARGIN, PAGES
from worker.output.drawings.sheet import Path, TextLine, to_pdf

_URL = "https://drawers.example/#drawer=01k9x5m8w2q4r6t8v0y2a4c6e8"

#: Pixels per mm: 300 dpi.
_SCALE = 300.0 / 72.0


def codes_of(pdf):
    """Return the QR codes of each page of a PDF, as they are read from its picture."""
    document = pypdfium2.PdfDocument(io.BytesIO(pdf))
    try:
        pictures = [page.render(scale=_SCALE).to_pil() for page in document]
    finally:
        document.close()
    return [zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode) for picture in pictures]


@pytest.mark.outside
@pytest.mark.parametrize("page", sorted(PAGES))
def test_the_code_on_the_label_sheet_opens_the_page_of_the_drawer(page):
    made = manifest([tray()], [("T1", "bits")], copies=2)
    labels, cards = codes_of(write_labels(made, page, {"top": _URL}))
    assert labels == []
    assert [code.text for code in cards] == [_URL, _URL]
    assert {code.ec_level for code in cards} == {"M"}


def test_a_sheet_of_cards_is_written_without_any_label():
    made = manifest([tray(ledge=None)], [("T1", "bits")])
    assert write_labels(made, "A4", {"other": _URL}) is None
    ((code,),) = codes_of(write_labels(made, "A4", {"top": _URL}))
    assert code.text == _URL
    assert write_labels(made, "A4", {"top": _URL}) == write_labels(made, "A4", {"top": _URL})


@settings(max_examples=12)
@given(
    host=st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=250),
    name=st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=80),
)
def test_any_address_is_read_back(host, name):
    url = f"http://{host}.example:8765/#drawer=01k9x5m8w2q4r6t8v0y2a4c6e8"
    made = manifest([tray()], [("T1", "bits")])
    made = made.model_copy(update={"drawers": (made.drawers[0].model_copy(update={"name": name}),)})
    ((code,),) = codes_of(to_pdf(card_sheets(made, "A4", {name: url})))
    assert code.text == url


def _dark(sheet):
    """Return the rectangles of dark modules as (left, top, right, bottom), mm."""
    filled = [shape.points for shape in sheet.shapes if isinstance(shape, Path) and shape.fill == 0.0]
    return [(*corners[0], *corners[2]) for corners in filled]


def test_a_code_has_its_quiet_zone_and_modules_that_a_phone_reads():
    """ISO/IEC 18004:2015, 5.3.8: four modules; 0.4 mm is what phones read at arm's length (common practice)."""
    (sheet,) = card_sheets(manifest([tray()], [("T1", "bits")]), "A4", {"top": _URL})
    dark, modules = _dark(sheet), qr_modules(_URL)
    left, top = min(box[0] for box in dark), min(box[1] for box in dark)
    right, low = max(box[2] for box in dark), max(box[3] for box in dark)
    step = (right - left) / len(modules)
    assert step >= 0.4
    marks = [shape.points for shape in sheet.shapes if isinstance(shape, Path) and shape.width == 0.15]
    edge_left, edge_top = (
        min(x for line in marks for x, _ in line) + 2.2,
        min(y for line in marks for _, y in line) + 2.2,
    )
    assert left - edge_left == pytest.approx(4 * step, abs=0.02)
    assert top - edge_top == pytest.approx(4 * step, abs=0.02)
    texts = [shape.box for shape in sheet.shapes if isinstance(shape, TextLine) and shape.box[1] >= edge_top]
    assert all(box[0] >= right + 4 * step - 0.02 for box in texts if box[1] < low)


@pytest.mark.parametrize("page", sorted(PAGES))
def test_many_cards_stay_on_their_pages(page):
    drawer = manifest([tray()], [("T1", "bits")]).drawers[0]
    names = [f"{number} {'drawer of many words ' * 3}".strip() for number in range(23)]
    made = manifest([tray()], [("T1", "bits")]).model_copy(
        update={"drawers": tuple(drawer.model_copy(update={"name": name}) for name in names)}
    )
    sheets = card_sheets(made, page, {name: f"{_URL}{number}" for number, name in enumerate(names)})
    read = [code.text for codes in codes_of(to_pdf(sheets)) for code in codes]
    assert sorted(read) == sorted(f"{_URL}{number}" for number in range(23))
    for sheet in sheets:
        for left, top, right, low in [
            *_dark(sheet), *(shape.box for shape in sheet.shapes if isinstance(shape, TextLine)),
        ]:  # fmt: skip
            assert left >= MARGIN - 0.1
            assert top >= MARGIN - 0.1
            assert right <= sheet.width - MARGIN + 0.1
            assert low <= sheet.height - MARGIN + 0.1


def test_finder_patterns_stand_in_three_corners():
    """ISO/IEC 18004:2015, 5.3.2.1 and 5.3.4: three patterns of 7 x 7 modules, and alternating timing patterns."""
    modules = qr_modules(_URL)
    size = len(modules)
    assert (size - 17) % 4 == 0
    ring = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]
    for left, top in ((0, 0), (size - 7, 0), (0, size - 7)):
        rows = ["".join("01"[modules[top + y][left + x]] for x in range(7)) for y in range(7)]
        assert rows == ring
    assert all(modules[6][at] is (at % 2 == 0) for at in range(8, size - 8))
    assert all(modules[at][6] is (at % 2 == 0) for at in range(8, size - 8))
