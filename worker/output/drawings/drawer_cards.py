"""Drawer cards: for each drawer of the household a QR code that opens its page, with its name, to cut out."""

from collections.abc import Iterator, Mapping
from typing import Final

import segno

from worker.output.drawings.font import LINE, wrapped
from worker.output.drawings.paper import GAP, HEAD, MARGIN, PAGES, Page, cut_marks, ruled_page
from worker.output.drawings.sheet import Frame, Path, Sheet, block
from worker.spec.manifest import Manifest

__all__ = ["card_sheets", "qr_modules"]

#: Least side of a code with its quiet zone, and least side of a module, mm: phones read 0.4 mm (common practice).
_CODE: Final = 30.0
_MODULE: Final = 0.5
#: Modules of the quiet zone on each side (ISO/IEC 18004:2015, 5.3.8).
_QUIET: Final = 4
#: Width of the text beside a code, mm.
_TEXT: Final = 50.0
_PAD: Final = 2.0
_NAME: Final = 5.0
_NOTE: Final = 2.5
_HINT: Final = "Scan to see what lies where."
#: By how much the rows of a code overlap, mm, so that no viewer shows lines between them.
_OVERLAP: Final = 0.01


def card_sheets(manifest: Manifest, page: Page, pages: Mapping[str, str]) -> list[Sheet]:
    """Return the pages of cards, none without a drawer that has a page.

    Args:
        manifest: the job; its drawers get cards in their order, each copy too.
        page: the paper.
        pages: the URLs of drawers' pages by the drawers' names.
    """
    width, height = PAGES[page]
    sheets: list[Sheet] = []
    x, y, row = width, height, 0.0
    for drawer in manifest.drawers:
        if drawer.name not in pages:
            continue
        modules = qr_modules(pages[drawer.name])
        side = max(_CODE, _MODULE * (len(modules) + 2 * _QUIET))
        across = side + _TEXT + _PAD
        for _ in range(drawer.copies):
            if x + across > width - MARGIN - GAP:
                x, y, row = MARGIN + GAP, y + row, 0.0
            if y + side > height - MARGIN - GAP:
                description = "QR codes that open the pages of drawers, to cut out and put on them."
                sheets.append(ruled_page("Drawer cards", manifest.name, description, (width, height)))
                x, y, row = MARGIN + GAP, MARGIN + HEAD + GAP, 0.0
            _draw(sheets[-1], drawer.name, modules, (x, y, across, side))
            x, row = x + across + GAP, max(row, side + GAP)
    return sheets


def qr_modules(url: str) -> tuple[tuple[bool, ...], ...]:
    """Return the modules of a QR code (ISO/IEC 18004, error correction level M), true for dark, without quiet zone."""
    code = segno.make(url, error="m", micro=False, boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in code.matrix)


def _draw(sheet: Sheet, name: str, modules: tuple[tuple[bool, ...], ...], box: Frame) -> None:
    x, y, across, side = box
    cut_marks(sheet, box)
    step = side / (len(modules) + 2 * _QUIET)
    for row, line in enumerate(modules):
        top = y + (row + _QUIET) * step
        for begin, end in _runs(line):
            left, right = (x + (edge + _QUIET) * step for edge in (begin, end))
            low = top + step + _OVERLAP
            corners = ((left, top), (right, top), (right, low), (left, low))
            sheet.shapes.append(Path(corners, closed=True, fill=0.0, stroke=None))
    lines = [(text, _NAME, True) for text in wrapped(name, _TEXT - _PAD, _NAME, bold=True)]
    most = max(1, int((side - 2.0 * LINE * _NOTE) / (LINE * _NAME)))
    notes = [(text, _NOTE, False) for text in wrapped(_HINT, _TEXT - _PAD, _NOTE, bold=False)]
    text_box = (x + side, y, across - side - _PAD, side)
    sheet.shapes += block([*lines[:most], *notes], text_box, align="left", turned=False)


def _runs(line: tuple[bool, ...]) -> Iterator[tuple[int, int]]:
    """Yield the begin and end of each run of dark modules."""
    begin: int | None = None
    for at, dark in enumerate((*line, False)):
        if dark and begin is None:
            begin = at
        elif not dark and begin is not None:
            yield begin, at
            begin = None
