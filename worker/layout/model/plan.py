"""The plan: a job laid out in numbers, before any mesh."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal, TypeAlias

from worker.layout.model.shapes import Kind, Part, Placement, Point, Ring
from worker.spec.items.item import Storage
from worker.spec.items.shape import PlainShape
from worker.spec.manifest.drawers import Cause


@dataclass(frozen=True, slots=True)
class Cell:
    """A socket in units of half cells from the lattice's origin; 2 x 2 is a whole cell, smaller ones are half cells."""

    x: int
    y: int
    width: int
    depth: int


@dataclass(frozen=True, slots=True)
class Lattice:
    """The grid in a drawer: ``origin`` is the front left corner of half cell 0, 0 in the drawer's frame, in mm."""

    origin: Point
    pitch: float
    cells: tuple[Cell, ...]

    @property
    def span(self) -> tuple[int, int]:
        """Number of half cells along x and y, from the origin to the furthest socket; 0, 0 without a floor."""
        return max((c.x + c.width for c in self.cells), default=0), max((c.y + c.depth for c in self.cells), default=0)

    @property
    def half_cells(self) -> frozenset[tuple[int, int]]:
        """The half cells that are there, along x and y."""
        return frozenset((c.x + i, c.y + j) for c in self.cells for i in range(c.width) for j in range(c.depth))


@dataclass(frozen=True, slots=True)
class PlanWarning:
    """A problem that does not stop the job."""

    pointer: str
    message: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A safety notice that applies to what the spec asks for."""

    topic: str
    text: str


@dataclass(frozen=True, slots=True)
class SeamPair:
    """Two adjacent tiles of a drawer, as indices into `DrawerPlan.placements`, and the gap between them in mm."""

    first: int
    second: int
    gap: float


@dataclass(frozen=True, slots=True)
class SeamHold:
    """What the tabs or keys of a floor hold: their number, and for each the undercut and the play, mm.

    ``pull`` is the pull in N that each holds in PLA before it yields; None for a dovetail with sloped flanks.
    """

    tabs: int
    undercut: float
    play: float
    pull: float | None


#: Why a part of a drawer has no floor: too narrow to print, too far from the cells or too thinly joined to them, or on
#: a tile that would not fit the bed.
LeftOutReason: TypeAlias = Literal["narrow", "apart", "bed"]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Part of a drawer's usable area that the floor leaves out: rings as of an outline, mm, and its area, mm2."""

    rings: tuple[Ring, ...]
    area: float
    reason: LeftOutReason


@dataclass(frozen=True, slots=True)
class FloorPlan:
    """How a floor holds together, and what it leaves out.

    ``groups`` are the tiles, as indices into `DrawerPlan.placements`, that tabs and keys hold together; ``loose`` are
    those that only the drawer's sides hold to the tiles they meet; ``hold`` is what a tab holds, None without tabs.
    """

    groups: tuple[tuple[int, ...], ...] = ()
    loose: tuple[int, ...] = ()
    hold: SeamHold | None = None
    left_out: tuple[LeftOut, ...] = ()


#: The floor of a drawer without cells.
NO_FLOOR: Final = FloorPlan()


@dataclass(frozen=True, slots=True)
class TraySeam:
    """Line across a tray at which its pieces join: perpendicular to ``axis``, at ``at`` mm in the drawer's frame.

    ``floor_pull`` and ``wall_pull`` are the pulls in N that its tabs and its tongues hold in PLA before they yield.
    """

    axis: Literal["x", "y"]
    at: float
    tabs: int
    floor_pull: float
    wall_pull: float


@dataclass(frozen=True, slots=True)
class JointedTray:
    """A tray in pieces, and what its joints hold.

    ``pieces`` are indices into `DrawerPlan.placements` in the order in which the pieces are joined, each lowered onto
    those before it. ``floor_play`` and ``wall_play`` are in mm; ``sag`` is that under ``load`` kg, spread evenly, when
    the tray is carried by its ends, and ``yields`` the load in kg under which a seam would yield.
    """

    name: str
    cell: Point
    z: float
    pieces: tuple[int, ...]
    seams: tuple[TraySeam, ...]
    floor_play: float
    wall_play: float
    load: float
    sag: float
    yields: float


@dataclass(frozen=True, slots=True)
class UpperPlan:
    """A tray that stands on others or on panels; ``placement`` and ``on`` are indices into `DrawerPlan.placements`.

    Those of a jointed tray are that of its first piece; ``panels`` are the indices of panels that carry it. ``z`` is
    the height of its feet above the drawer's bottom, mm. ``balance`` is the load at its outermost corner that tips it,
    as a multiple of its own mass; None where it is carried below all of its corners.
    """

    name: str
    placement: int
    on: tuple[int, ...]
    z: float
    balance: float | None
    panels: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """A panel in its place, and what holds it; positions are in the drawer's frame, mm, forces in N.

    Axis ``x``: it runs left to right, with its middle at y ``at``; its strips stand at ``z`` and are ``height`` high.
    ``pieces``, ``shoes``, ``clips`` and ``feet`` are indices into `DrawerPlan.placements`: strips from its start on,
    shoes at its ends, clips below its splices, feet in the floor's sockets. ``crossings`` and ``splices`` are positions
    along it; ``crossed`` are the indices of the panels it crosses, in that order. ``air`` is that on each side of a
    strip in a slot and around a splice's tabs, ``clearance`` that of a foot in its socket; ``overlap`` the length by
    which a strip and its shoe overlap as laid out, which the shoe's wings give way for. ``span`` is the longest stretch
    between two holds.

    ``press`` is the force of a shoe on the drawer's side in a drawer as measured, ``buckling`` Euler's load of the
    span, ``push`` the push that bends it by 5 mm there, ``tipping`` the push at its top edge that tips it, None where
    crossing panels hold it, and ``pull`` what a splice holds, None without one.
    """

    name: str
    along: Literal["x", "y"]
    at: float
    start: float
    end: float
    z: float
    height: float
    thickness: float
    pieces: tuple[int, ...]
    shoes: tuple[int, ...]
    clips: tuple[int, ...]
    feet: tuple[int, ...]
    crossings: tuple[float, ...]
    crossed: tuple[int, ...]
    splices: tuple[float, ...]
    air: float
    clearance: float
    overlap: float
    span: float
    press: float
    buckling: float
    push: float
    tipping: float | None
    pull: float | None

    @property
    def top(self) -> float:
        """Height of its upper edge above the drawer's bottom, mm."""
        return round(self.z + self.height, 3)


@dataclass(frozen=True, slots=True)
class LanePlan:
    """A lane: a part of a drawer without trays, its front left corner and its size in the drawer's frame, mm.

    It is bounded by panels and by the drawer's sides. A lane without contents is free.
    """

    name: str
    at: Point
    size: Point


@dataclass(frozen=True, slots=True)
class Stored:
    """Things of one item in one tray or lane.

    ``pointer`` is the item's JSON Pointer. ``placement`` is the tray's index in `DrawerPlan.placements`, or None for
    what lies in the lane with the index ``lane`` in `DrawerPlan.lanes`. ``capacity`` is the number that would fit,
    ``shape`` that of a single thing. ``at`` and ``size`` give the bounding box around all of them in the drawer's
    frame, in mm. ``label`` is the text of the item's label.
    """

    item: str
    pointer: str
    count: int
    capacity: int
    storage: Storage
    shape: PlainShape
    placement: int | None
    at: tuple[float, float, float]
    size: tuple[float, float, float]
    label: str | None = None
    lane: int | None = None


@dataclass(frozen=True, slots=True)
class Unplaced:
    """Things that could not be placed: item, count, reason, and the smallest change that would make room.

    ``drawer`` is the name of the drawer they were listed for; None if any drawer of the job would do. ``cause`` is the
    limit that the reason names.
    """

    item: str
    pointer: str
    count: int
    reason: str
    remedy: str | None = None
    drawer: str | None = None
    cause: Cause | None = None


@dataclass(frozen=True, slots=True)
class Space:
    """Rectangle of free half cells: its front left half cell, and its size along x and y in half cells."""

    at: tuple[int, int]
    halves: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Pieces:
    """Number of pieces of one mark; ``drawers`` gives the number of new ones by drawer name."""

    mark: str
    kind: Kind
    name: str
    count: int
    drawers: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Stand:
    """Position of a piece: a placement in the drawer of this name."""

    drawer: str
    at: tuple[float, float, float]
    turn: Literal[0, 90, 180, 270] = 0
    cell: Point | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """Printed pieces that move to another position; in the copies of a drawer they move the same way."""

    mark: str
    kind: Kind
    name: str
    count: int
    before: Stand
    now: Stand


@dataclass(frozen=True, slots=True)
class LayoutChanges:
    """Changes against the printed pieces. New, kept and moved pieces together are all that the layout needs."""

    new: tuple[Pieces, ...] = ()
    kept: tuple[Pieces, ...] = ()
    moved: tuple[Move, ...] = ()
    retired: tuple[Pieces, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawerPlan:
    """One drawer: usable outline, grid, placements and contents.

    ``outline`` lists rings in mm: the exterior counter-clockwise, then holes clockwise. ``whole`` and ``half`` are
    numbers of cells; ``across`` is the number of whole cells ``(x, y)`` in the longest row and column. ``leftover`` is
    the size of the drawer that whole cells do not cover, ``(x, y)`` mm. ``free`` is the number of free half cells, and
    ``spaces`` are these as rectangles.
    """

    name: str
    outline: tuple[Ring, ...]
    size: tuple[float, float, float]
    lattice: Lattice
    whole: int
    half: int
    across: tuple[int, int]
    leftover: Point
    free: int
    placements: tuple[Placement, ...]
    seams: tuple[SeamPair, ...]
    copies: int
    contents: tuple[Stored, ...] = ()
    spaces: tuple[Space, ...] = ()
    floor: FloorPlan = NO_FLOOR
    jointed: tuple[JointedTray, ...] = ()
    upper: tuple[UpperPlan, ...] = ()
    panels: tuple[PanelPlan, ...] = ()
    lanes: tuple[LanePlan, ...] = ()

    def pieces_of(self, placement: int) -> tuple[int, ...]:
        """Return the placements of the tray that one belongs to: of all its pieces, or that one alone."""
        return next((tray.pieces for tray in self.jointed if placement in tray.pieces), (placement,))


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole job laid out. ``parts`` are in order of kind, then mark.

    ``changes`` compares it with the previous layout, if there was one. ``numbering`` is the highest number ever used
    with each letter of a mark. ``made_for`` names the one of several printers that the parts are made for,
    ``made_for_kinds`` others by kinds of parts.
    """

    name: str
    drawers: tuple[DrawerPlan, ...]
    parts: tuple[Part, ...]
    warnings: tuple[PlanWarning, ...]
    cautions: tuple[Caution, ...]
    unplaced: tuple[Unplaced, ...] = ()
    changes: LayoutChanges | None = None
    numbering: tuple[tuple[str, int], ...] = ()
    made_for: str | None = None
    made_for_kinds: Mapping[Kind, str] = field(default_factory=dict)

    def part(self, mark: str) -> Part:
        """Return the part with this mark.

        Raises:
            KeyError: if there is none.
        """
        for part in self.parts:
            if part.mark == mark:
                return part
        raise KeyError(mark)
