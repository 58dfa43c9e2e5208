"""Drawing of tiles: from the patches of a tile to its shape, with border, tabs, recesses and windows.

Geometry is computed in the lattice's frame (origin at the corner of the first cell) and then in each tile's own frame,
so that identical tiles have identical numbers wherever they lie.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.border import as_ring, overlap, polygons, windows
from worker.layout.floor.seams import narrowest
from worker.layout.floor.tab import Points, Tab
from worker.layout.floor.tile_area import TileAreas
from worker.layout.floor.tile_figure import Figure, Turn, canonical, figure_of, micro
from worker.layout.floor.tile_keys import Tile
from worker.layout.model.plan import Cell
from worker.layout.model.shapes import Point, Socket, TileShape
from worker.spec.drawer.joint import CORNER_RADIUS, Joint
from worker.spec.tolerances import LINES_IN_A_WALL

#: Rotations of a tab from its own axes to each side of a tile: front, right, back, left.
_OUTWARDS = (270, 0, 90, 180)

#: Area in mm2 that is rounding, not a part of a wall.
_SCRAP: Final = 1e-4


@dataclass(frozen=True, slots=True)
class DrawnTile:
    """A shape in its canonical rotation, its position from the tile's corner, and the rotation that restores it."""

    shape: TileShape
    at: Point
    turn: Turn
    outline: Polygon


class TileDrawing:
    """Draws the tiles of one floor."""

    def __init__(self, areas: TileAreas, pitch: float, joint: Joint, tab: Tab | None, line_width: float) -> None:
        """Collect what all tiles have in common.

        Args:
            areas: of the tiles.
            pitch: side of a cell, mm.
            joint: joint of floor and trays.
            tab: the tab; None for plain seams.
            line_width: width of a printed line, mm.
        """
        self.areas, self.pitch, self.joint, self.tab = areas, pitch, joint, tab
        self.line_width, self.inset, self.half = line_width, narrowest(joint), pitch / 2.0

    def draw(self, tile: Tile, corner: Point) -> list[DrawnTile]:
        """Return the pieces of a tile: one, unless a cut through the border disconnects its cells."""
        cells = self.areas.cells(tile.patches)
        drawn = []
        for polygon in self._area(tile):
            polygon = self._with_tabs(polygon, tile)  # noqa: PLW2901 - the same plate, further on
            own = [c for c in cells if polygon.contains(self._middle(c))]
            outline = translate(polygon, -corner[0], -corner[1])
            figure, at, turn = canonical(figure_of(outline, self._sockets(own, corner)))
            drawn.append(DrawnTile(self._shape(figure), (at[0] / 1000.0, at[1] / 1000.0), turn, outline))
        return drawn

    def _middle(self, cell: Cell) -> shapely.Point:
        return shapely.Point((cell.x + cell.width / 2.0) * self.half, (cell.y + cell.depth / 2.0) * self.half)

    def _sockets(self, cells: Sequence[Cell], corner: Point) -> tuple[tuple[int, int, int, int], ...]:
        rounded = []
        for cell in cells:
            x0, x1 = (micro(x * self.half - corner[0]) for x in (cell.x, cell.x + cell.width))
            y0, y1 = (micro(y * self.half - corner[1]) for y in (cell.y, cell.y + cell.depth))
            rounded.append((x0, y0, x1 - x0, y1 - y0))
        return tuple(sorted(rounded))

    def _area(self, tile: Tile) -> list[Polygon]:
        """Return the area of a tile in the lattice's frame, cut back at its seams, without tabs and recesses."""
        area = self.areas.left(tile.rect, tile.patches)
        return polygons(shapely.union_all([area, *self._walls_of_recesses(tile, area)]))

    def _walls_of_recesses(self, tile: Tile, area: BaseGeometry) -> Iterator[BaseGeometry]:
        """Yield what a tile's area lacks of the walls around its recesses, where its border ends beside one."""
        if self.tab is None or self.areas.plain(tile.patches):
            return
        wall, whole = LINES_IN_A_WALL * self.line_width, self.areas.cut(tile.rect, tile.patches)
        for recess in self._recesses(self.tab, tile):
            around = overlap(recess.buffer(wall, join_style="mitre"), whole)
            if around.difference(area).area > _SCRAP:
                yield around

    def _recesses(self, tab: Tab, tile: Tile) -> list[Polygon]:
        """Return a tile's recesses; each opens towards the other tile, so it is seen from there."""
        return [
            placed(tab.recess(shape.high, shape.low), (x * self.half, y * self.half), (turn + 180) % 360)
            for turn, tabs in zip(_OUTWARDS, tile.tabs, strict=True)
            for x, y, shape in tabs
            if not shape.male
        ]

    def _with_tabs(self, polygon: Polygon, tile: Tile) -> Polygon:
        """Return the plate with its tabs and recesses."""
        tab = self.tab
        if tab is None or not any(tile.tabs):
            return polygon
        added = [
            placed(tab.male(shape.low, shape.high, shape.half), (x * self.half, y * self.half), turn)
            for turn, tabs in zip(_OUTWARDS, tile.tabs, strict=True)
            for x, y, shape in tabs
            if shape.male
        ]
        cut = self._recesses(tab, tile)
        whole: BaseGeometry = shapely.union_all([polygon, *added])
        if cut:
            whole = shapely.difference(whole, shapely.union_all(cut))
        return max(polygons(whole), key=lambda part: part.intersection(polygon).area)

    def _shape(self, figure: Figure) -> TileShape:
        outline, holes, sockets = as_ring(figure[0]), tuple(as_ring(ring) for ring in figure[1]), figure[2]
        own = tuple(Socket(*(length / 1000.0 for length in socket)) for socket in sockets)
        cut = windows(outline, holes, own, self.pitch, self.inset, self.line_width)
        return TileShape(
            outline=outline,
            windows=tuple(sorted((*holes, *cut))),
            sockets=own,
            levels=self.joint.socket_levels(),
            corner_radius=CORNER_RADIUS,
            height=self.joint.height,
        )


def placed(points: Points, at: Point, turn: int) -> Polygon:
    """Return the points as a polygon, rotated about 0, 0 by a multiple of 90 degrees and then translated."""
    x, y = at
    turned = {
        0: [(px, py) for px, py in points],
        90: [(-py, px) for px, py in points],
        180: [(-px, -py) for px, py in points],
        270: [(py, -px) for px, py in points],
    }[turn]
    return Polygon([(px + x, py + y) for px, py in turned])
