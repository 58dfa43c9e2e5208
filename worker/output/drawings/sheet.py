"""A sheet of lines, polygons and text in millimetres, written as SVG or as a page of a PDF.

The origin is at the top left, y points down. Widths of text are those of the typeface in `font`: the PDF embeds it, and
the SVG asks for any sans serif, few of which are wider.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, TypeAlias
from xml.sax.saxutils import escape, quoteattr

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from worker.output.drawings.font import ASCENT, LINE, clean, fitted, font_name, printable, text_width

__all__ = ["LEAST", "Align", "Colour", "Frame", "Path", "Point", "Sheet", "TextLine", "block", "to_pdf", "to_svg"]

Point: TypeAlias = tuple[float, float]
Align: TypeAlias = Literal["left", "middle", "right"]
#: A rectangle: left, top, width, height.
Frame: TypeAlias = tuple[float, float, float, float]
#: A grey, or red, green and blue of sRGB, from 0 to 1.
Colour: TypeAlias = float | tuple[float, float, float]

#: The smallest type, mm: just over five points, legible at arm's length (common practice).
LEAST: Final = 1.8

#: Streams are binary, as those of fonts are: 5 ms of a job of 20 trays, and a tenth of a map.
rl_config.useA85 = 0

_POINT: Final = 72.0 / 25.4
_ANCHORS: Final = {"left": "start", "middle": "middle", "right": "end"}


@dataclass(frozen=True, slots=True)
class Path:
    """A polyline, or with ``closed`` a polygon; lengths in mm."""

    points: tuple[Point, ...]
    closed: bool = False
    fill: Colour | None = None
    stroke: Colour | None = 0.0
    width: float = 0.25
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class TextLine:
    """A line of text of type size ``size``, mm.

    ``at`` is the left end, middle or right end of its upper edge, by ``align``. ``turned`` text reads upwards: its
    upper edge is on the left.
    """

    text: str
    at: Point
    size: float
    bold: bool = False
    align: Align = "left"
    turned: bool = False

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The bounding box: left, top, right, bottom, mm."""
        x, y = self.at
        width = text_width(self.text, self.size, bold=self.bold)
        before = {"left": 0.0, "middle": width / 2.0, "right": width}[self.align]
        if self.turned:
            return x, y + before - width, x + LINE * self.size, y + before
        return x - before, y, x - before + width, y + LINE * self.size


@dataclass(slots=True)
class Sheet:
    """A sheet of paper with its shapes; lengths in mm."""

    width: float
    height: float
    title: str
    description: str
    shapes: list[Path | TextLine] = field(default_factory=list)

    def rect(self, x: float, y: float, across: float, down: float, **style: Any) -> None:
        """Draw a rectangle; ``style`` has fields of `Path`."""
        corners = ((x, y), (x + across, y), (x + across, y + down), (x, y + down))
        self.shapes.append(Path(corners, closed=True, **style))

    def line(self, *points: Point, **style: Any) -> None:
        """Draw a polyline; ``style`` has fields of `Path`."""
        self.shapes.append(Path(points, **style))

    def write(
        self, text: str, box: tuple[float, float, float], size: float, *,
        bold: bool = False, align: Align = "left", least: float | None = None, turned: bool = False,
    ) -> None:  # fmt: skip
        """Write one line into a box ``(x, y, width)``, mm.

        Text that is too wide is set smaller, down to the size ``least``, then cut off with an ellipsis. The box of
        turned text starts at its lower left corner and extends upwards.
        """
        x, y, room = box
        text, size = fitted(text, room, size, least=size if least is None else least, bold=bold)
        if text:
            along = {"left": 0.0, "middle": room / 2.0, "right": room}[align]
            at = (x, y - along) if turned else (x + along, y)
            self.shapes.append(TextLine(text, at, size, bold, align, turned))


def block(lines: Sequence[tuple[str, float, bool]], frame: Frame, *, align: Align, turned: bool) -> list[TextLine]:
    """Return lines ``(text, size, bold)`` below each other in the middle of a frame; turned, from left to right."""
    x, y, across, down = frame
    high = sum(LINE * size for _, size, _ in lines)
    fraction = {"left": 0.0, "middle": 0.5, "right": 1.0}[align]
    start = (x + (across - high) / 2.0, y + (1.0 - fraction) * down) if turned else (
        x + fraction * across, y + (down - high) / 2.0)  # fmt: skip
    texts = []
    for text, size, bold in lines:
        texts.append(TextLine(text, start, size, bold, align, turned))
        step = LINE * size
        start = (start[0] + step, start[1]) if turned else (start[0], start[1] + step)
    return texts


def to_svg(sheet: Sheet) -> bytes:
    """Return the sheet as SVG 1.1 at full size, without scripts and external references."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(sheet.width)}mm" '
            f'height="{_n(sheet.height)}mm" viewBox="0 0 {_n(sheet.width)} {_n(sheet.height)}" role="img" '
            'aria-labelledby="title desc" font-family="sans-serif" stroke-linejoin="round">'
        ),
        f'<title id="title">{escape(clean(sheet.title))}</title>',
        f'<desc id="desc">{escape(clean(sheet.description))}</desc>',
        f'<rect width="{_n(sheet.width)}" height="{_n(sheet.height)}" fill="#ffffff"/>',
        *(_svg_text(shape) if isinstance(shape, TextLine) else _svg_path(shape) for shape in sheet.shapes),
        "</svg>",
    ]
    return ("\n".join(lines) + "\n").encode()


def _svg_text(text: TextLine) -> str:
    x, y = text.at
    low = ASCENT * text.size
    place = f'transform="translate({_n(x + low)} {_n(y)}) rotate(-90)"' if text.turned else (
        f'x="{_n(x)}" y="{_n(y + low)}"')  # fmt: skip
    anchor = f' text-anchor="{_ANCHORS[text.align]}"' if text.align != "left" else ""
    weight = ' font-weight="bold"' if text.bold else ""
    return f'<text {place} font-size="{_n(text.size)}"{anchor}{weight}>{escape(text.text)}</text>'


def _svg_path(path: Path) -> str:
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in path.points)
    name = "polygon" if path.closed else "polyline"
    dash = f" stroke-dasharray={quoteattr(' '.join(map(_n, path.dash)))}" if path.dash else ""
    pen = f' stroke-width="{_n(path.width)}"{dash}' if path.stroke is not None else ""
    return f'<{name} points="{points}" fill="{_colour(path.fill)}" stroke="{_colour(path.stroke)}"{pen}/>'


def to_pdf(sheets: Sequence[Sheet]) -> bytes:
    """Return the sheets as pages of a PDF, the same bytes for the same sheets.

    Raises:
        IndexError: when there is no sheet.
    """
    file = io.BytesIO()
    canvas = Canvas(file, invariant=1, pageCompression=1, lang="en")
    canvas.setTitle(clean(sheets[0].title))
    canvas.setSubject(clean(sheets[0].description))
    for sheet in sheets:
        canvas.setPageSize((sheet.width * _POINT, sheet.height * _POINT))
        canvas.scale(_POINT, _POINT)
        canvas.setLineJoin(1)
        for shape in sheet.shapes:
            if isinstance(shape, TextLine):
                _write(canvas, shape, sheet.height)
            else:
                _draw(canvas, shape, sheet.height)
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def _write(canvas: Any, text: TextLine, height: float) -> None:
    canvas.setFillGray(0.0)
    canvas.setFont(font_name(bold=text.bold), text.size)
    text = replace(text, text=printable(text.text))
    left, top, _, low = text.box
    if text.turned:
        canvas.saveState()
        canvas.translate(left + ASCENT * text.size, height - low)
        canvas.rotate(90)
        canvas.drawString(0.0, 0.0, text.text)
        canvas.restoreState()
    else:
        canvas.drawString(left, height - top - ASCENT * text.size, text.text)


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
    fill, stroke = shape.fill or 0.0, shape.stroke or 0.0
    if isinstance(fill, tuple):
        canvas.setFillColorRGB(*fill)
    else:
        canvas.setFillGray(fill)
    if isinstance(stroke, tuple):
        canvas.setStrokeColorRGB(*stroke)
    else:
        canvas.setStrokeGray(stroke)
    canvas.drawPath(path, stroke=int(shape.stroke is not None), fill=int(shape.fill is not None))


def _n(value: float) -> str:
    return f"{round(value, 3) + 0.0:.12g}"


def _colour(value: Colour | None) -> str:
    if value is None:
        return "none"
    channels = value if isinstance(value, tuple) else (value,) * 3
    return "#" + "".join(f"{round(255 * channel):02x}" for channel in channels)
