"""Bounding boxes of parts in their places, and of whole trays with all their pieces."""

from collections.abc import Mapping
from typing import TypeAlias

from worker.layout.model.plan import DrawerPlan
from worker.layout.model.shapes import Placement
from worker.solids.mesh import Mesh

__all__ = ["Box", "mesh_size", "placed_box", "tray_box"]

#: Least x, y, z, greatest x, y, z, in mm.
Box: TypeAlias = tuple[float, float, float, float, float, float]


def mesh_size(mesh: Mesh) -> tuple[float, float, float]:
    """Return the width, depth and height of a mesh, mm."""
    low, high = mesh.bounds
    width, depth, height = (high - low).tolist()
    return width, depth, height


def placed_box(place: Placement, size: tuple[float, float, float]) -> Box:
    """Return the bounding box of a part of this size in its place."""
    width, depth, height = size
    if place.turn in {90, 270}:
        width, depth = depth, width
    x, y, z = place.at
    return x, y, z, x + width, y + depth, z + height


def tray_box(drawer: DrawerPlan, placement: int, sizes: Mapping[str, tuple[float, float, float]]) -> Box:
    """Return the bounding box of the tray that a placement belongs to, with all its pieces.

    Args:
        drawer: as laid out.
        placement: index of the tray's placement, or of a piece's.
        sizes: those of parts by mark, mm.
    """
    places = [drawer.placements[index] for index in drawer.pieces_of(placement)]
    x0, y0, z0, x1, y1, z1 = zip(*(placed_box(place, sizes[place.mark]) for place in places), strict=True)
    return min(x0), min(y0), min(z0), max(x1), max(y1), max(z1)
