"""Drawers as laid out: grid, placements, contents, free cells, and items without a place."""

from typing import Literal, TypeAlias

from worker.spec.items.item import Storage
from worker.spec.manifest.fields import (
    Amount,
    Count,
    Mark,
    OutputModel,
    Point2,
    Point3,
    Positive,
    Quantity,
    Size3,
    Turn,
    WrittenShape,
)

#: Limit that keeps things out: the printer, the drawer's height, its floor, its size or outline, the rule that a finger
#: reaches every thing, or a position or a tray that was given.
Cause: TypeAlias = Literal["bed", "height", "floor", "shape", "access", "pinned"]


class Cells(OutputModel):
    """Number of sockets in a drawer."""

    whole: Count
    half: Count
    """Half and quarter cells."""
    across: tuple[Count, Count]
    """Whole cells in the longest row (along x) and in the longest column (along y)."""


class PlacementEntry(OutputModel):
    """Position of a part in its drawer: rotated about z, then the minimum corner of its bounding box moved to `at`."""

    mark: Mark
    at: Point3
    turn: Turn
    cell: Point2 | None = None
    """Grid position of a tray, in cells from the grid's origin."""
    name: str | None = None
    """Name of the tray or panel at this position. Identical ones share a mark but keep their own names."""
    upright: bool = False
    """Whether the part is stood on its front edge first: its y becomes z, and its top faces the front."""


class ContentEntry(OutputModel):
    """Things of one item that are stored in one tray or lane."""

    item: str
    """Name of the item."""
    pointer: str
    """JSON Pointer to the item in the spec."""
    count: Quantity
    """Number stored here."""
    capacity: Quantity
    """Number that would fit here."""
    storage: Storage
    """How they are stored."""
    shape: WrittenShape
    """Shape of a single one, as in the spec; a standard item is written out with its dimensions."""
    placement: Count | None
    """Index of the tray in the drawer's placements; of a jointed tray, that of its first piece. Null in a lane."""
    at: Point3
    """Minimum corner of the bounding box around all of them, in the drawer's frame."""
    size: Size3
    """Size of that bounding box."""
    label: str | None = None
    """Text of its label; null if it has none."""
    lane: Count | None = None
    """Index of the lane in the drawer's lanes; null in a tray."""


class SpaceEntry(OutputModel):
    """Rectangle of free cells."""

    at: Point2
    """Front left cell, in cells from the grid's origin."""
    cells: tuple[Positive, Positive]
    """Size in cells, left to right and front to back."""


class SeamHoldEntry(OutputModel):
    """What the tabs or keys in the seams of a floor hold."""

    tabs: Quantity
    """Number of tabs and keys."""
    undercut: Positive
    """Overhang of a tab's head past the mouth of its recess, on each side."""
    play: Amount
    """Distance by which two tiles can be pulled apart before a tab takes hold, if they are printed to size."""
    pull: Positive | None
    """Estimate of the pull in N that one tab in PLA holds before it yields; null for a dovetail with sloped flanks."""


class LeftOutEntry(OutputModel):
    """Part of a drawer's usable area that the floor leaves out."""

    outline: tuple[tuple[Point2, ...], ...]
    """Rings as in the drawer's outline."""
    area: Positive
    reason: Literal["narrow", "apart", "bed"]
    """`narrow`: too narrow to print. `apart`: too far from the cells, or joined to them by too little plastic. `bed`:
    its tile would not fit the printer's bed."""


class FloorEntry(OutputModel):
    """How a floor holds together, and what it leaves out."""

    groups: tuple[tuple[Count, ...], ...]
    """Tiles that tabs and keys hold together, as indices into the drawer's placements."""
    loose: tuple[Count, ...] = ()
    """Tiles that only the drawer's sides hold to the tiles they meet, as indices into the placements."""
    seams: SeamHoldEntry | None = None
    """Null for a floor without tabs and keys."""
    left_out: tuple[LeftOutEntry, ...] = ()
    """Parts of the outline without floor, largest first; gaps between tiles do not count."""


class TraySeamEntry(OutputModel):
    """Line across a jointed tray at which its pieces join."""

    axis: Literal["x", "y"]
    """x: perpendicular to x, so it runs front to back; y: runs left to right."""
    at: float
    """Position in the drawer's frame."""
    tabs: Quantity
    """Number of tabs in the floor."""
    floor_pull: Positive
    """Estimate of the pull in N that the tabs hold in PLA before they yield."""
    wall_pull: Amount
    """Estimate of the pull in N that the tongues in the walls hold in PLA before they yield."""


class JointedTrayEntry(OutputModel):
    """A tray that is printed in pieces, and what its joints hold: estimates by formulas of beams, nothing measured."""

    name: str
    cell: Point2
    """Grid position of the tray."""
    z: Amount
    """Height of its bottom above the drawer's bottom."""
    pieces: tuple[Count, ...]
    """Its pieces as indices into the drawer's placements, in the order in which they are joined: each is lowered from
    above onto those before it."""
    seams: tuple[TraySeamEntry, ...]
    floor_play: Positive
    """Distance by which two pieces can be pulled apart at the floor before the tabs take hold, if they are printed to
    size."""
    wall_play: Positive
    """The same for the tongues in the walls."""
    load: Positive
    """Load in kg for which the sag is stated, spread evenly."""
    sag: Positive
    """Sag under this load when the tray is carried by its ends: play of the seams, and the plastic bent as a beam. On
    the floor nothing sags."""
    yields: Positive
    """Load in kg, spread evenly, under which a seam yields when the tray is carried by its ends."""


class UpperTrayEntry(OutputModel):
    """A tray that stands on others or on panels; it is lifted out to reach what is below."""

    name: str
    placement: Count
    """Index of the tray in the drawer's placements; of a jointed tray, that of its first piece."""
    on: tuple[Count, ...]
    """The trays that carry it, likewise."""
    panels: tuple[Count, ...] = ()
    """Indices of the panels that carry it."""
    z: Positive
    """Height of its feet above the drawer's bottom."""
    balance: Positive | None = None
    """Load at its outermost corner that tips it, as a multiple of its own mass; null where it is carried below all of
    its corners."""


class PanelEntry(OutputModel):
    """A panel, and what it holds: estimates for PLA by handbook formulas, nothing measured."""

    name: str
    along: Literal["x", "y"]
    """x: it runs from left to right; y: from front to back."""
    at: float
    """Position of its middle across its length, in the drawer's frame."""
    start: float
    """Where its first strip begins, in the drawer's frame."""
    end: float
    """Where its last strip ends."""
    z: Amount = 0.0
    """Height that it stands at above the drawer's bottom: that of the floor's tiles, or 0 on the bare bottom."""
    height: Positive
    """Height of its strips."""
    thickness: Positive
    strips: tuple[Count, ...]
    """Its strips from its start on, as indices into the drawer's placements."""
    shoes: tuple[Count, ...] = ()
    """The shoes at its ends, as indices into the placements."""
    clips: tuple[Count, ...] = ()
    """The clips that hold it from below, as indices into the placements."""
    feet: tuple[Count, ...] = ()
    """The feet that hold it in the floor's sockets, as indices into the placements."""
    splices: tuple[float, ...] = ()
    """Where strips join, along its length."""
    crossings: tuple[float, ...] = ()
    """Where other panels cross it by half laps, along its length."""
    crossed: tuple[Count, ...] = ()
    """These panels, as indices into the drawer's panels."""
    air: Positive
    """Air on each side of a strip in a half lap or between cheeks, and around the tabs of a splice."""
    span: Positive
    """Longest stretch between two neighbouring holds: shoes and crossings."""
    press: Amount
    """Force in N of a shoe on the drawer's side, in a drawer as measured."""
    buckling: Positive
    """Force in N along its length under which the span would buckle (Euler)."""
    push: Positive
    """Push in N at the middle of the span that bends it sideways by 5 mm."""
    tipping: Positive | None = None
    """Push in N at the top edge that tips it over; null where panels that cross it hold it upright."""
    pull: Positive | None = None
    """Pull in N that a splice holds; null without a splice."""


class LaneEntry(OutputModel):
    """A part of a drawer without trays, bounded by panels and by the drawer's sides; free if nothing lies in it."""

    name: str
    at: Point2
    """Front left corner, in the drawer's frame."""
    size: tuple[Positive, Positive]


class DrawerEntry(OutputModel):
    """One drawer. x runs left to right, y front to back, z up from the front left corner of the usable area."""

    name: str
    copies: Quantity
    size: Size3
    """Width, depth and height."""
    outline: tuple[tuple[Point2, ...], ...]
    """Rings of the usable area: the exterior counter-clockwise, then any holes clockwise. Rings are not closed."""
    origin: Point2
    """Front left corner of the grid."""
    pitch: Positive
    cells: Cells
    leftover: Point2
    """Width and depth of the drawer that whole cells do not cover."""
    free: Count
    """Number of free half cells (squares of half a pitch)."""
    placements: tuple[PlacementEntry, ...]
    contents: tuple[ContentEntry, ...] = ()
    """What is stored where, by item and tray."""
    spaces: tuple[SpaceEntry, ...] = ()
    """Free cells as rectangles that do not overlap, largest first."""
    floor: FloorEntry | None = None
    """Null in manifests of earlier versions."""
    jointed: tuple[JointedTrayEntry, ...] = ()
    """Trays that are printed in pieces."""
    upper: tuple[UpperTrayEntry, ...] = ()
    """Trays on others."""
    panels: tuple[PanelEntry, ...] = ()
    lanes: tuple[LaneEntry, ...] = ()


class UnplacedEntry(OutputModel):
    """Things of one item that could not be placed."""

    item: str
    """Name of the item."""
    pointer: str
    """JSON Pointer to the item in the spec, or to the entry of a tray's `hold` that does not fit."""
    drawer: str | None
    """Drawer they were listed for; null if any drawer of the job would do."""
    count: Quantity
    """Number that could not be placed."""
    cause: Cause | None = None
    """Limit that is in the way; null in documents of earlier versions."""
    reason: str
    """Why they could not be placed, as a sentence."""
    remedy: str | None
    """Smallest change found that makes room for them; it was tried. Null if none was found."""
