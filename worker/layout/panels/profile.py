"""The profile of panels: the dimensions of splices, half laps, end shoes and clips, all in mm.

A splice is a row of tabs along the seam of two strips, pressed into their recesses from the side and held in one plane
by a clip from below. Where panels cross, each has a slot over half its height. An end shoe stands on the drawer's
bottom, holds the panel's end between two cheeks and presses two wings against the drawer's side. Chosen on meshes and
by the formulas in `worker.layout.panels.strength`; nothing of it has been printed yet.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

from worker.layout.tray.font import least_mark_cap
from worker.layout.tray.interior import on_grid

__all__ = [
    "BASE",
    "BASE_AIR",
    "CHEEK",
    "CLIP",
    "CLIP_END_AIR",
    "CLIP_FULL",
    "CLIP_LEAD",
    "CLIP_SHARE",
    "CLIP_WIDTHS",
    "FEET_APART",
    "FOOT",
    "HUB",
    "HUB_HALF",
    "HUB_MARGIN",
    "LAP_LEAD",
    "LAP_SPARE",
    "LEAST_FOOT",
    "MOST_GAP",
    "PRESS",
    "SHOE_BELOW",
    "SHOE_FULL",
    "SHOE_SHARE",
    "STUB",
    "TAB_HEAD",
    "TAB_NECK",
    "TAB_PITCH",
    "TAB_REACH",
    "TRAVEL",
    "WINGS",
    "PanelProfile",
]

#: Air on each side of a strip in a slot, as a share of the joint's clearance, and at least: strips lie flat when they
#: are printed, so that only the slot's own walls vary. 0.1 mm a side at the default clearance of 0.3 mm.
_AIR_SHARE: Final = 1.0 / 3.0
_LEAST_AIR: Final = 0.1

#: Lines in a cheek or a wing.
_LINES: Final = 3

# half laps
#: Height by which the two slots of a crossing exceed half the height, each.
LAP_SPARE: Final = 0.15
#: Chamfer at the mouth of a slot.
LAP_LEAD: Final = 1.0
#: Length by which a panel that ends on another one is let through it.
STUB: Final = 8.0

# splices
#: Half the width of a tab's neck and of its head, and the tab's reach; its flanks are at 45 degrees.
TAB_NECK: Final = 5.0
TAB_HEAD: Final = 8.0
TAB_REACH: Final = 4.0
#: Height of panel for each tab.
TAB_PITCH: Final = 40.0

# end shoes
#: Least depth of the hub behind the wings, half its least width, and the length of the cheeks.
HUB: Final = 4.0
HUB_HALF: Final = 4.0
CHEEK: Final = 14.0
#: Plastic between a mark and the edges of the hub: a line of common width.
HUB_MARGIN: Final = 0.45
#: Height of capitals and digits in cap heights: some reach below the line.
_MARK_DEPTH: Final = 1.06
#: Distance by which a shoe can be pressed until its hub meets the drawer's side, and by which it is pressed in a
#: drawer as measured.
TRAVEL: Final = 2.0
PRESS: Final = 0.8
#: The gap of a drawer, up to which a shoe makes up for it.
MOST_GAP: Final = 3.0
#: Lengths of wings, the stiffest first.
WINGS: Final = (20.0, 24.0, 28.0, 32.0, 36.0)
#: Height of a shoe: that of the panel up to a limit, and a share of it beyond; lower than the panel by at least what a
#: tray sinks onto it, 3.2 mm with the built-in joint.
SHOE_FULL: Final = 60.0
SHOE_SHARE: Final = 0.6
SHOE_BELOW: Final = 5.0

# clips
#: Thickness of a clip's base, air above it, length along the panel, widths across it, and height of its cheeks.
BASE: Final = 1.6
BASE_AIR: Final = 0.2
CLIP: Final = 40.0
CLIP_WIDTHS: Final = (24.0, 16.0)
CLIP_FULL: Final = 30.0
CLIP_SHARE: Final = 0.5
CLIP_LEAD: Final = 0.4
#: Air at each end of a clip in the notch of its strips.
CLIP_END_AIR: Final = 0.5

# feet in the sockets of a floor
#: Length of a foot along its panel, and the least in a small socket; longest stretch between two feet (own choice).
FOOT: Final = 20.0
LEAST_FOOT: Final = 12.0
FEET_APART: Final = 300.0


@dataclass(frozen=True, slots=True)
class PanelProfile:
    """Dimensions that depend on the line width and on the joint's clearance, mm."""

    line: float
    clearance: float

    @property
    def air(self) -> float:
        """Air on each side of a strip between cheeks or in a half lap, and around a splice's tabs."""
        return on_grid(max(self.clearance * _AIR_SHARE, _LEAST_AIR))

    @property
    def cheek(self) -> float:
        """Thickness of cheeks and wings."""
        return on_grid(_LINES * self.line)

    @property
    def tab_play(self) -> float:
        """Distance by which two strips can be pulled apart: the air on flanks at 45 degrees."""
        return self.air * sqrt(2.0)

    @property
    def hub(self) -> float:
        """Depth of a shoe's hub, which has room for the smallest letters that print."""
        return on_grid(max(HUB, _MARK_DEPTH * least_mark_cap(self.line) + 2.0 * HUB_MARGIN))

    @property
    def shoe_depth(self) -> float:
        """Distance from the drawer's side to the end of a shoe's cheeks."""
        return TRAVEL + self.hub + CHEEK

    def shoe_height(self, height: float) -> float:
        """Return the height of the shoes of a panel."""
        return on_grid(min(height - SHOE_BELOW, max(SHOE_FULL, SHOE_SHARE * height)))

    def clip_height(self, height: float) -> float:
        """Return the height of the cheeks of a clip above the drawer's bottom."""
        return on_grid(min(CLIP_SHARE * height, CLIP_FULL) + BASE)

    def hub_half(self, thickness: float) -> float:
        """Return half the width of a shoe's hub, or of the two cheeks with a strip between them."""
        wide = thickness / 2.0 + self.air + self.cheek
        # no step between cheeks and hub that is thinner than a line
        return on_grid(HUB_HALF if wide < HUB_HALF - self.line else wide)
