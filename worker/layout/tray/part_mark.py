"""The mark of a tray or plug: engraved under a foot, legible when the part is turned over."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from worker.layout.model.shapes import Lettering, MagnetHoles, PlugShape, Point, TrayShape
from worker.layout.tray.font import extent, least_mark_cap

#: Depth of an engraved mark: two layers of 0.2 mm.
MARK_DEPTH: Final = 0.4

#: Cap heights in mm, in order of preference; those that do not print are left out.
CAP_HEIGHTS: Final = (6.0, 5.0, 4.0, 3.0)

#: Solid plastic between a mark and an edge or a magnet: two lines.
_MARGIN: Final = 0.8


@dataclass(frozen=True, slots=True)
class _Foot:
    """Flat bottom of a foot: centre, half its sides and corner radius, in mm."""

    middle: Point
    half: float
    radius: float

    def holds(self, at: Point, width: float, depth: float) -> bool:
        """Return whether a rectangle lies on the bottom with a margin to its edge."""
        x, y = abs(at[0] - self.middle[0]) + width / 2.0, abs(at[1] - self.middle[1]) + depth / 2.0
        room, arc = self.half - _MARGIN, max(self.radius - _MARGIN, 0.0)
        if x > room or y > room:
            return False
        return min(x, y) <= room - arc or hypot(x - room + arc, y - room + arc) <= arc


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
    foot = _Foot((x, y), side / 2.0 - inset, max(shape.corner_radius - inset, 0.0))
    return _under(foot, mark, shape.magnets, line_width)


def plug_mark(shape: PlugShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark under the plug's foot; None if there is no room. ``line_width`` is that of a printed line, mm."""
    middle = shape.cell / 2.0 - shape.inset
    inset = shape.foot_levels[0][0]
    foot = _Foot((middle, middle), shape.cell / 2.0 - inset, max(shape.corner_radius - inset, 0.0))
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
    return all(abs(a - b) <= foot.half for a, b in zip(centre, foot.middle, strict=True))


def _apart(centre: Point, at: Point, width: float, depth: float) -> float:
    """Return the distance from a point to a rectangle, in mm."""
    x = max(abs(centre[0] - at[0]) - width / 2.0, 0.0)
    y = max(abs(centre[1] - at[1]) - depth / 2.0, 0.0)
    return hypot(x, y)
