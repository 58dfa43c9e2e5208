"""The floor builder: cuts a floor into tiles that fit the bed, with border, windows and seams.

Geometry is computed in the lattice's frame (origin at the corner of the first cell) and then in each tile's own frame,
so that identical tiles have identical numbers wherever they lie.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias, cast

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Polygon

from worker.layout.floor.border import (
    Area,
    as_ring,
    cell_area,
    joined,
    least_width,
    opened,
    plate_of,
    polygons,
    tidy,
    windows,
)
from worker.layout.floor.plate_graph import BACK, FRONT, LEFT, RIGHT, Board, Key, Seam, Tile
from worker.layout.floor.print_bed import Bed
from worker.layout.floor.seams import KEY_DROP, Points, Tab, fit_tab, narrowest
from worker.layout.floor.tile_mark import mark_lettering
from worker.layout.floor.tile_split import Partition, partition
from worker.layout.model.plan import Cell, Lattice, PlanWarning, SeamPair
from worker.layout.model.shapes import KeyShape, Point, Socket, TileShape
from worker.spec.drawer.joint import CORNER_RADIUS, Joint
from worker.spec.errors import LayoutError
from worker.spec.printer.printer import Printer
from worker.spec.tolerances import COORDINATE_GRID, LENGTH_EPSILON, LINES_IN_A_WALL

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["Floor", "TilePiece", "mark_lettering", "tile_floor"]

SeamStyle: TypeAlias = Literal["dovetail", "key", "plain"]
Turn: TypeAlias = Literal[0, 90, 180, 270]
Micro: TypeAlias = tuple[tuple[int, int], ...]
#: Outline, holes and sockets (x, y, width, depth) in micrometres.
Figure: TypeAlias = tuple[Micro, tuple[Micro, ...], tuple[tuple[int, int, int, int], ...]]

#: Offset that makes half a micrometre round up regardless of the rounding error of a sum.
_BIAS: Final = 1e-9


@dataclass(frozen=True, slots=True)
class TilePiece:
    """Shape of a tile and its position: rotated by ``turn`` degrees, then its minimum corner moved to ``at`` (mm)."""

    shape: TileShape
    at: Point
    turn: Turn


@dataclass(frozen=True, slots=True)
class Floor:
    """All tiles of a drawer; ``key_places`` holds ``(x, y, turn)`` of each loose key: minimum corner (mm), turn."""

    pieces: tuple[TilePiece, ...]
    seams: tuple[SeamPair, ...]
    key: KeyShape | None
    key_places: tuple[tuple[float, float, Turn], ...]
    warnings: tuple[PlanWarning, ...]


def tile_floor(
    usable: Area, lattice: Lattice, *, joint: Joint, seam: SeamStyle, seam_gap: float, printer: Printer
) -> Floor:
    """Return the floor of a drawer, cut into tiles.

    The cut has the fewest pieces that fit the bed, then the fewest different shapes, then the most staggered seams.

    Args:
        usable: usable area in the drawer's frame, mm.
        lattice: the cells.
        joint: joint of floor and trays.
        seam: how tiles join.
        seam_gap: gap between two tiles, mm.
        printer: bed, margin, forbidden rectangles and line width.

    Raises:
        LayoutError: if a single cell does not fit the bed, or the gap leaves a wall that is too thin.
    """
    if not lattice.cells:
        return Floor((), (), None, (), ())
    return _Tiling(usable, lattice, joint, seam, seam_gap, printer).floor()


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A shape in its canonical rotation, its position from the tile's corner, and the rotation that restores it."""

    shape: TileShape
    at: Point
    turn: Turn
    outline: Polygon


class _Tiling:
    def __init__(  # noqa: PLR0917 - one caller, same names
        self, usable: Area, lattice: Lattice, joint: Joint, style: SeamStyle, gap: float, printer: Printer
    ) -> None:
        self.lattice, self.joint, self.style, self.printer = lattice, joint, style, printer
        self.half = lattice.pitch / 2.0
        self.inset = narrowest(joint)
        self.least = least_width(printer.line_width)
        self.tab: Tab | None = None if style == "plain" else fit_tab(joint, gap, loose=style == "key")
        reach = self.tab.reach if self.tab is not None and style == "dovetail" else 0.0
        self.seam = Seam(gap, self.tab is not None, style == "key", reach)
        x, y = lattice.origin
        self.usable = translate(usable, -x, -y)
        plate = plate_of(self.usable, lattice.cells, self.half, self.least, gap)
        self.board = Board(plate, lattice.cells, lattice.pitch, Bed.of_printer(printer), self.seam)
        self.cells_of: dict[int, list[Cell]] = {}
        for cell in lattice.cells:
            self.cells_of.setdefault(self.board.owner[cell], []).append(cell)
        self._drawn: dict[Key, list[_Drawn]] = {}

    def floor(self) -> Floor:
        """Return the floor."""
        cut = partition(self.board)
        if cut is None:
            raise self._too_small()
        pieces: list[TilePiece] = []
        outlines: list[Polygon] = []
        first: list[list[int]] = []
        for tile in cut.tiles:
            corner = self._corner(tile)
            key = self.board.key(tile)
            if key not in self._drawn:
                self._drawn[key] = self._draw(tile, corner)
            first.append([len(pieces) + step for step in range(len(self._drawn[key]))])
            for drawn in self._drawn[key]:
                x, y = (round(self.lattice.origin[a] + corner[a] + drawn.at[a], 6) for a in (0, 1))
                pieces.append(TilePiece(drawn.shape, (x, y), drawn.turn))
                outlines.append(translate(drawn.outline, *corner))
        seams = self._seams([(a, b) for i, j in cut.pairs for a in first[i] for b in first[j]], outlines)
        key_shape, places = self._keys(cut)
        return Floor(tuple(pieces), seams, key_shape, places, tuple(self._warnings(cut)))

    def _seams(self, pairs: list[tuple[int, int]], outlines: list[Polygon]) -> tuple[SeamPair, ...]:
        """Return the pairs of tiles that meet; a tile may have lost the border at which it would have met another."""
        if not pairs:
            return ()
        self._check_wall()
        first, second = (np.array([outlines[pair[end]] for pair in pairs], dtype=object) for end in (0, 1))
        meet = shapely.distance(first, second) <= self.seam.gap + COORDINATE_GRID
        return tuple(SeamPair(a, b, self.seam.gap) for (a, b), near in zip(pairs, meet, strict=True) if near)

    def _corner(self, tile: Tile) -> Point:
        """Return the front left corner of a tile's first square, in mm from the lattice's origin."""
        column = min(self.board.patches[p].column for p in tile.patches)
        row = min(self.board.patches[p].row for p in tile.patches)
        first, pitch = self.board.first, self.lattice.pitch
        return (column - 1 + first[0]) * pitch, (row - 1 + first[1]) * pitch

    def _draw(self, tile: Tile, corner: Point) -> list[_Drawn]:
        """Return the pieces of a tile: one, unless a cut through the border disconnects its cells."""
        cells = [cell for p in tile.patches for cell in self.cells_of.get(p, ())]
        drawn = []
        for polygon in self._area(tile, cells):
            polygon = self._with_tabs(polygon, tile)  # noqa: PLW2901 - the same plate, further on
            own = [c for c in cells if polygon.contains(self._middle(c))]
            outline = translate(polygon, -corner[0], -corner[1])
            figure, at, turn = _canonical(_figure(outline, self._sockets(own, corner)))
            drawn.append(_Drawn(self._shape(figure), (at[0] / 1000.0, at[1] / 1000.0), turn, outline))
        return drawn

    def _middle(self, cell: Cell) -> shapely.Point:
        return shapely.Point((cell.x + cell.width / 2.0) * self.half, (cell.y + cell.depth / 2.0) * self.half)

    def _sockets(self, cells: Sequence[Cell], corner: Point) -> tuple[tuple[int, int, int, int], ...]:
        rounded = []
        for cell in cells:
            x0, x1 = (_micro(x * self.half - corner[0]) for x in (cell.x, cell.x + cell.width))
            y0, y1 = (_micro(y * self.half - corner[1]) for y in (cell.y, cell.y + cell.depth))
            rounded.append((x0, y0, x1 - x0, y1 - y0))
        return tuple(sorted(rounded))

    def _area(self, tile: Tile, cells: Sequence[Cell]) -> list[Polygon]:
        """Return the area of a tile in the lattice's frame, cut back at its seams, without tabs and recesses."""
        i0, i1, j0, j1 = tile.rect
        back = self.seam.gap / 2.0
        line = self.board.line
        box = shapely.box(line(i0, 0) + back, line(j0, 1) + back, line(i1, 0) - back, line(j1, 1) - back)
        if all(self.board.shapes[p] is None for p in tile.patches):
            return polygons(shapely.intersection(cell_area(cells, self.half), box))
        whole = shapely.union_all([self.board.shape(p) for p in tile.patches], grid_size=LENGTH_EPSILON)
        whole = MultiPolygon(polygons(shapely.intersection(whole, box)))
        own = shapely.intersection(cell_area(cells, self.half), whole, grid_size=LENGTH_EPSILON)
        border = opened(shapely.difference(whole, own, grid_size=LENGTH_EPSILON), self.least / 2.0)
        return polygons(joined(own, border, self.usable, self.least, self.seam.gap)[0])

    def _with_tabs(self, polygon: Polygon, tile: Tile) -> Polygon:
        """Return the plate with its tabs and recesses."""
        tab = self.tab
        if tab is None or not any(tile.nodes):
            return polygon
        added, cut = [], []
        for side, turn in ((RIGHT, 0), (BACK, 90), (LEFT, 0), (FRONT, 90)):
            for x, y in tile.nodes[side]:
                at = (x * self.half, y * self.half)
                if side in (LEFT, FRONT):
                    cut.append(_placed(tab.recess(), at, turn))
                elif self.style == "key":
                    cut.append(_placed(tab.recess(), at, turn + 180))
                else:
                    added.append(_placed(tab.male(), at, turn))
        whole: BaseGeometry = shapely.union_all([polygon, *added])
        if cut:
            whole = shapely.difference(whole, shapely.union_all(cut))
        return max(polygons(whole), key=lambda polygon: polygon.area)

    def _shape(self, figure: Figure) -> TileShape:
        outline, holes, sockets = as_ring(figure[0]), tuple(as_ring(ring) for ring in figure[1]), figure[2]
        own = tuple(Socket(*(length / 1000.0 for length in socket)) for socket in sockets)
        cut = windows(outline, holes, own, self.lattice.pitch, self.inset, self.printer.line_width)
        return TileShape(
            outline=outline,
            windows=tuple(sorted((*holes, *cut))),
            sockets=own,
            levels=self.joint.socket_levels(),
            corner_radius=CORNER_RADIUS,
            height=self.joint.height,
        )

    def _keys(self, cut: Partition) -> tuple[KeyShape | None, tuple[tuple[float, float, Turn], ...]]:
        tab = self.tab
        if tab is None or self.style != "key" or not cut.places:
            return None, ()
        key = tab.key(round(self.joint.height - KEY_DROP, 6))
        reach, head = (max(x for x, _ in key.outline) / 2.0, max(y for _, y in key.outline) / 2.0)
        places: list[tuple[float, float, Turn]] = []
        for node_x, node_y, along_y in cut.places:
            x = self.lattice.origin[0] + node_x * self.half
            y = self.lattice.origin[1] + node_y * self.half
            across, deep = (reach, head) if along_y else (head, reach)
            places.append((round(x - across, 6), round(y - deep, 6), 0 if along_y else 90))
        return key, tuple(sorted(places))

    def _warnings(self, cut: Partition) -> list[PlanWarning]:
        warnings = []
        if self.style != "plain" and self.tab is None and len(cut.tiles) > 1:
            warnings.append(
                PlanWarning(
                    "/grid/seam",
                    f"No {self.style} fits between the sockets with walls of two lines, so the seams are plain.",
                )
            )
        if any(patch not in cut.tile_of for patch in range(len(self.board.patches))):
            warnings.append(
                PlanWarning("/printer/bed", "Some of the border is left out, as its tile would not fit the bed.")
            )
        return warnings

    def _check_wall(self) -> None:
        wall = LINES_IN_A_WALL * self.printer.line_width
        most = 2.0 * (self.inset - wall)
        if self.seam.gap > most + LENGTH_EPSILON:
            raise LayoutError(
                "The gap between tiles leaves a wall thinner than two lines beside the sockets.",
                pointer="/grid/seam_gap", value=self.seam.gap, limit=f"at most {most:.3f} mm",
                remedy="Use a smaller gap, or a joint with a wider land.",
            )  # fmt: skip

    def _too_small(self) -> LayoutError:
        pitch = self.lattice.pitch
        return LayoutError(
            "No cell fits on the printer's bed.",
            pointer="/printer/bed",
            value=[self.printer.bed[0], self.printer.bed[1]],
            limit=f"a free square of {pitch:g} x {pitch:g} mm inside the margin of {self.printer.margin:g} mm",
            remedy="Use a smaller pitch or margin, or a printer with a larger bed.",
        )


def _placed(points: Points, at: Point, turn: int) -> Polygon:
    """Return the points as a polygon, rotated about 0, 0 and then translated."""
    x, y = at
    turned = {
        0: [(px, py) for px, py in points],
        90: [(-py, px) for px, py in points],
        180: [(-px, -py) for px, py in points],
        270: [(py, -px) for px, py in points],
    }[turn]
    return Polygon([(px + x, py + y) for px, py in turned])


def _micro(length: float) -> int:
    """Return a length in mm as whole micrometres, with halves rounded up."""
    return round((length + _BIAS) / COORDINATE_GRID)


def _figure(polygon: Polygon, sockets: tuple[tuple[int, int, int, int], ...]) -> Figure:
    """Return a polygon on the coordinate grid, with its sockets."""
    snapped = shapely.set_precision(translate(polygon, _BIAS, _BIAS), COORDINATE_GRID)
    whole = max(polygons(snapped), key=lambda polygon: polygon.area)
    rings = [whole.exterior, *whole.interiors]
    outline, *holes = (tidy([(_micro(x), _micro(y)) for x, y in ring.coords[:-1]]) for ring in rings)
    return tuple(outline), tuple(sorted(tuple(hole) for hole in holes)), sockets


def _canonical(figure: Figure) -> tuple[Figure, tuple[int, int], Turn]:
    """Return the minimum of a figure's four rotations at 0, 0, its former corner, and the inverse rotation."""
    at = min(x for x, _ in figure[0]), min(y for _, y in figure[0])
    turned = figure
    options: list[tuple[Figure, int]] = []
    for step in range(4):
        options.append((_moved(turned), (360 - 90 * step) % 360))
        turned = _quarter(turned)
    best, back = min(options)
    return best, at, cast("Turn", back)


def _moved(figure: Figure) -> Figure:
    """Return the figure with the minimum corner of its bounding box at 0, 0."""
    outline, holes, sockets = figure
    dx, dy = min(x for x, _ in outline), min(y for _, y in outline)
    return (
        tuple((x - dx, y - dy) for x, y in outline),
        tuple(tuple((x - dx, y - dy) for x, y in hole) for hole in holes),
        tuple((x - dx, y - dy, w, d) for x, y, w, d in sockets),
    )


def _quarter(figure: Figure) -> Figure:
    """Return the figure rotated by 90 degrees counter-clockwise about 0, 0."""
    outline, holes, sockets = figure
    return (
        _turned(outline),
        tuple(sorted(_turned(hole) for hole in holes)),
        tuple(sorted((-y - d, x, d, w) for x, y, w, d in sockets)),
    )


def _turned(ring: Micro) -> Micro:
    """Return a ring rotated by 90 degrees, starting at its minimum point."""
    points = [(-y, x) for x, y in ring]
    start = points.index(min(points))
    return tuple(points[start:] + points[:start])
