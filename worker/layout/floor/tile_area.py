"""Tile areas: what is left of the plate where seams cut a tile off, without tabs and recesses."""

from collections.abc import Sequence

import shapely
from shapely.affinity import translate
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.border import Area, cell_area, joined, opened, overlap, polygons
from worker.layout.floor.nodes import Node
from worker.layout.floor.patches import Key, Patches
from worker.layout.floor.tile_keys import Rect, Tile, TileKeys
from worker.layout.model.plan import Cell
from worker.layout.model.shapes import Point
from worker.spec.tolerances import LENGTH_EPSILON


class TileAreas:
    """The areas of the tiles of one plate, in mm from the lattice's origin."""

    def __init__(self, patches: Patches, cells: Sequence[Cell], usable: Area, least: float, gap: float) -> None:
        """Collect what all tiles have in common.

        Args:
            patches: of the plate.
            cells: cells of the lattice.
            usable: usable area of the drawer, in mm from the lattice's origin.
            least: minimum width of a border strip, mm.
            gap: gap between two tiles, mm.
        """
        self.usable, self.least, self.gap = usable, least, gap
        self._patches, self._keys, self._half = patches, TileKeys(patches), patches.pitch / 2.0
        self._cells_of: dict[int, list[Cell]] = {}
        for cell in cells:
            self._cells_of.setdefault(patches.owner[cell], []).append(cell)
        self._left: dict[Key, BaseGeometry] = {}

    def cells(self, patches: Sequence[int]) -> list[Cell]:
        """Return the cells of these patches."""
        return [cell for patch in patches for cell in self._cells_of.get(patch, ())]

    def corner(self, patches: Sequence[int]) -> Point:
        """Return the front left corner of the first square of these patches."""
        column = min(self._patches.patches[p].column for p in patches)
        row = min(self._patches.patches[p].row for p in patches)
        first, pitch = self._patches.first, self._patches.pitch
        return (column - 1 + first[0]) * pitch, (row - 1 + first[1]) * pitch

    def cut(self, rect: Rect, patches: Sequence[int]) -> BaseGeometry:
        """Return the plate of these patches of a rectangle of squares, cut back at its seams."""
        i0, i1, j0, j1 = rect
        back, line = self.gap / 2.0, self._patches.line
        box = shapely.box(line(i0, 0) + back, line(j0, 1) + back, line(i1, 0) - back, line(j1, 1) - back)
        if self.plain(patches):
            return shapely.intersection(cell_area(self.cells(patches), self._half), box)
        whole = shapely.union_all([self._patches.shape(p) for p in patches], grid_size=LENGTH_EPSILON)
        return MultiPolygon(polygons(shapely.intersection(whole, box)))

    def left(self, rect: Rect, patches: tuple[int, ...]) -> BaseGeometry:
        """Return what is left of the cut plate: border that its cells no longer hold goes."""
        key, (x, y) = self._keys.key(Tile(rect, patches)), self.corner(patches)
        if key not in self._left:
            area = self.cut(rect, patches)
            if not self.plain(patches):
                own = overlap(cell_area(self.cells(patches), self._half), area)
                border = opened(shapely.difference(area, own, grid_size=LENGTH_EPSILON), self.least / 2.0)
                area, _ = joined(own, border, self.usable, self.least, self.gap)
            self._left[key] = translate(area, -x, -y)
        return translate(self._left[key], x, y)

    def reaches(self, rect: Rect, patches: tuple[int, ...], node: Node, distance: float) -> bool:
        """Return whether what is left of a tile comes this near, in mm, to a node of its seams."""
        at = shapely.Point(node.x * self._half, node.y * self._half)
        return bool(self.left(rect, patches).dwithin(at, distance))

    def plain(self, patches: Sequence[int]) -> bool:
        """Return whether patches are whole cells only."""
        return all(self._patches.shapes[p] is None for p in patches)
