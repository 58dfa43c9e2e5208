"""The reference sheet as a PDF: what a thing lies on when it is photographed."""

from functools import lru_cache
from typing import Final

from worker.output.drawings.font import LINE
from worker.output.drawings.sheet import LEAST, Colour, Point, Sheet, to_pdf
from worker.silhouettes.photo.sheet import (
    BAR,
    CARD,
    MARKER,
    MODULES,
    SQUARE,
    TINTS,
    ReferenceSheet,
    SheetSize,
    Tint,
    marker_bits,
    reference_sheet,
)

__all__ = ["draw_reference_sheet", "write_reference_sheet"]

_PAPER_NAMES: Final[dict[SheetSize, str]] = {"a4": "A4", "letter": "US Letter"}

_HEADING: Final = 2.9
_ADVICE: Final = 2.05
#: Height of the ruler bar and its distance from the ring, mm; length of its blocks.
_BAR_HEIGHT: Final = 2.0
_BAR_GAP: Final = 2.5
_BLOCK: Final = 10.0
#: Distance of the advice from the ring, mm: it ends 4 mm above the edge of the paper, where most printers still print
#: (common practice).
_FOOT_GAP: Final = 0.9
#: The marks at the corners of the card box: length and width, mm, and their lightness beside the field's: too thin and
#: too much like the field to be taken for a thing.
_MARK: Final = 5.0
_PEN: Final = 0.25
_SHADE: Final = 0.75

_FOOT: Final = (
    "Lay the sheet flat on something firm, and the thing on the coloured field, clear of the squares. Photograph it "
    "from straight above, from 600 mm or more,\n"
    "without flash, with all squares in the picture. To check the scale, photograph a bank card (ID-1, "
    f"{CARD[0]:.2f} x {CARD[1]:.2f} mm) within the marks in the middle."
)


@lru_cache(maxsize=8)
def write_reference_sheet(size: SheetSize, tint: Tint) -> bytes:
    """Return the sheet as a PDF of one page, to print at 100 %."""
    return to_pdf([draw_reference_sheet(size, tint)])


def draw_reference_sheet(size: SheetSize, tint: Tint) -> Sheet:
    """Return the sheet for a size of paper, with its field in a tint."""
    reference = reference_sheet(size)
    width, height = reference.paper
    title = f"Reference sheet, {_PAPER_NAMES[size]}, {tint}"
    sheet = Sheet(width, height, title, "To photograph a thing on, for its outline. Print at 100 %, no scaling.")
    _header(sheet, reference)
    _ring(sheet, reference)
    _field(sheet, reference, tint)
    x, y_ring = reference.corner
    for index, line in enumerate(_FOOT.splitlines()):
        y = height - y_ring + _FOOT_GAP + index * LINE * _ADVICE
        sheet.write(line, (x, y, reference.outside[0]), _ADVICE, least=LEAST)
    return sheet


def _header(sheet: Sheet, reference: ReferenceSheet) -> None:
    """Draw the heading and the ruler bar below it."""
    left, right = _rectangle(reference, (0.0, 0.0, *reference.outside))[::2]
    top = _page_point(reference, (0.0, reference.outside[1]))[1] - _BAR_GAP - _BAR_HEIGHT
    advice = f"{sheet.title}. Print at 100 %, no scaling, on matt paper: this bar must measure {BAR:.1f} mm."
    sheet.write(advice, (left, top - 1.0 - LINE * _HEADING, right), _HEADING, bold=True, least=LEAST)
    for index in range(int(BAR / _BLOCK)):
        if index % 2 == 0:
            sheet.rect(left + index * _BLOCK, top, _BLOCK, _BAR_HEIGHT, fill=0.0, stroke=None)
    for level in (top, top + _BAR_HEIGHT):
        # the lines lie inside of the bar, so that its ends are those of the blocks
        inward = 0.1 if level == top else -0.1
        sheet.rect(left, level + min(0.0, 2.0 * inward), BAR, 0.2, fill=0.0, stroke=None)
    sheet.write(f"{BAR:.1f} mm", (left + BAR + 2.0, top - 0.2, 30.0), _ADVICE)


def _ring(sheet: Sheet, reference: ReferenceSheet) -> None:
    """Draw the black squares, and the markers in the white ones."""
    for column, row in reference.black_squares:
        _fill(sheet, reference, (column * SQUARE, row * SQUARE, SQUARE, SQUARE), 0.0)
    module = MARKER / MODULES
    for number, corners in reference.markers.items():
        (left, top), _, (right, bottom), _ = corners
        _fill(sheet, reference, (left, bottom, right - left, top - bottom), 0.0)
        for row, modules in enumerate(marker_bits(number)):
            for start, end in _runs(modules):
                x, y = left + (1 + start) * module, top - (2 + row) * module
                _fill(sheet, reference, (x, y, (end - start) * module, module), 1.0)


def _field(sheet: Sheet, reference: ReferenceSheet, tint: Tint) -> None:
    """Draw the field and the marks at the corners of the card box."""
    left, bottom, right, top = reference.field
    red, green, blue = (channel / 255.0 for channel in TINTS[tint])
    _fill(sheet, reference, (left, bottom, right - left, top - bottom), (red, green, blue))
    shade = (_SHADE * red, _SHADE * green, _SHADE * blue)
    low_x, low_y, high_x, high_y = reference.card_box
    for x, inward in ((low_x, _MARK), (high_x, -_MARK)):
        for y, upward in ((low_y, _MARK), (high_y, -_MARK)):
            corner = [_page_point(reference, point) for point in ((x + inward, y), (x, y), (x, y + upward))]
            sheet.line(*corner, stroke=shade, width=_PEN)


def _runs(modules: tuple[bool, ...]) -> list[tuple[int, int]]:
    """Return first and last-but-one index of each run of white modules; one rectangle each leaves no hairlines."""
    edges = [
        index
        for index, (before, after) in enumerate(zip((False, *modules), (*modules, False), strict=True))
        if before != after
    ]
    return list(zip(edges[::2], edges[1::2], strict=True))


def _fill(sheet: Sheet, reference: ReferenceSheet, box: tuple[float, float, float, float], colour: Colour) -> None:
    """Fill a rectangle ``(left, bottom, width, height)`` of the sheet's frame."""
    left, bottom, width, height = box
    x, y = _page_point(reference, (left, bottom + height))
    sheet.rect(x, y, width, height, fill=colour, stroke=None)


def _rectangle(reference: ReferenceSheet, box: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """Return left, top, width and height on the page of a rectangle ``(left, bottom, right, top)``."""
    left, bottom, right, top = box
    x, y = _page_point(reference, (left, top))
    return x, y, right - left, top - bottom


def _page_point(reference: ReferenceSheet, point: Point) -> Point:
    """Return a point of the sheet's frame on the page, whose y points down."""
    x, y = reference.corner
    return x + point[0], reference.paper[1] - y - point[1]
