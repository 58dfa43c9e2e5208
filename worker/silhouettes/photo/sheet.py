"""The reference sheet: its size, its ring of squares with markers, its tinted field, its ruler bar and its card box.

The sheet's frame: x to the right, y up the page, z towards the reader; the origin is the lower left corner of the
ring. Lengths are in mm. Square ``(column, row)`` has its lower left corner at ``(column, row) * SQUARE``; it is white
when the sum is odd, and white squares carry the markers, numbered row by row from the lower left.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib.resources import files
from typing import Final, Literal, TypeAlias, get_args

__all__ = [
    "BAR",
    "CARD",
    "MARKER",
    "MODULES",
    "SHEET_SIZES",
    "SQUARE",
    "TINTS",
    "TINT_NAMES",
    "ReferenceSheet",
    "SheetSize",
    "Tint",
    "marker_bits",
    "reference_sheet",
]

SheetSize: TypeAlias = Literal["a4", "letter"]
Tint: TypeAlias = Literal["green", "pink"]

SHEET_SIZES: Final[tuple[SheetSize, ...]] = get_args(SheetSize)
TINT_NAMES: Final[tuple[Tint, ...]] = get_args(Tint)

#: Side of a square of the ring, mm, and width of the ring in squares.
SQUARE: Final = 10.0
_RING: Final = 2
#: Side of a marker with its black border, mm, and its modules along a side: 4 of data and the border on both sides.
MARKER: Final = 7.0
MODULES: Final = 6
#: Length of the ruler bar, mm.
BAR: Final = 150.0
#: Length and width of an ID-1 card, mm (ISO/IEC 7810).
CARD: Final = (85.60, 53.98)

#: Colours of the field as sRGB, far from grey and opposite each other: a thing is like one of them at most.
TINTS: Final[dict[Tint, tuple[int, int, int]]] = {"green": (0x7F, 0xE0, 0xA0), "pink": (0xF0, 0x8C, 0xC8)}

#: By sheet size: width and height of the paper, mm (ISO 216; ANSI/ASME Y14.1), columns and rows of the ring, left and
#: lower edge of the ring, mm, and the number of its first marker. No number stands on both sheets.
_LAYOUTS: Final[dict[SheetSize, tuple[tuple[float, float], tuple[int, int], tuple[float, float], int]]] = {
    "a4": ((210.0, 297.0), (19, 27), (10.0, 10.0), 0),
    "letter": ((215.9, 279.4), (19, 25), (12.95, 11.0), 84),
}


@dataclass(frozen=True)
class ReferenceSheet:
    """The sheet for one size of paper, mm, in the frame of the module."""

    size: SheetSize

    @property
    def paper(self) -> tuple[float, float]:
        """Width and height of the paper."""
        return _LAYOUTS[self.size][0]

    @property
    def squares(self) -> tuple[int, int]:
        """Columns and rows of squares along the outer edges of the ring."""
        return _LAYOUTS[self.size][1]

    @property
    def corner(self) -> tuple[float, float]:
        """Distances of the ring's lower left corner from the left and the lower edge of the paper."""
        return _LAYOUTS[self.size][2]

    @property
    def outside(self) -> tuple[float, float]:
        """Width and height of the ring."""
        columns, rows = self.squares
        return columns * SQUARE, rows * SQUARE

    @property
    def field(self) -> tuple[float, float, float, float]:
        """The tinted field: left, bottom, right, top."""
        (width, height), edge = self.outside, _RING * SQUARE
        return edge, edge, width - edge, height - edge

    @cached_property
    def white_squares(self) -> dict[int, tuple[int, int]]:
        """Columns and rows of the white squares, by the number of their marker."""
        white = [(column, row) for column, row in self._ring() if (column + row) % 2 == 1]
        first = _LAYOUTS[self.size][3]
        return {first + index: square for index, square in enumerate(white)}

    @cached_property
    def black_squares(self) -> tuple[tuple[int, int], ...]:
        """Columns and rows of the black squares."""
        return tuple((column, row) for column, row in self._ring() if (column + row) % 2 == 0)

    @cached_property
    def markers(self) -> dict[int, tuple[tuple[float, float], ...]]:
        """Corners of the markers by number: upper left, upper right, lower right, lower left."""
        low, high = (SQUARE - MARKER) / 2.0, (SQUARE + MARKER) / 2.0
        return {
            number: tuple(
                (column * SQUARE + x, row * SQUARE + y) for x, y in ((low, high), (high, high), (high, low), (low, low))
            )
            for number, (column, row) in self.white_squares.items()
        }

    @cached_property
    def saddles(self) -> tuple[tuple[float, float], ...]:
        """Points where four squares of the ring meet."""
        ring = set(self._ring())
        return tuple(
            (column * SQUARE, row * SQUARE)
            for row in range(1, self.squares[1])
            for column in range(1, self.squares[0])
            if ring >= {(column - 1, row - 1), (column, row - 1), (column - 1, row), (column, row)}
        )

    @property
    def card_box(self) -> tuple[float, float, float, float]:
        """The box for an ID-1 card in the middle of the field: left, bottom, right, top."""
        left, bottom, right, top = self.field
        x, y = (left + right - CARD[0]) / 2.0, (bottom + top - CARD[1]) / 2.0
        return x, y, x + CARD[0], y + CARD[1]

    def _ring(self) -> Iterator[tuple[int, int]]:
        columns, rows = self.squares
        for row in range(rows):
            for column in range(columns):
                if min(column, row, columns - 1 - column, rows - 1 - row) < _RING:
                    yield column, row


@lru_cache
def reference_sheet(size: SheetSize) -> ReferenceSheet:
    """Return the sheet for a size of paper."""
    return ReferenceSheet(size)


def marker_bits(number: int) -> tuple[tuple[bool, ...], ...]:
    """Return the modules of a marker's data by row from the top; True is white.

    Raises:
        IndexError: if no sheet has a marker of this number.
    """
    word = _words()[number]
    side = MODULES - 2
    bits = [bool(word >> (side * side - 1 - index) & 1) for index in range(side * side)]
    return tuple(tuple(bits[start : start + side]) for start in range(0, side * side, side))


@lru_cache(maxsize=1)
def _words() -> tuple[int, ...]:
    """Return the markers' data, 16 bits each: the first ones of OpenCV's dictionary of 250 markers of 4 x 4 modules."""
    text = (files("worker.silhouettes.photo") / "markers.json").read_text("utf-8")
    return tuple(int(word, 16) for word in json.loads(text))
