"""Seams: the tab that fits the node of a joint, and what it holds.

A node is where the walls between four sockets cross. As the corners of the sockets are arcs, it is a small four-pointed
star of solid plastic, whose size follows from the narrowest level of the joint.
"""

from collections.abc import Iterator
from functools import lru_cache
from math import floor, hypot, sqrt
from typing import Final

from worker.layout.floor.tab import Points, Tab
from worker.layout.floor.tab_strength import pull
from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_RADIUS, Joint
from worker.spec.tolerances import ARC_BULGE, BORDER_LEAST, COORDINATE_GRID, LENGTH_EPSILON, LINES_IN_A_WALL

#: Distance in mm from the top of a key to the land, so that it never stands proud.
KEY_DROP: Final = 0.2

#: Slope of a flank where no square head fits: 1 to 3 holds and still leaves blunt corners.
LEAN: Final = 1.0 / 3.0

#: Wall in mm beyond two lines, for rounding to the coordinate grid on both sides.
_SPARE: Final = 2.0 * COORDINATE_GRID

#: Minimum overhang of a head past the mouth of its recess on each side, in mm.
_LEAST_UNDERCUT: Final = 0.1

#: Half the width of a neck that is strong enough, in mm; further space makes the tab longer.
_MOST_NECK: Final = 1.5

_STEP: Final = 0.05

#: Steps of `_STEP` by which lip and head may be thicker than two lines.
_THICKER: Final = 16

#: Chamfer of a head's corners as a share of its thickness: it follows the arcs of the sockets beside it.
_CHAMFER: Final = 0.5


def node_radius(joint: Joint) -> float:
    """Return the radius in mm of the solid disc at a crossing of four sockets, at the narrowest level."""
    middle, radius = corner_arc(joint)
    return middle * sqrt(2.0) - radius


def narrowest(joint: Joint) -> float:
    """Return the smallest inset of the socket in mm: half the thinnest wall between two sockets."""
    return min(inset for inset, _ in joint.socket_levels())


@lru_cache(maxsize=256)  # most drawers have the same joint
def fit_tab(joint: Joint, gap: float, *, loose: bool) -> Tab | None:
    """Return the tab that fits a node best, or None if no printable tab fits.

    The best tab with square shoulders maximises pull times undercut: a large undercut bends its lips, a small one is
    lost in the printer's tolerance. Its half is still two lines wide, as two tiles may share it. Where no such tab
    fits, it is a dovetail with sloped flanks. At every level, two lines of wall are left between the recess and the
    sockets.

    Args:
        joint: joint of floor and trays, with the line width.
        gap: gap between the two tiles and around the tab, mm.
        loose: whether the seam uses loose keys in two recesses instead of a tab on one tile.
    """
    height = joint.height - (KEY_DROP if loose else 0.0)
    best, most = None, 0.0
    for tab in _square_tabs(joint, gap, loose=loose):
        value = pull(tab, height) * tab.undercut
        if value > most + LENGTH_EPSILON:
            best, most = tab, value
    return best or _dovetail(joint, gap, loose=loose)


def _square_tabs(joint: Joint, gap: float, *, loose: bool) -> Iterator[Tab]:
    """Yield the tabs with square shoulders that fit, by the thickness of lip and head and the width of the neck."""
    middle, radius = corner_arc(joint)
    wall = LINES_IN_A_WALL * joint.line_width
    clear = radius + wall + _SPARE
    edge, root = gap / 2.0, 0.0 if loose else -gap / 2.0
    end = gap * (sqrt(2.0) - 1.0)  # by which the corners of an offset chamfer move along its neighbours
    for step in range(_THICKER):
        thickness = wall + step * _STEP  # of the lip, and of the head
        shoulder = edge + thickness + gap
        tip, chamfer = shoulder + thickness, _CHAMFER * thickness
        head = min(
            _room(middle, clear, tip + gap) + chamfer - end,
            _room(middle, clear, tip - chamfer + end) - gap,
            # the chamfer of the recess is at most a tangent of the arc
            2.0 * middle - sqrt(2.0) * clear - (tip - chamfer + gap * sqrt(2.0)),
        )
        head = floor(head / COORDINATE_GRID) * COORDINATE_GRID
        neck = wall + gap / 2.0
        while head - neck - gap >= _LEAST_UNDERCUT:
            flank = ((root, neck), (shoulder, neck), (shoulder, head), (tip - chamfer, head), (tip, head - chamfer))
            slot = (
                (edge, neck + gap), (shoulder - gap, neck + gap), (shoulder - gap, head + gap),
                (tip - chamfer + end, head + gap), (tip + gap, head - chamfer + end),
            )  # fmt: skip
            yield Tab(flank, slot, gap, _plain(neck, wall, gap))
            neck += _STEP


def _dovetail(joint: Joint, gap: float, *, loose: bool) -> Tab | None:
    """Return the dovetail that maximises neck times undercut: a long one has a thin neck, a short one no undercut."""
    middle, radius = corner_arc(joint)
    wall = LINES_IN_A_WALL * joint.line_width
    root, edge = 0.0 if loose else -gap / 2.0, gap / 2.0
    best: Tab | None = None
    for step in range(1, int(middle / _STEP)):
        reach = step * _STEP
        if middle - reach - gap <= 0.0:
            break  # level with the centres of the arcs: only the plain wall is left
        widest = _room(middle, radius + wall + _SPARE, reach + gap)
        offset = gap * hypot(1.0, LEAN)
        neck = min(widest - (reach + gap - root) * LEAN - offset, _MOST_NECK)
        neck = floor(neck / COORDINATE_GRID) * COORDINATE_GRID
        flank: Points = ((root, neck), (reach, neck + (reach - root) * LEAN))
        slot: Points = tuple((x, neck + (x - root) * LEAN + offset) for x in (edge, reach + gap))
        tab = Tab(flank, slot, gap, _plain(neck, wall, gap))
        good = 2.0 * neck >= wall - LENGTH_EPSILON and tab.undercut >= _LEAST_UNDERCUT
        if good and (best is None or neck * tab.undercut > best.neck * best.undercut + LENGTH_EPSILON):
            best = tab
    return best


def _plain(neck: float, wall: float, gap: float) -> float:
    """Return half the width of a tab at the side of a border, so that its recess fits the narrowest border."""
    return max(min(neck, floor((BORDER_LEAST - gap - wall - _SPARE) / COORDINATE_GRID) * COORDINATE_GRID), 0.0)


def _room(middle: float, clear: float, x: float) -> float:
    """Return half the width in mm at x of the star, at this distance from the centres of its arcs or beyond."""
    across = middle - x
    return middle - sqrt(max(clear * clear - across * across, 0.0)) if across > 0.0 else middle - clear


def corner_arc(joint: Joint) -> tuple[float, float]:
    """Return the corner arc of the narrowest level: distance of its centre from the node on an axis, and radius."""
    inset = narrowest(joint)
    radius = max(CORNER_RADIUS - inset, LEAST_RADIUS)
    return inset + radius, radius * ARC_BULGE
