"""A drawn sheet: lines, polygons and lines of text in millimetres, written as SVG or as a page of a PDF.

Origin at the top left, y down. A text is measured in the Vera face that reportlab ships and takes no more room
than that in either file: the SVG states its length, and the PDF embeds the face.
"""

import io
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final, Literal, TypeAlias
from xml.sax.saxutils import escape, quoteattr

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

__all__ = ["LINE", "MISSING", "Path", "Sheet", "Text", "fitted", "text_width", "to_pdf", "to_svg", "wrapped"]

Point: TypeAlias = tuple[float, float]

#: Stands in a PDF for a character that the face lacks.
MISSING: Final = "?"

_ELLIPSIS: Final = "\u2026"
_POINT: Final = 72.0 / 25.4
#: Height of a line and of its part above the baseline, in sizes of the type: Vera's own, rounded up.
LINE: Final = 1.2
_ASCENT: Final = 0.93
#: A character that Vera lacks is taken to be this wide, in sizes of the type: a full-width one is 1.
_WIDE: Final = 1.0


@dataclass(frozen=True, slots=True)
class Path:
    """A line through ``points``, or with ``closed`` a polygon; ``fill`` and ``stroke`` are greys from 0 to 1."""

    points: tuple[Point, ...]
    closed: bool = False
    fill: float | None = None
    stroke: float | None = 0.0
    width: float = 0.25
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text whose top left corner is at ``at``; ``size`` is the type's in mm."""

    text: str
    at: Point
    size: float
    bold: bool = False

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The room it takes: left, top, right, bottom."""
        x, y = self.at
        return x, y, x + text_width(self.text, self.size, bold=self.bold), y + LINE * self.size


@dataclass(slots=True)
class Sheet:
    """One sheet of paper."""

    width: float
    height: float
    title: str
    description: str
    shapes: list[Path | Text] = field(default_factory=list)

    def rect(self, x: float, y: float, across: float, down: float, **style: Any) -> None:
        """Draw a rectangle; ``style`` is that of a `Path`."""
        corners = ((x, y), (x + across, y), (x + across, y + down), (x, y + down))
        self.shapes.append(Path(corners, closed=True, **style))

    def line(self, *points: Point, **style: Any) -> None:
        """Draw a line."""
        self.shapes.append(Path(points, **style))

    def write(
        self, text: str, box: tuple[float, float, float], size: float, *,
        bold: bool = False, align: Literal["left", "middle"] = "left", least: float | None = None,
    ) -> None:  # fmt: skip
        """Write one line into a box ``(x, y, width)``: smaller down to ``least``, then shortened by an ellipsis."""
        x, y, room = box
        text, size = fitted(text, room, size, least=size if least is None else least, bold=bold)
        if text:
            slack = (room - text_width(text, size, bold=bold)) / 2.0 if align == "middle" else 0.0
            self.shapes.append(Text(text, (x + slack, y), size, bold))


@lru_cache(maxsize=2)
def _face(*, bold: bool) -> Any:
    face = TTFont("DrawerBold" if bold else "Drawer", "VeraBd.ttf" if bold else "Vera.ttf")
    pdfmetrics.registerFont(face)
    return face


def _known(sign: str) -> bool:
    return ord(sign) in _face(bold=False).face.charToGlyph


def clean(text: str) -> str:
    """Return a text without what is not seen: control characters and marks that turn the direction of others."""
    return "".join(" " if sign in "\t\r\n" else sign for sign in text if sign in "\t\r\n" or _seen(sign))


def _seen(sign: str) -> bool:
    return unicodedata.category(sign) not in {"Cc", "Cf", "Cs", "Cn", "Co"}


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of a line in mm; characters that the face lacks count as full-width ones."""
    known = "".join(filter(_known, text))
    return float(_face(bold=bold).stringWidth(known, size)) + _WIDE * size * (len(text) - len(known))


def fitted(text: str, room: float, size: float, *, least: float, bold: bool = False) -> tuple[str, float]:
    """Return a line and its size that fit a width: the text itself if it can, else its beginning, else nothing."""
    text = clean(text)
    width = text_width(text, 1.0, bold=bold)
    if width * least <= room:
        return text, min(size, room / width if width else size)
    end = len(text)
    while end and text_width(text[:end].rstrip() + _ELLIPSIS, least, bold=bold) > room:
        end -= 1
    return (text[:end].rstrip() + _ELLIPSIS if end else ""), least


def wrapped(text: str, room: float, size: float) -> list[str]:
    """Return a text as lines no wider than the room; a word too long for a line is shortened."""
    lines: list[str] = []
    for word in clean(text).split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(fitted(word, room, size, least=size)[0])
    return lines


def to_svg(sheet: Sheet) -> bytes:
    """Return the sheet as SVG 1.1, in mm at full size, without scripts or references."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(sheet.width)}mm" '
            f'height="{_n(sheet.height)}mm" viewBox="0 0 {_n(sheet.width)} {_n(sheet.height)}" role="img" '
            'aria-labelledby="title desc" font-family="sans-serif">'
        ),
        f'<title id="title">{escape(clean(sheet.title))}</title>',
        f'<desc id="desc">{escape(clean(sheet.description))}</desc>',
        f'<rect width="{_n(sheet.width)}" height="{_n(sheet.height)}" fill="#ffffff"/>',
    ]
    for shape in sheet.shapes:
        if isinstance(shape, Text):
            x, y = shape.at
            width = text_width(shape.text, shape.size, bold=shape.bold)
            weight = "bold" if shape.bold else "normal"
            lines.append(
                f'<text x="{_n(x)}" y="{_n(y + _ASCENT * shape.size)}" font-size="{_n(shape.size)}" '
                f'textLength="{_n(width)}" lengthAdjust="spacingAndGlyphs" '
                f'font-weight="{weight}">{escape(shape.text)}</text>'
            )
        else:
            points = " ".join(f"{_n(x)},{_n(y)}" for x, y in shape.points)
            name = "polygon" if shape.closed else "polyline"
            dash = f" stroke-dasharray={quoteattr(' '.join(map(_n, shape.dash)))}" if shape.dash else ""
            lines.append(
                f'<{name} points="{points}" fill="{_grey(shape.fill)}" '
                f'stroke="{_grey(shape.stroke)}" stroke-width="{_n(shape.width)}"{dash}/>'
            )
    return ("\n".join([*lines, "</svg>"]) + "\n").encode()


def to_pdf(sheets: Sequence[Sheet]) -> bytes:
    """Return the sheets as pages of a PDF, the same bytes for the same sheets."""
    file = io.BytesIO()
    canvas = Canvas(file, invariant=1, pageCompression=1, lang="en")
    canvas.setTitle(_printable(sheets[0].title))
    canvas.setSubject(_printable(sheets[0].description))
    for sheet in sheets:
        canvas.setPageSize((sheet.width * _POINT, sheet.height * _POINT))
        canvas.scale(_POINT, _POINT)
        for shape in sheet.shapes:
            if isinstance(shape, Text):
                _face(bold=shape.bold)
                canvas.setFillGray(0.0)
                canvas.setFont("DrawerBold" if shape.bold else "Drawer", shape.size)
                x, y = shape.at
                canvas.drawString(x, sheet.height - y - _ASCENT * shape.size, _printable(shape.text))
            else:
                _draw(canvas, shape, sheet.height)
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def _draw(canvas: Any, shape: Path, height: float) -> None:
    path = canvas.beginPath()
    (x, y), *rest = shape.points
    path.moveTo(x, height - y)
    for x, y in rest:
        path.lineTo(x, height - y)
    if shape.closed:
        path.close()
    canvas.setLineWidth(shape.width)
    canvas.setDash(list(shape.dash))
    canvas.setFillGray(shape.fill or 0.0)
    canvas.setStrokeGray(shape.stroke or 0.0)
    canvas.drawPath(path, stroke=int(shape.stroke is not None), fill=int(shape.fill is not None))


def _printable(text: str) -> str:
    """Return a text in which what the face lacks is told by a sign that it has."""
    return "".join(sign if _known(sign) else MISSING for sign in clean(text))


def _n(value: float) -> str:
    return f"{round(value, 3) + 0.0:.12g}"


def _grey(value: float | None) -> str:
    return "none" if value is None else "#" + f"{round(255 * value):02x}" * 3
