"""Nodes: the corners of cells at which a seam may carry a tab, and the room that there is for one.

A seam may run along y or along x through a node. Its own axes are u, across the seam from the first tile to the second,
and v, along it: x and y for a seam along y, y and -x for one along x.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal, TypeAlias

import shapely
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.border import Plate
from worker.layout.floor.patches import Patches
from worker.layout.floor.tab import Lobe, Tab
from worker.layout.model.plan import Cell
from worker.spec.tolerances import ARC_BULGE, LENGTH_EPSILON

#: Patches in front left, in front right, behind left and behind right of a node; None where there is no plate.
Quarters: TypeAlias = tuple[int | None, int | None, int | None, int | None]
#: How a side of a tab fits: in plastic all around, or towards the open edge of the plate.
Fit: TypeAlias = Literal["closed", "open"]

#: Distance in mm from a node at which the plate around it is looked up.
_NEAR: Final = 0.4
_DIAGONALS: Final = ((-_NEAR, -_NEAR), (_NEAR, -_NEAR), (-_NEAR, _NEAR), (_NEAR, _NEAR))

#: Length in mm of the root of a tab inside its own tile that has to be solid.
_ROOT: Final = 1.0

#: Allowed deviation in mm and mm2 of walls and areas: facets of arcs, rounding.
_SLACK: Final = 0.004
_SCRAP: Final = 1e-4

_CROSSING: Final = 4


@dataclass(frozen=True, slots=True)
class Node:
    """Corner of at least two cells: position in half cells, the patches around it, and which of them is a cell there.

    ``plain`` nodes are surrounded by four whole cells.
    """

    x: int
    y: int
    quarters: Quarters
    cells: tuple[bool, ...]
    plain: bool

    def lobes(self, *, along_y: bool) -> tuple[tuple[int, int], tuple[int, int]]:
        """Return which quarters lie before and after the seam on its low and on its high side."""
        return ((0, 1), (2, 3)) if along_y else ((1, 3), (0, 2))


def nodes_of(patches: Patches, cells: Sequence[Cell], nicked: frozenset[Cell]) -> list[Node]:
    """Return the nodes of a floor, in order."""
    corners: dict[tuple[int, int], list[Cell | None]] = {}
    for c in cells:
        places = ((c.x + c.width, c.y + c.depth), (c.x, c.y + c.depth), (c.x + c.width, c.y), (c.x, c.y))
        for quarter, at in enumerate(places):
            corners.setdefault(at, [None] * _CROSSING)[quarter] = c
    half = patches.pitch / 2.0
    nodes = []
    for (x, y), around in sorted(corners.items()):
        own = [cell for cell in around if cell is not None]
        if len(own) < 2:  # noqa: PLR2004 - a seam has two sides
            continue
        quarters = [
            patches.owner[cell] if cell is not None else patches.patch_at(x * half + dx, y * half + dy)
            for cell, (dx, dy) in zip(around, _DIAGONALS, strict=True)
        ]
        filled = tuple(cell is not None for cell in around)
        plain = len(own) == _CROSSING and all((c.width, c.depth) == (2, 2) and c not in nicked for c in own)
        nodes.append(Node(x, y, (quarters[0], quarters[1], quarters[2], quarters[3]), filled, plain))
    return nodes


class TabRoom:
    """The room for tabs at the nodes of a floor."""

    def __init__(  # noqa: PLR0917 - one caller, same names
        self, plate: Plate, cells: Sequence[Cell], pitch: float, inset: float, radius: float, tab: Tab, wall: float
    ) -> None:  # fmt: skip
        """Prepare the plate's solid area.

        Args:
            plate: cells and border, with the lattice's origin at 0, 0.
            cells: cells of the lattice.
            pitch: side of a cell, mm.
            inset: smallest inset of a socket, mm.
            radius: radius of its corners there, mm.
            tab: the tab.
            wall: wall to leave beside a recess, mm.
        """
        self.plate, self.cells, self.half, self.tab, self.wall = plate, cells, pitch / 2.0, tab, wall
        self.inset, self.radius = inset, radius
        #: Whether half of the tab, or a tab with one side at an edge, is still as thick as a wall.
        self.divisible = tab.neck - tab.gap / 2.0 >= wall - LENGTH_EPSILON
        #: Whether a tab with a plain side at a narrow border is as thick as a wall.
        self.thick_at_border = tab.neck + tab.plain >= wall - LENGTH_EPSILON
        self._fits: dict[tuple[int, int, bool, bool, Lobe, bool], Fit | None] = {}
        self._around: dict[tuple[int, int], BaseGeometry] = {}
        self._openings: dict[tuple[float, float], BaseGeometry] = {}

    def fit(self, node: Node, lobe: Lobe, *, along_y: bool, high: bool, first: bool) -> Fit | None:
        """Return how a side of a tab fits at a node, or None if it does not.

        Args:
            node: the node.
            lobe: what is on that side of the tab.
            along_y: whether the seam runs along y.
            high: whether it is the side at positive v.
            first: whether to look at the first tile, as for a recess there, or at the second.
        """
        if node.plain and lobe == "head":
            return "closed"
        key = (node.x, node.y, along_y, high, lobe, first)
        if key not in self._fits:
            self._fits[key] = self._fit(node, lobe, along_y=along_y, high=high, first=first)
        return self._fits[key]

    def rooted(self, node: Node, lobes: tuple[Lobe, Lobe], *, along_y: bool) -> bool:
        """Return whether the first tile is solid where a tab of these sides grows out of it."""
        widths = {"head": self.tab.neck, "plain": self.tab.plain, "flush": 0.0}
        root = shapely.box(-_ROOT, -widths[lobes[0]], -_SLACK, widths[lobes[1]])
        return node.plain or self._missing(node, root, along_y=along_y).area < _SCRAP

    def _fit(self, node: Node, lobe: Lobe, *, along_y: bool, high: bool, first: bool) -> Fit | None:
        needed = self._needed[lobe]
        if not high:
            needed = shapely.transform(needed, lambda points: points * (1.0, -1.0))
        if first:
            needed = shapely.transform(needed, lambda points: points * (-1.0, 1.0))
        missing = self._missing(node, needed, along_y=along_y)
        if missing.area < _SCRAP:
            return "closed"
        return "open" if lobe == "flush" and missing.area > needed.area - _SCRAP else None

    @cached_property
    def _needed(self) -> dict[Lobe, BaseGeometry]:
        """The area beyond the seam that each side of a tab needs: the recess with its walls, at positive v."""
        far = self.tab.back + self.wall
        needed: dict[Lobe, BaseGeometry] = {
            "flush": shapely.box(_SLACK, _SLACK, far - _SLACK, self.tab.gap + self.wall - _SLACK)
        }
        quarter = shapely.box(_SLACK, _SLACK, 2.0 * far, 2.0 * far)
        for lobe in ("head", "plain"):
            recess = Polygon(self.tab.recess(lobe, lobe))
            needed[lobe] = recess.buffer(self.wall - _SLACK, join_style="mitre").intersection(quarter)
        return needed

    def _missing(self, node: Node, needed: BaseGeometry, *, along_y: bool) -> BaseGeometry:
        """Return the part of an area around a node, in its seam's axes, that is not solid."""
        if not along_y:
            needed = rotate(needed, 90.0, origin=(0.0, 0.0))
        needed = translate(needed, node.x * self.half, node.y * self.half)
        return shapely.difference(needed, self._solid(node))

    def _solid(self, node: Node) -> BaseGeometry:
        """Return the plate without sockets around a node."""
        at = (node.x, node.y)
        if at not in self._around:
            x, y = node.x * self.half, node.y * self.half
            reach = self.tab.back + 2.0 * self.wall + 1.0
            around = shapely.intersection(self.plate.area, shapely.box(x - reach, y - reach, x + reach, y + reach))
            near = self._sockets.geometries[self._sockets.query(around)]
            self._around[at] = shapely.difference(around, shapely.union_all(near))
        return self._around[at]

    @cached_property
    def _sockets(self) -> shapely.STRtree:
        """The openings of all sockets at their narrowest level."""
        return shapely.STRtree([self._socket(cell) for cell in self.cells])

    def _socket(self, cell: Cell) -> BaseGeometry:
        x, y, width, depth = (length * self.half for length in (cell.x, cell.y, cell.width, cell.depth))
        if (width, depth) not in self._openings:
            box = shapely.box(self.inset, self.inset, width - self.inset, depth - self.inset)
            core = box.buffer(-self.radius, join_style="mitre")
            rounded = core.buffer(self.radius * ARC_BULGE, quad_segs=16).intersection(box)
            self._openings[width, depth] = box if core.is_empty else rounded
        return translate(self._openings[width, depth], x, y)
