"""Labels for the trays' label shelves, to be printed at 100 % and cut out."""

from collections.abc import Iterator
from math import hypot
from typing import Final, Literal

from worker.output.face import LINE
from worker.output.sheet import Sheet, to_pdf
from worker.spec.manifest import DrawerEntry, Manifest

__all__ = ["PAGES", "label_sheets", "write_labels"]

#: ISO 216 A4 and ANSI/ASME Y14.1 A (Letter: 8.5 x 11 in), in mm.
PAGES: Final = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

MARGIN: Final = 10.0
#: A label is this much narrower and less deep than its shelf (own choice), so that it drops in.
CLEARANCE: Final = 1.0
#: Between labels, and the length of a cut mark within that.
_GAP: Final = 6.0
_CUT: Final = 2.0
#: The head of a page: a line of text and the ruler.
_HEAD: Final = 22.0
_LEAST: Final = 1.8
_MOST: Final = 7.0
#: The share of a label's height that one line takes.
_SHARE: Final = 0.75


def write_labels(manifest: Manifest, page: Literal["A4", "Letter"]) -> bytes | None:
    """Return a PDF with a label for every label shelf, in order of drawer and place; None when no tray has one."""
    sheets = label_sheets(manifest, page)
    return to_pdf(sheets) if sheets else None


def label_sheets(manifest: Manifest, page: Literal["A4", "Letter"]) -> list[Sheet]:
    """Return the pages of labels; none without a label shelf. A label wider than the page is as wide as the page."""
    width, height = PAGES[page]
    sheets: list[Sheet] = []
    x, y, row = MARGIN, height, 0.0
    for text, wide, deep in _labels(manifest, width - 2 * MARGIN - 2 * _GAP):
        if x + _GAP + wide > width - MARGIN:
            x, y, row = MARGIN, y + row + _GAP, 0.0
        if y + _GAP + deep > height - MARGIN:
            sheets.append(_page(manifest, width, height))
            x, y, row = MARGIN, MARGIN + _HEAD, 0.0
        _label(sheets[-1], text, (x + _GAP, y + _GAP, wide, deep))
        x, row = x + _GAP + wide, max(row, deep)
    return sheets


def _labels(manifest: Manifest, most: float) -> Iterator[tuple[str, float, float]]:
    """Yield each label's text, width and depth; a shelf with letters of its own needs none."""
    parts = {part.mark: part for part in manifest.parts}
    for drawer in manifest.drawers:
        for _ in range(drawer.copies):
            for index, place in enumerate(drawer.placements):
                part = parts[place.mark]
                tray = part.tray
                if tray is None or tray.label_shelf is None or (tray.text and tray.text.face == "shelf"):
                    continue
                shelf = tray.label_shelf
                wide = part.size[0] - 2.0 * tray.wall - CLEARANCE
                deep = hypot(shelf.depth, shelf.drop) - CLEARANCE
                yield _said(drawer, index) or place.name or part.name, min(wide, most), deep


def _said(drawer: DrawerEntry, index: int) -> str:
    return ", ".join(dict.fromkeys(one.item for one in drawer.contents if one.placement == index))


def _page(manifest: Manifest, width: float, height: float) -> Sheet:
    sheet = Sheet(width, height, f"Labels: {manifest.name}", "Labels for the label shelves, to print at 100 % and cut.")
    sheet.write(sheet.title, (MARGIN, MARGIN, width - 2 * MARGIN), 4.0, bold=True)
    room = width - 2 * MARGIN - 58.0
    sheet.write("Print at 100 %: this line must measure 50 mm.", (MARGIN + 58.0, MARGIN + 9.0, room), 3.0)
    sheet.write("? stands for a character that the typeface lacks.", (MARGIN + 58.0, MARGIN + 13.5, room), 2.5)
    line = MARGIN + 11.0
    sheet.line((MARGIN, line), (MARGIN + 50.0, line))
    for step in range(6):
        tick = 3.0 if step in {0, 5} else 1.5
        sheet.line((MARGIN + 10.0 * step, line - tick), (MARGIN + 10.0 * step, line + tick))
    return sheet


def _label(sheet: Sheet, text: str, box: tuple[float, float, float, float]) -> None:
    x, y, width, height = box
    size = min(_MOST, _SHARE * height / LINE)
    room = max(width - 2.0, 0.0)
    sheet.write(text, (x + (width - room) / 2.0, y + (height - LINE * size) / 2.0, room), size,
                align="middle", least=min(size, _LEAST), bold=True)  # fmt: skip
    for edge, out in ((x, -_CUT), (x + width, _CUT)):
        for level, away in ((y, -_CUT), (y + height, _CUT)):
            sheet.line((edge, level + away / 2), (edge, level + away), width=0.15)
            sheet.line((edge + out / 2, level), (edge + out, level), width=0.15)
