"""Pages of paper to cut up: their sizes, their header with a ruler, and cut marks."""

from typing import Final, Literal, TypeAlias

from worker.output.drawings.font import clean
from worker.output.drawings.sheet import LEAST, Frame, Sheet

__all__ = ["BESIDE_RULER", "GAP", "HEAD", "MARGIN", "PAGES", "Page", "cut_marks", "ruled_page"]

Page: TypeAlias = Literal["A4", "Letter"]

#: ISO 216 A4 and ANSI/ASME Y14.1 A (Letter: 8.5 x 11 in), in mm.
PAGES: Final = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

#: Margin of a page, mm: most printers leave up to 6 mm blank (common practice).
MARGIN: Final = 10.0
#: Space between what is cut out side by side, mm.
GAP: Final = 6.0
#: Height of a page's header with its title and the ruler, mm.
HEAD: Final = 20.0
_RULER: Final = 50.0
#: Left edge of the text beside the ruler, mm.
BESIDE_RULER: Final = MARGIN + _RULER + 8.0
#: Distances from a corner at which its cut marks begin and end, mm.
_MARK: Final = (0.8, 2.2)


def ruled_page(kind: str, name: str, description: str, size: tuple[float, float]) -> Sheet:
    """Return an empty page with its header.

    Args:
        kind: what is on it, in the plural.
        name: the name of the job.
        description: what it is for.
        size: width and height, mm.
    """
    width, height = size
    title = f"{kind}: {clean(name)}"
    sheet = Sheet(width, height, title, description)
    sheet.write(title, (MARGIN, MARGIN, width - 2 * MARGIN), 4.0, bold=True, least=2.5)
    note = f"Print at 100 %: this line must measure {_RULER:g} mm. Cut along the marks."
    sheet.write(note, (BESIDE_RULER, MARGIN + 8.5, width - MARGIN - BESIDE_RULER), 3.0, least=LEAST)
    line = MARGIN + 10.5
    sheet.line((MARGIN, line), (MARGIN + _RULER, line), width=0.2)
    for step in range(int(_RULER / 10.0) + 1):
        tick = 2.5 if step % 5 == 0 else 1.5
        sheet.line((MARGIN + 10.0 * step, line - tick), (MARGIN + 10.0 * step, line + tick), width=0.2)
    return sheet


def cut_marks(sheet: Sheet, box: Frame) -> None:
    """Draw cut marks at the corners of a box."""
    x, y, across, down = box
    begin, end = _MARK
    for edge, out in ((x, -1.0), (x + across, 1.0)):
        for level, away in ((y, -1.0), (y + down, 1.0)):
            sheet.line((edge, level + away * begin), (edge, level + away * end), width=0.15)
            sheet.line((edge + out * begin, level), (edge + out * end, level), width=0.15)
