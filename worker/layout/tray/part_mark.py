"""The mark of a tray or plug: engraved under a foot, legible when the part is turned over."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot, inf
from typing import Final

from worker.layout.model.shapes import Lettering, MagnetHoles, PieceShape, PlugShape, Point, Splice, TrayShape
from worker.layout.tray.font import extent, least_mark_cap
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF

#: Depth of an engraved mark: two layers of 0.2 mm.
MARK_DEPTH: Final = 0.4

#: Cap heights in mm, in order of preference; those that do not print are left out.
CAP_HEIGHTS: Final = (6.0, 5.0, 4.0, 3.0)

#: Solid plastic between a mark and an edge or a magnet: two lines.
_MARGIN: Final = 0.8


@dataclass(frozen=True, slots=True)
class _Foot:
    """Flat bottom of a foot: centre, half its sides along x and y, and corner radius, in mm."""

    middle: Point
    half: Point
    radius: float

    def holds(self, at: Point, width: float, depth: float) -> bool:
        """Return whether a rectangle lies on the bottom with a margin to its edge."""
        arc = max(self.radius - _MARGIN, 0.0)
        # the rectangle's outer corner, from where the arc's middle is
        x, y = (
            abs(at[axis] - self.middle[axis]) + side / 2.0 - (self.half[axis] - _MARGIN - arc)
            for axis, side in ((0, width), (1, depth))
        )
        if x > arc or y > arc:
            return False
        return min(x, y) <= 0.0 or hypot(x, y) <= arc


def text_size(text: str, cap_height: float) -> Point:
    """Return the width of a text's outlines, and its height about the centre of the capitals, in mm."""
    left, low, right, high = extent(text)
    return (right - left) * cap_height, 2.0 * max(high - 0.5, 0.5 - low) * cap_height


def tray_mark(shape: TrayShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark under the tray's middle foot, clear of magnets; None if there is no room.

    Args:
        shape: the tray without its mark.
        mark: the mark.
        line_width: width of a printed line, mm.
    """
    side = shape.pitch / 2.0 if shape.half_feet else shape.pitch
    counts = [along if shape.half_feet else along // 2 for along in shape.halves]
    x, y = (((count - 1) // 2 + 0.5) * side - shape.inset for count in counts)
    inset = shape.foot_levels[0][0]
    foot = _Foot((x, y), (side / 2.0 - inset,) * 2, max(shape.corner_radius - inset, 0.0))
    return _under(foot, mark, shape.magnets, line_width)


def piece_mark(shape: PieceShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark under a piece of a jointed tray, in the piece's own frame; None if there is no room.

    Of the feet under the piece, or what its splices leave of them, the one nearest to its middle is taken that has room
    for the largest letters.

    Args:
        shape: the piece without its mark.
        mark: the mark.
        line_width: width of a printed line, mm.
    """
    tray = shape.tray
    side = tray.pitch / 2.0 if tray.half_feet else tray.pitch
    inset = tray.foot_levels[0][0]
    bounds = [_between(before, behind) for before, behind in ((shape.left, shape.right), (shape.front, shape.back))]
    flats = [
        [(max(k * side + inset - tray.inset, low), min((k + 1) * side - inset - tray.inset, high)) for k in range(feet)]
        for feet, (low, high) in zip(
            (round(halves * tray.pitch / 2.0 / side) for halves in tray.halves), bounds, strict=True
        )
    ]
    marks = []
    ends = piece_ends(shape)
    for y0, y1 in (flat for flat in flats[1] if flat[1] > flat[0]):
        for x0, x1 in (flat for flat in flats[0] if flat[1] > flat[0]):
            middle = (x0 + x1) / 2.0, (y0 + y1) / 2.0
            foot = _Foot(middle, ((x1 - x0) / 2.0, (y1 - y0) / 2.0), max(tray.corner_radius - inset, 0.0))
            lettering = _under(foot, mark, tray.magnets, line_width)
            if lettering is not None:
                away = hypot(*(middle[axis] - sum(ends[axis]) / 2.0 for axis in (0, 1)))
                marks.append((-lettering.cap_height, round(away, 3), middle, lettering))
    if not marks:
        return None
    *_, lettering = min(marks, key=lambda entry: entry[:3])
    x, y = (round(lettering.at[axis] - shape.corner[axis], 3) for axis in (0, 1))
    return replace(lettering, at=(x, y))


def piece_ends(shape: PieceShape) -> tuple[Point, Point]:
    """Return where a piece begins and ends along x and y, in the tray's frame, without tabs and tongues; mm."""
    low = [0.0 if line is None else line.at + line.air / 2.0 for line in (shape.left, shape.front)]
    sides = [halves * shape.tray.pitch / 2.0 - 2.0 * shape.tray.inset for halves in shape.tray.halves]
    high = [
        side if line is None else line.at - line.air / 2.0
        for side, line in zip(sides, (shape.right, shape.back), strict=True)
    ]
    return (low[0], high[0]), (low[1], high[1])


def _between(before: Splice | None, behind: Splice | None) -> Point:
    """Return where between two splices the bottom is clear of tabs and recesses."""
    low, high = 0.0, inf
    if before is not None:
        low = before.at + before.air / 2.0 + FIRST_LAYER_RELIEF
    if behind is not None:
        axis = ("x", "y").index(behind.axis)
        high = min(point[axis] for point in behind.before) - FIRST_LAYER_RELIEF
    return low, high


def plug_mark(shape: PlugShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark under the plug's foot; None if there is no room. ``line_width`` is that of a printed line, mm."""
    middle = shape.cell / 2.0 - shape.inset
    inset = shape.foot_levels[0][0]
    foot = _Foot((middle, middle), (shape.cell / 2.0 - inset,) * 2, max(shape.corner_radius - inset, 0.0))
    return _under(foot, mark, None, line_width)


def _under(foot: _Foot, mark: str, magnets: MagnetHoles | None, line_width: float) -> Lettering | None:
    """Return the largest mark that fits under a foot."""
    near = [] if magnets is None else [centre for centre in magnets.centres if _within(centre, foot)]
    radius = 0.0 if magnets is None else magnets.diameter / 2.0
    for cap_height in (height for height in CAP_HEIGHTS if height >= least_mark_cap(line_width)):
        width, depth = text_size(mark, cap_height)
        for at in _places(foot, near, radius, depth):
            clear = all(_apart(centre, at, width, depth) >= radius + _MARGIN for centre in near)
            if clear and foot.holds(at, width, depth):
                return Lettering(mark, "bottom", (round(at[0], 3), round(at[1], 3)), cap_height, MARK_DEPTH)
    return None


def _places(foot: _Foot, near: Sequence[Point], radius: float, depth: float) -> Iterator[Point]:
    """Yield the centre of the foot, then the points just in front of and behind each of its magnets."""
    x, _ = foot.middle
    yield foot.middle
    for _, magnet_y in near:
        aside = radius + _MARGIN + depth / 2.0 + 1e-6
        yield x, magnet_y - aside
        yield x, magnet_y + aside


def _within(centre: Point, foot: _Foot) -> bool:
    return all(abs(a - b) <= half for a, b, half in zip(centre, foot.middle, foot.half, strict=True))


def _apart(centre: Point, at: Point, width: float, depth: float) -> float:
    """Return the distance from a point to a rectangle, in mm."""
    x = max(abs(centre[0] - at[0]) - width / 2.0, 0.0)
    y = max(abs(centre[1] - at[1]) - depth / 2.0, 0.0)
    return hypot(x, y)
