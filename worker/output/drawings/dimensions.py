"""Dimensions around a view of a drawer: its size, the margins around the cells, and its front.

Dimension lines end in oblique strokes and numbers stand above them (as in ISO 129-1; from memory). Numbers that do not
fit are left out: the heading and the legend have all of them.
"""

import itertools
from math import ceil
from typing import Final

from worker.output.drawings.font import LINE, text_width
from worker.output.drawings.mapped_drawer import MappedDrawer
from worker.output.drawings.sheet import LEAST, Path, TextLine

__all__ = ["FOOT", "HEAD", "SIDE", "dimensions"]

#: Space around a view, in units: left and right, above, below.
SIDE: Final = 14.0
HEAD: Final = 11.5
FOOT: Final = 18.0

_SIZE: Final = 2.4
#: Distances of the dimension lines from the drawer, in units.
_NEAR: Final = 5.5
_FAR: Final = 10.0
_GAP: Final = 1.1
#: Least distance between the numbers of columns or rows, in units.
_APART: Final = 4.5


def dimensions(
    mapped: MappedDrawer, place: tuple[float, float, float, float], across: tuple[float, float]
) -> list[Path | TextLine]:
    """Return the shapes of all dimensions, in mm of the sheet.

    Args:
        mapped: the drawer.
        place: left and top of the drawer on the sheet, mm; mm of the drawer for a mm of the sheet; and the unit, mm on
            the sheet for a nominal mm of text.
        across: left and width available to the view on the sheet, mm.
    """
    drawn = _Dimensions(mapped, place)
    drawn.chains()
    drawn.numbers()
    drawn.front(*across)
    return drawn.shapes


class _Dimensions:
    """The dimensions of one view, placed on a sheet."""

    def __init__(self, mapped: MappedDrawer, place: tuple[float, float, float, float]) -> None:
        self.mapped = mapped
        self.left, self.top, self.scale, self.unit = place
        self.right = self.left + mapped.extent[0] / self.scale
        self.base = self.top + mapped.extent[1] / self.scale
        self.shapes: list[Path | TextLine] = []

    def _line(self, *points: tuple[float, float], width: float = 0.18) -> None:
        self.shapes.append(Path(points, width=width * self.unit))

    def _text(self, text: str, x: float, y: float, *, turned: bool = False) -> None:
        self.shapes.append(TextLine(text, (x, y), _SIZE * self.unit, align="middle", turned=turned))

    def _width(self, text: str) -> float:
        return text_width(text, _SIZE * self.unit)

    def _along(self, ends: tuple[float, ...], level: float, *, upright: bool) -> None:
        """Draw a dimension line with an oblique stroke and an extension line at each of its ends."""
        slant = 0.8 * self.unit
        first, last = ends[0], ends[-1]
        if upright:
            edge = self.left if level < self.left else self.right
            self._line((level, first), (level, last))
        else:
            edge = self.base
            self._line((first, level), (last, level))
        out = (level - edge) / abs(level - edge) * self.unit
        for end in ends:
            spot = (level, end) if upright else (end, level)
            self._line((spot[0] - slant, spot[1] + slant), (spot[0] + slant, spot[1] - slant), width=0.3)
            if upright:
                self._line((edge + out, end), (level + out, end), width=0.1)
            else:
                self._line((end, edge + out), (end, level + out), width=0.1)

    def chains(self) -> None:
        """Draw the chains of cells and margins, below and at the right, and the overall size, below and at the left."""
        unit, (wide, deep) = self.unit, self.mapped.extent
        left, front, right, back = self.mapped.edges
        high = LINE * _SIZE * unit
        if not self.mapped.cells:
            self._chains_of_panels()
            return
        ends = self.left, self.left + left / self.scale, self.right - right / self.scale, self.right
        level = self.base + _NEAR * unit
        self._along(ends, level, upright=False)
        above = level - high - 0.2 * unit
        cells = f"cells {wide - left - right:g}"
        if self._width(cells) + 2 * _GAP * unit <= ends[2] - ends[1]:
            self._text(cells, (ends[1] + ends[2]) / 2.0, above)
        for size, (low, far), out in ((left, ends[:2], -1), (right, ends[2:], 1)):
            self._edge(size, low, far, out, above)
        self._overall()
        level = self.right + 3.0 * unit
        tops = self.top, self.top + back / self.scale, self.base - front / self.scale, self.base
        self._along(tops, level, upright=True)
        cells = f"cells {deep - front - back:g}"
        beside = level + 1.6 * unit
        if self._width(cells) + 2.4 * high <= tops[2] - tops[1]:
            self._text(cells, beside, (tops[1] + tops[2]) / 2.0, turned=True)
        if tops[2] - tops[1] >= 2.4 * high:
            for size, middle in ((back, (tops[0] + tops[1]) / 2.0), (front, (tops[2] + tops[3]) / 2.0)):
                if text := _rounded(size):
                    self._text(text, beside + self._width(text) / 2.0, middle - high / 2.0)

    def _overall(self) -> None:
        """Draw the overall size, below and at the left."""
        unit, (wide, deep) = self.unit, self.mapped.extent
        high = LINE * _SIZE * unit
        level = self.base + _FAR * unit
        self._along((self.left, self.right), level, upright=False)
        whole = f"{round(wide, 2):g}"
        if self._width(whole) <= self.right - self.left:
            self._text(whole, (self.left + self.right) / 2.0, level - high - 0.2 * unit)
        level = self.left - 6.5 * unit
        self._along((self.top, self.base), level, upright=True)
        whole = f"{round(deep, 2):g}"
        if self._width(whole) <= self.base - self.top:
            self._text(whole, level - high - 0.2 * unit, (self.top + self.base) / 2.0, turned=True)

    def _chains_of_panels(self) -> None:
        """Draw the overall size, and chains from side to side by the middles of panels, below and at the right."""
        unit, (wide, deep) = self.unit, self.mapped.extent
        high = LINE * _SIZE * unit
        self._overall()
        for axis, most in ((0, wide), (1, deep)):
            middles = [0.0, *self.mapped.middles(axis), most]
            ends = tuple(self.left + at / self.scale if axis == 0 else self.base - at / self.scale for at in middles)
            if len(ends) == 2:  # noqa: PLR2004 - from side to side: the overall size
                continue
            level = self.base + _NEAR * unit if axis == 0 else self.right + 3.0 * unit
            self._along(ends, level, upright=axis == 1)
            for (low, high_end), (first, last) in zip(
                itertools.pairwise(middles), itertools.pairwise(ends), strict=True
            ):
                text = f"{round(high_end - low, 1):g}"
                if self._width(text) + 2 * _GAP * unit > abs(last - first):
                    continue
                middle = (first + last) / 2.0
                if axis == 0:
                    self._text(text, middle, level - high - 0.2 * unit)
                else:
                    self._text(text, level + 1.6 * unit, middle, turned=True)

    def _edge(self, size: float, low: float, far: float, out: int, above: float) -> None:
        """Write the margin at the left or right of the cells: between the strokes, or else outside them."""
        text = _rounded(size)
        width = self._width(text) + 2 * _GAP * self.unit
        if not text:
            return
        if width <= far - low:
            self._text(text, (low + far) / 2.0, above)
        else:
            self._text(text, (low - width / 2.0) if out < 0 else (far + width / 2.0), above)

    def numbers(self) -> None:
        """Number columns above and rows at the left, from 0, as grid positions of trays are counted."""
        lattice, unit = self.mapped.drawer.lattice, self.unit
        step = lattice.pitch / self.scale
        every = next((n for n in (1, 2, 5, 10, 20) if n * step >= _APART * unit), 50)
        size = LEAST * unit
        for axis, halves in enumerate(lattice.span):
            for number in range(0, halves // 2, every):
                along = lattice.origin[axis] / self.scale + (number + 0.5) * step
                if axis == 0:
                    at = (self.left + along, self.top - LINE * size - 0.5 * unit)
                    self.shapes.append(TextLine(str(number), at, size, align="middle"))
                else:
                    at = (self.left - unit, self.base - along - LINE * size / 2.0)
                    self.shapes.append(TextLine(str(number), at, size, align="right"))

    def front(self, left: float, room: float) -> None:
        """Mark the front with arrows that point out of the drawer, and draw a scale bar."""
        unit = self.unit
        y, x = self.base + 11.3 * unit, left + room / 2.0
        text, size = "front of the drawer", 3.0 * unit
        width = text_width(text, size, bold=True)
        self.shapes.append(TextLine(text, (x, y), size, bold=True, align="middle"))
        for side in (-1.0, 1.0):
            tip = x + side * (width / 2.0 + 3.0 * unit)
            points = ((-1.5, 1.8), (0.0, 3.6), (1.5, 1.8), (0.5, 1.8), (0.5, 0.3), (-0.5, 0.3), (-0.5, 1.8))
            self.shapes.append(
                Path(tuple((tip + u * unit, y + v * unit) for u, v in points), closed=True, fill=0.0, stroke=None)
            )
        begin, limit = left + 2.0 * unit, x - width / 2.0 - 6.0 * unit
        lengths = [n for n in (200, 100, 50, 20, 10) if begin + n / self.scale + self._width("200 mm") + unit <= limit]
        if lengths:
            bar, high = lengths[0] / self.scale, 1.2 * unit
            for start, fill in ((begin, 0.0), (begin + bar / 2.0, 1.0)):
                corners = (
                    (start, y + unit), (start + bar / 2.0, y + unit),
                    (start + bar / 2.0, y + unit + high), (start, y + unit + high),
                )  # fmt: skip
                self.shapes.append(Path(corners, closed=True, fill=fill, width=0.15 * unit))
            label = f"{lengths[0]} mm"
            self._text(label, begin + bar + unit + self._width(label) / 2.0, y + 0.2 * unit)


def _rounded(length: float) -> str:
    """Return a length rounded to 0.1 mm, or an empty text for zero."""
    tenths = ceil(length * 10.0 - 0.5)
    return f"{tenths / 10.0:g}" if tenths > 0 else ""
