"""The plan: a job laid out in numbers, before any mesh."""

from dataclasses import dataclass

from worker.layout.parts import Part, Placement, Point, Ring


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
class Warning:  # noqa: A001 - the word of the manifest
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
class DrawerPlan:
    """One drawer: the outline after gap, corners and obstacles; its grid; what goes where.

    ``outline`` lists rings: the outer ring first, counter-clockwise, then holes, clockwise. ``whole`` and ``half``
    count cells; ``across`` is the count of whole cells ``(x, y)`` along the longest row and column. ``leftover`` is the
    drawer's size less the grid's whole cells, ``(x, y)`` mm. ``free`` counts half cells with no tray on them.
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


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole job laid out. ``parts`` are in order of kind, then mark."""

    name: str
    drawers: tuple[DrawerPlan, ...]
    parts: tuple[Part, ...]
    warnings: tuple[Warning, ...]
    cautions: tuple[Caution, ...]

    def part(self, mark: str) -> Part:
        """Return the part of this mark.

        Raises:
            KeyError: when there is none.
        """
        for part in self.parts:
            if part.mark == mark:
                return part
        raise KeyError(mark)
