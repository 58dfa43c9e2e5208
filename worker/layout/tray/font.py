"""The typeface that letterings are cut from: reportlab's bundled Vera Bold, as outlines in capital heights.

Unit 1 is the height of a capital, y 0 the line the letters stand on. Only the font file is read here, no mesh is made.
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

#: How far a flattened curve may be from the font's, in capital heights: 0.05 mm in letters of 6 mm.
FLATNESS: Final = 0.008

#: Points nearer than this to the line of their neighbours are dropped, in capital heights.
_STRAIGHT: Final = 0.002


def missing(text: str) -> str:
    """Return the characters of a text that the typeface has not, each once, in order."""
    glyphs = _font().getBestCmap()
    return "".join(dict.fromkeys(sign for sign in text if ord(sign) not in glyphs))


def advance(text: str) -> float:
    """Return the width that a text takes, in capital heights: the sum of its letters' own, without kerning.

    Raises:
        TrayError: when the typeface lacks a character.
    """
    return float(sum(_glyph(sign)[0] for sign in text))


def extent(text: str) -> tuple[float, float, float, float]:
    """Return the least box around a text's outlines, ``(left, low, right, high)`` in capital heights from its start.

    A text of nothing but spaces has the box of a line: no width, no height.

    Raises:
        TrayError: when the typeface lacks a character.
    """
    every = placed(text)
    if not every:
        return 0.0, 0.0, 0.0, 0.0
    points = np.concatenate(every)
    (left, low), (right, high) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, low, right, high


def contours(char: str) -> tuple[Contour, ...]:
    """Return one character's outlines, each ``(n, 2) float64`` in capital heights, not closed.

    Outer contours are counter-clockwise, inner ones clockwise; accents may overlap their letter.

    Raises:
        TrayError: when the typeface lacks the character.
    """
    return _glyph(char)[1]


def placed(text: str) -> list[Contour]:
    """Return a whole line's outlines, each ``(n, 2) float64`` in capital heights from the line's start.

    Raises:
        TrayError: when the typeface lacks a character.
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
    """Return the height of a flat capital in the font's own units."""
    font = _font()
    return float(font["glyf"][font.getBestCmap()[ord("H")]].yMax)


@lru_cache(maxsize=512)
def _glyph(char: str) -> tuple[float, tuple[Contour, ...]]:
    """Return a character's advance width and its contours."""
    font = _font()
    name = font.getBestCmap().get(ord(char))
    if name is None:
        raise TrayError(
            f"The typeface has no character {char!r}.", value=char, limit="Latin letters, digits and signs",
            remedy="Write the text with other characters.",
        )  # fmt: skip
    pen = _Flattening(font.getGlyphSet(), _capital())
    font.getGlyphSet()[name].draw(pen)
    # TrueType fills to the right of a contour: turned round, outer contours are counter-clockwise.
    outlines = tuple(_plain(np.array(points)[::-1] / _capital()) for points in pen.outlines)
    return font["hmtx"][name][0] / _capital(), outlines


def _plain(points: Contour) -> Contour:
    """Return a contour without points that lie on the line of their neighbours."""
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
    """Collects contours as points, curves cut into as few chords as `FLATNESS` allows; composites are taken apart."""

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
        # A parabola's chord over a share 1/n of the parameter is off by |p0 - 2 p1 + p2| / (4 n^2) at most.
        bend = float(np.hypot(*(start - 2.0 * control + end))) / 4.0
        count = max(int(np.ceil(np.sqrt(bend / self._tolerance))), 1)
        for step in range(1, count + 1):
            t = step / count
            x, y = (1.0 - t) ** 2 * start + 2.0 * t * (1.0 - t) * control + t**2 * end
            self.outlines[-1].append((float(x), float(y)))

    def _closePath(self) -> None:  # noqa: N802 - the pen's own name
        if self.outlines[-1][-1] == self.outlines[-1][0]:
            self.outlines[-1].pop()
