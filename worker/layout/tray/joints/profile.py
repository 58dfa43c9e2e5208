"""The profile of a splice: the dimensions of tabs in the floor and of tongues in the walls, all in mm.

A piece is lowered from above onto the one before it. Tabs with flanks at 45 degrees lock the floors together, T-shaped
tongues in thickened walls, the posts, lock the walls together. Chosen in a design study on meshes; nothing of it has
been printed yet. A design that cuts along the border of a cell is ruled out: there a tray has no bottom to print on.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import ceil, sqrt
from typing import Final

from worker.layout.tray.interior import on_grid
from worker.spec.drawer.joint import Joint
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["AIR", "TAB_HALF", "TAB_HEAD", "TAB_LOCK", "TAB_REACH", "TONGUE_COVER", "Profile"]

#: Air between the pieces, perpendicular to every face. With 0.15 mm, walls 0.2 mm too thick jam.
AIR: Final = 0.2

#: Half the width of a tab's neck, and how far its head stands out on each side.
TAB_HALF: Final = 3.0
TAB_LOCK: Final = 1.6
#: Half the width of the head.
TAB_HEAD: Final = TAB_HALF + TAB_LOCK
#: Distance of the tab's tip from the edge of its piece.
TAB_REACH: Final = 2.5

#: Lines in the neck, in the head and in the lip of a tongue's slot, and in what the head overlaps on each side.
_LINES_ACROSS: Final = 3
_LINES_LOCKED: Final = 2
#: Thickness by which the skin outside a slot exceeds its minimum, so that it is not flush with the rim's inner face.
_SKIN_SPARE: Final = 0.05
#: Height between the tray's shoulder and the lowest point of a slot.
_OVER_SHOULDER: Final = 0.1
#: Height by which a tongue ends below the top of its post.
TONGUE_COVER: Final = 0.1
#: Least height over which a tongue has its full section.
_LEAST_GRIP: Final = 8.0
#: Least heights of a jointed tray, with a straight and with a stacking rim.
_LEAST_HEIGHTS: Final = (16.0, 20.0)


@dataclass(frozen=True)
class Profile:
    """Dimensions that depend on the line width and on the joint; distances along the pull are from the seam's middle.

    ``line`` is the width of a printed line; ``skin`` the thickness of the wall outside a slot; ``shoulder`` the height
    at which the tray's walls begin.
    """

    line: float
    skin: float
    shoulder: float

    @staticmethod
    @lru_cache(maxsize=64)
    def of(joint: Joint, line_width: float) -> "Profile":
        """Return the profile for trays on this joint, printed in lines of this width."""
        skin = max(_LINES_LOCKED * line_width, joint.land - joint.body_inset) + _SKIN_SPARE
        return Profile(line_width, on_grid(skin), on_grid(joint.foot_height))

    @cached_property
    def neck(self) -> float:
        """Width of a tongue's neck, and thickness of its head and of the lips in front of it."""
        return on_grid(_LINES_ACROSS * self.line)

    @cached_property
    def lock(self) -> float:
        """Distance by which a tongue's head stands out of its neck on each side."""
        return on_grid(_LINES_LOCKED * self.line)

    @cached_property
    def head(self) -> float:
        """Width of a tongue's head."""
        return self.neck + 2.0 * self.lock

    @cached_property
    def middle(self) -> float:
        """Distance of a tongue's middle from the outer face of its wall."""
        return on_grid(self.skin + AIR + self.head / 2.0)

    @cached_property
    def post(self) -> float:
        """Thickness of a post, from the outer face of its wall."""
        return on_grid(self.middle + self.head / 2.0 + AIR + _LINES_LOCKED * self.line)

    @cached_property
    def lip(self) -> float:
        """Distance of the shoulder of a slot from the seam."""
        return on_grid(AIR / 2.0 + self.neck)

    @cached_property
    def reach(self) -> float:
        """Distance of a tongue's tip from the seam."""
        return on_grid(self.lip + AIR + self.neck)

    @cached_property
    def slot(self) -> float:
        """Distance of the end of a slot from the seam."""
        return on_grid(self.reach + AIR)

    @cached_property
    def male(self) -> float:
        """Distance from the seam that the piece that is lowered reaches over the other."""
        return max(self.reach, TAB_REACH - AIR / 2.0)

    @cached_property
    def female(self) -> float:
        """Distance from the seam that slots and recesses reach into the other piece."""
        return max(self.slot, on_grid(TAB_REACH + AIR / 2.0))

    @cached_property
    def ends(self) -> tuple[float, float]:
        """Distances from the seam at which a post has its full thickness, before and behind it."""
        return on_grid(self.slot + _LINES_LOCKED * self.line), on_grid(AIR / 2.0 + self.neck)

    @cached_property
    def drop(self) -> float:
        """Height of the air under a tongue: ``AIR`` perpendicular to its underside at 45 degrees."""
        return on_grid(AIR * sqrt(2.0))

    @cached_property
    def low(self) -> float:
        """Height at which a tongue begins at its root."""
        return on_grid(self.shoulder + _OVER_SHOULDER + self.drop)

    def least_height(self, height: float, ceiling: float, *, stacking: bool) -> float:
        """Return the least height of a jointed tray, in steps of 0.1 mm.

        Args:
            height: of the tray.
            ceiling: z up to which its posts reach.
            stacking: whether it has a stacking rim.
        """
        missing = self.low + self.reach + _LEAST_GRIP - (ceiling - TONGUE_COVER)
        least = ceil((height + missing) * 10.0 - LENGTH_EPSILON) / 10.0
        return max(least, _LEAST_HEIGHTS[stacking])
