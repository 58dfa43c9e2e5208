"""The font for engraved and raised text: reportlab's bundled Vera Bold, as outlines in units of cap height.

1 is the height of a capital letter, and y = 0 the baseline.
"""

from functools import lru_cache
from importlib.resources import as_file, files
from typing import Any, Final

import numpy as np
from fontTools.pens.basePen import BasePen
from fontTools.ttLib import TTFont
from numpy.typing import NDArray

from worker.spec.errors import TrayError

Contour = NDArray[np.float64]

#: Maximum deviation of a flattened curve, in cap heights: 0.05 mm in letters of 6 mm.
FLATNESS: Final = 0.008

#: Cap height of the smallest text that prints, in printed lines: at least 0.8 of the area of any letter's strokes is
#: as wide as a line. Marks need less, as they are capitals and digits (measured on this font).
_LINES_IN_A_LETTER: Final = 6.5
_LINES_IN_A_MARK: Final = 5.5

#: Cap height in mm below which letters are hard to read, whatever the nozzle (common practice).
_LEGIBLE: Final = 3.0

#: Distance from the line through their neighbours below which points are dropped, in cap heights.
_STRAIGHT: Final = 0.002


def least_cap(line_width: float) -> float:
    """Return the smallest cap height in mm of a text that is printed in lines of this width."""
    return max(_LEGIBLE, round(_LINES_IN_A_LETTER * line_width, 2))


def least_mark_cap(line_width: float) -> float:
    """Return the smallest cap height in mm of a mark that is printed in lines of this width."""
    return round(_LINES_IN_A_MARK * line_width, 2)


def missing(text: str) -> str:
    """Return the characters of a text that the font lacks, each once, in order."""
    glyphs = _font().getBestCmap()
    return "".join(dict.fromkeys(sign for sign in text if ord(sign) not in glyphs))


def advance(text: str) -> float:
    """Return the advance width of a text in cap heights, without kerning.

    Raises:
        TrayError: if the font lacks a character.
    """
    return float(sum(_glyph(sign)[0] for sign in text))


def extent(text: str) -> tuple[float, float, float, float]:
    """Return the bounding box of a text's outlines, ``(left, low, right, high)`` in cap heights from its start.

    A text of only spaces has an empty box.

    Raises:
        TrayError: if the font lacks a character.
    """
    every = placed(text)
    if not every:
        return 0.0, 0.0, 0.0, 0.0
    points = np.concatenate(every)
    (left, low), (right, high) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, low, right, high


def contours(char: str) -> tuple[Contour, ...]:
    """Return the outlines of a character, each ``(n, 2) float64`` in cap heights, not closed.

    Outer contours are counter-clockwise, inner ones clockwise; accents may overlap their letter.

    Raises:
        TrayError: if the font lacks the character.
    """
    return _glyph(char)[1]


def placed(text: str) -> list[Contour]:
    """Return the outlines of a line of text, each ``(n, 2) float64`` in cap heights from its start.

    Raises:
        TrayError: if the font lacks a character.
    """
    line: list[Contour] = []
    x = 0.0
    for sign in text:
        width, outlines = _glyph(sign)
        line += [outline + np.array([x, 0.0]) for outline in outlines]
        x += width
    return line


@lru_cache(maxsize=1)
def _font() -> Any:
    with as_file(files("reportlab") / "fonts" / "VeraBd.ttf") as path:
        return TTFont(path, lazy=False)


@lru_cache(maxsize=1)
def _capital() -> float:
    """Return the cap height in font units."""
    font = _font()
    return float(font["glyf"][font.getBestCmap()[ord("H")]].yMax)


@lru_cache(maxsize=512)
def _glyph(char: str) -> tuple[float, tuple[Contour, ...]]:
    """Return a character's advance width and its contours."""
    font = _font()
    name = font.getBestCmap().get(ord(char))
    if name is None:
        raise TrayError(
            f"The font has no character {char!r}.", value=char, limit="Latin letters, digits and signs",
            remedy="Write the text with other characters.",
        )  # fmt: skip
    pen = _Flattening(font.getGlyphSet(), _capital())
    font.getGlyphSet()[name].draw(pen)
    # TrueType fills to the right of a contour, so it is reversed for counter-clockwise exteriors
    outlines = tuple(_plain(np.array(points)[::-1] / _capital()) for points in pen.outlines)
    return font["hmtx"][name][0] / _capital(), outlines


def _plain(points: Contour) -> Contour:
    """Return a contour without collinear points."""
    ring = points.tolist()
    index, idle = 0, 0
    while len(ring) > 3 and idle < len(ring):  # noqa: PLR2004 - a triangle has no point to spare
        index %= len(ring)
        (ax, ay), (bx, by), (cx, cy) = ring[index - 1], ring[index], ring[(index + 1) % len(ring)]
        length = np.hypot(cx - ax, cy - ay)
        if abs((cx - ax) * (by - ay) - (cy - ay) * (bx - ax)) <= _STRAIGHT * length:
            del ring[index]
            idle = 0
            index = max(index - 1, 0)
        else:
            index, idle = index + 1, idle + 1
    kept = np.array(ring)
    kept.setflags(write=False)
    return kept


class _Flattening(BasePen):  # type: ignore[misc]
    """Pen that collects contours as points, with curves flattened to `FLATNESS` and composite glyphs decomposed."""

    def __init__(self, glyphs: Any, capital: float) -> None:
        super().__init__(glyphs)
        self.outlines: list[list[tuple[float, float]]] = []
        self._tolerance = FLATNESS * capital

    def _moveTo(self, pt: tuple[float, float]) -> None:  # noqa: N802 - the pen's own name
        self.outlines.append([pt])

    def _lineTo(self, pt: tuple[float, float]) -> None:  # noqa: N802 - the pen's own name
        self.outlines[-1].append(pt)

    def _qCurveToOne(self, pt1: tuple[float, float], pt2: tuple[float, float]) -> None:  # noqa: N802 - the pen's own
        start, control, end = np.array(self.outlines[-1][-1]), np.array(pt1), np.array(pt2)
        # the chord of a quadratic over 1/n of its parameter deviates by at most |p0 - 2 p1 + p2| / (4 n^2)
        bend = float(np.hypot(*(start - 2.0 * control + end))) / 4.0
        count = max(int(np.ceil(np.sqrt(bend / self._tolerance))), 1)
        for step in range(1, count + 1):
            t = step / count
            x, y = (1.0 - t) ** 2 * start + 2.0 * t * (1.0 - t) * control + t**2 * end
            self.outlines[-1].append((float(x), float(y)))

    def _closePath(self) -> None:  # noqa: N802 - the pen's own name
        if self.outlines[-1][-1] == self.outlines[-1][0]:
            self.outlines[-1].pop()
