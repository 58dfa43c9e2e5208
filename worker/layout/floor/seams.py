"""Seams: the tab, the recess and the loose key that hold two tiles together.

All three stand at a node, where the walls between four sockets cross. As the corners of the sockets are arcs, a node is
a small four-pointed star of solid plastic, whose size follows from the narrowest level of the joint. Coordinates are in
mm, for a seam along y through the node at 0, 0: the tab extends in +x, into the tile with the recess.
"""

from dataclasses import dataclass
from math import floor, hypot, sqrt
from typing import Final, TypeAlias

from worker.layout.model.shapes import KeyShape, Point
from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_RADIUS, Joint
from worker.spec.tolerances import ARC_BULGE, COORDINATE_GRID, LENGTH_EPSILON, LINES_IN_A_WALL

Points: TypeAlias = tuple[Point, ...]

#: Distance in mm from the top of a key to the land, so that it never stands proud.
KEY_DROP: Final = 0.2

#: Slope of a flank: 1 to 3 holds and still leaves blunt corners.
LEAN: Final = 1.0 / 3.0

#: Wall in mm beyond two lines, for rounding to the coordinate grid on both sides.
_SPARE: Final = 2.0 * COORDINATE_GRID

#: Minimum overhang of a head past the mouth of its recess on each side, in mm.
_LEAST_HOLD: Final = 0.1

#: Half the width of a neck that is strong enough, in mm; further space makes the tab longer.
_MOST_NECK: Final = 1.5

_STEP: Final = 0.05

#: Distance in mm by which cutters and tabs extend over the tile's edge, so that no two edges coincide.
_OVER: Final = 0.5


@dataclass(frozen=True, slots=True)
class Tab:
    """Dovetail: half the neck at x ``root``, half the head at x ``reach``, and the gap around it; all in mm.

    ``root`` is ``-gap / 2`` for a tab (the edge of its tile) and 0 for a key (the seam's line).
    """

    neck: float
    head: float
    reach: float
    root: float
    gap: float

    @property
    def hold(self) -> float:
        """Overhang of the head past the mouth of the recess on each side, in mm."""
        return self.head - self.mouth

    @property
    def mouth(self) -> float:
        """Half the width in mm of the recess at its tile's edge, x ``gap / 2``."""
        return self._grown(self.gap / 2.0)

    @property
    def back(self) -> Point:
        """Far corner of the recess: the tab's corner, offset by the gap on both of its sides."""
        x = self.reach + self.gap
        return x, self._grown(x)

    def _grown(self, x: float) -> float:
        """Return half the width at x of the tab's flanks, offset by the gap perpendicular to them."""
        lean = (self.head - self.neck) / (self.reach - self.root)
        return self.neck + (x - self.root) * lean + self.gap * sqrt(1.0 + lean * lean)

    def male(self) -> Points:
        """Return the ring of the tab, counter-clockwise, extended into its own tile."""
        inner = self.root - _OVER
        return (
            (inner, -self.neck), (self.root, -self.neck), (self.reach, -self.head),
            (self.reach, self.head), (self.root, self.neck), (inner, self.neck),
        )  # fmt: skip

    def recess(self) -> Points:
        """Return the ring of the recess, counter-clockwise, extended beyond its tile."""
        edge, (far, wide) = self.gap / 2.0, self.back
        return (
            (edge - _OVER, -self.mouth), (edge, -self.mouth), (far, -wide),
            (far, wide), (edge, self.mouth), (edge - _OVER, self.mouth),
        )  # fmt: skip

    def key(self, height: float) -> KeyShape:
        """Return the loose key: the tab and its mirror image about the seam, in the key's own frame.

        Args:
            height: height of the key, mm.
        """
        reach, head, neck = (round(length, 3) for length in (self.reach, self.head, self.neck))
        outline = ((-reach, -head), (0.0, -neck), (reach, -head), (reach, head), (0.0, neck), (-reach, head))
        return KeyShape(tuple((round(x + reach, 3), round(y + head, 3)) for x, y in outline), height)


def node_radius(joint: Joint) -> float:
    """Return the radius in mm of the solid disc at a crossing of four sockets, at the narrowest level."""
    middle, radius = _corner(joint)
    return middle * sqrt(2.0) - radius


def narrowest(joint: Joint) -> float:
    """Return the smallest inset of the socket in mm: half the thinnest wall between two sockets."""
    return min(inset for inset, _ in joint.socket_levels())


def fit_tab(joint: Joint, gap: float, *, loose: bool) -> Tab | None:
    """Return the tab that fits a node best, or None if no printable tab fits.

    The reach maximises neck times hold: a long tab has a thin neck, a short one does not hold. At every level, two
    lines of wall are left between the recess and the sockets.

    Args:
        joint: joint of floor and trays, with the line width.
        gap: gap between the two tiles and around the tab, mm.
        loose: whether the seam uses loose keys in two recesses instead of a tab on one tile.
    """
    middle, radius = _corner(joint)
    wall = LINES_IN_A_WALL * joint.line_width
    clear = radius + wall + _SPARE
    root = 0.0 if loose else -gap / 2.0
    best: Tab | None = None
    for step in range(1, int(middle / _STEP)):
        reach = step * _STEP
        across = middle - reach - gap
        if across <= 0.0:
            break  # level with the centres of the arcs: only the plain wall is left
        widest = middle - sqrt(max(clear * clear - across * across, 0.0))
        neck = min(widest - (reach + gap - root) * LEAN - gap * hypot(1.0, LEAN), _MOST_NECK)
        neck = floor(neck / COORDINATE_GRID) * COORDINATE_GRID
        tab = Tab(neck, neck + (reach - root) * LEAN, reach, root, gap)
        good = 2.0 * neck >= wall - LENGTH_EPSILON and tab.hold >= _LEAST_HOLD
        if good and (best is None or neck * tab.hold > best.neck * best.hold + LENGTH_EPSILON):
            best = tab
    return best


def _corner(joint: Joint) -> Point:
    """Return the corner arc of the narrowest level: distance of its centre from the node on an axis, and radius."""
    inset = narrowest(joint)
    radius = max(CORNER_RADIUS - inset, LEAST_RADIUS)
    return inset + radius, radius * ARC_BULGE
