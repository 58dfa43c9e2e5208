"""The plan: a job laid out in numbers, before any mesh."""

from dataclasses import dataclass
from typing import Literal

from worker.layout.model.shapes import Kind, Part, Placement, Point, Ring
from worker.spec.items.item import Storage
from worker.spec.items.shape import PlainShape


@dataclass(frozen=True, slots=True)
class Cell:
    """A socket's place, in half cells from the lattice's origin: 2 x 2 is a cell, 1 x 2, 2 x 1 and 1 x 1 are halves."""

    x: int
    y: int
    width: int
    depth: int


@dataclass(frozen=True, slots=True)
class Lattice:
    """The grid laid into an outline: ``origin`` is the front left corner of half cell 0, 0 in the drawer's frame."""

    origin: Point
    pitch: float
    cells: tuple[Cell, ...]

    @property
    def span(self) -> tuple[int, int]:
        """Half cells across and front to back, from the origin to the furthest socket."""
        return max(c.x + c.width for c in self.cells), max(c.y + c.depth for c in self.cells)


@dataclass(frozen=True, slots=True)
class PlanWarning:
    """Something the caller should know, that stops nothing."""

    pointer: str
    message: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A safety line that the manifest carries because of what was asked."""

    topic: str
    text: str


@dataclass(frozen=True, slots=True)
class SeamPair:
    """Two tiles of one drawer that meet: indices into `DrawerPlan.placements`, and the air between them."""

    first: int
    second: int
    gap: float


@dataclass(frozen=True, slots=True)
class Stored:
    """Things of one item in one tray.

    ``pointer`` is the item's JSON Pointer, ``placement`` the tray's index in `DrawerPlan.placements`, ``capacity`` how
    many would have room, ``shape`` that of one thing. ``at`` and ``size`` are the box around all of them in the
    drawer's frame. ``label`` is what the item's label says.
    """

    item: str
    pointer: str
    count: int
    capacity: int
    storage: Storage
    shape: PlainShape
    placement: int
    at: tuple[float, float, float]
    size: tuple[float, float, float]
    label: str | None = None


@dataclass(frozen=True, slots=True)
class Unplaced:
    """Things that found no place: of which item, how many, why, and the cheapest way to give them one.

    ``drawer`` is the name of the drawer that they were for; None: any of the job.
    """

    item: str
    pointer: str
    count: int
    reason: str
    remedy: str | None = None
    drawer: str | None = None


@dataclass(frozen=True, slots=True)
class Space:
    """A rectangle of half cells with nothing on them: front left half cell, and half cells across and back."""

    at: tuple[int, int]
    halves: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Pieces:
    """Printed pieces of one mark. Of new ones ``drawers`` says how many are for which drawer, by its name."""

    mark: str
    kind: Kind
    name: str
    count: int
    drawers: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Stand:
    """Where a piece stands: a placement in a drawer of this name."""

    drawer: str
    at: tuple[float, float, float]
    turn: Literal[0, 90, 180, 270] = 0
    cell: Point | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """Printed pieces that go elsewhere; copies of a drawer move alike."""

    mark: str
    kind: Kind
    name: str
    count: int
    before: Stand
    now: Stand


@dataclass(frozen=True, slots=True)
class LayoutChanges:
    """What a layout changes of what is printed. New, kept and moved pieces are all that the layout needs."""

    new: tuple[Pieces, ...] = ()
    kept: tuple[Pieces, ...] = ()
    moved: tuple[Move, ...] = ()
    retired: tuple[Pieces, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawerPlan:
    """One drawer: the outline after gap, corners and obstacles; its grid; what goes where.

    ``outline`` lists rings: the outer ring first, counter-clockwise, then holes, clockwise. ``whole`` and ``half``
    count cells; ``across`` is the count of whole cells ``(x, y)`` along the longest row and column. ``leftover`` is the
    drawer's size less the grid's whole cells, ``(x, y)`` mm. ``free`` counts half cells with no tray on them,
    and ``spaces`` are these as rectangles. ``contents`` says what lies in which tray.
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


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole job laid out. ``parts`` are in order of kind, then mark.

    ``changes`` compares it with the previous layout, if there was one. ``numbering`` is the highest number that each
    letter of a mark was ever given.
    """

    name: str
    drawers: tuple[DrawerPlan, ...]
    parts: tuple[Part, ...]
    warnings: tuple[PlanWarning, ...]
    cautions: tuple[Caution, ...]
    unplaced: tuple[Unplaced, ...] = ()
    changes: LayoutChanges | None = None
    numbering: tuple[tuple[str, int], ...] = ()

    def part(self, mark: str) -> Part:
        """Return the part of this mark.

        Raises:
            KeyError: when there is none.
        """
        for part in self.parts:
            if part.mark == mark:
                return part
        raise KeyError(mark)
