from lxml import etree

from tests.output.test_bill import manifest, part
from worker.output.labels import label_sheets, write_labels
from worker.output.map import map_pages, map_picture, write_map_pdf, write_map_svg
from worker.output.sheet import Text
from worker.spec.manifest import Cells, DrawerEntry, PlacementEntry

HOSTILE = ("<script>alert(1)</script>", "a & b", "x" * 400, "\u202eabc", "\u05e9\u05dc\u05d5\u05dd", "\U0001f600")


def made():
    places = tuple(
        PlacementEntry(mark="T1", at=(84.0 * i, 0.0, 3.0), turn=0, cell=(2 * i, 0), name=name)
        for i, name in enumerate(HOSTILE)
    )
    drawer = DrawerEntry(
        name="top & left <b>", copies=1, size=(510.0, 300.0, 80.0), outline=(((0, 0), (510, 0), (510, 300), (0, 300)),),
        origin=(0.0, 0.0), pitch=42.0, cells=Cells(whole=84, half=0, across=(12, 7)), leftover=(6.0, 6.0), free=0,
        placements=places,
    )  # fmt: skip
    return manifest(part("T1", quantity=6)), drawer


def test_picture_is_safe_full_size_and_names_each_piece():
    given, drawer = made()
    root = etree.fromstring(write_map_svg(given, drawer), etree.XMLParser(resolve_entities=False, no_network=True))
    sheet = map_picture(given, drawer)
    assert root.get("width") == f"{sheet.width:g}mm"
    assert root.get("viewBox") == f"0 0 {sheet.width:g} {sheet.height:g}"
    names = {etree.QName(one).localname for one in root.iter()}
    assert names == {"svg", "title", "desc", "rect", "polygon", "polyline", "text"}
    texts = [one.text for one in root.iter("{*}text")]
    # six trays, and the row of the table
    assert sum(text.split(",")[0] == "T1" for text in texts) == len(drawer.placements) + 1


def test_text_stays_on_its_sheet_and_bytes_are_the_same():
    given, drawer = made()
    assert write_map_pdf(given, drawer) == write_map_pdf(given, drawer)
    for sheet in (map_picture(given, drawer), *map_pages(given, drawer)):
        for text in (shape for shape in sheet.shapes if isinstance(shape, Text)):
            left, top, right, low = text.box
            assert min(left, top) >= 0.0, text
            assert right <= sheet.width + 1e-6, text
            assert low <= sheet.height + 1e-6, text


def test_no_shelf_no_labels():
    given, _ = made()
    assert label_sheets(given, "A4") == []
    assert write_labels(given, "Letter") is None
