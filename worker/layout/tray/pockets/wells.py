"""Wells: the space between pockets where each has a wall of its own, instead of standing in a solid raised floor.

A well is open at the top, from the tray's floor up, so it prints without bridges and holds no trapped air. Closed
hollows below a level floor were tried and given up: their ceiling, floor and ribs take 2 to 10 % more filament than
the sparse infill that every slicer puts there, and a third more time; wells take 17 to 24 % less (estimates of five
trays of 83 x 251 mm and less, 3 lines in a wall, 15 % infill).
"""

from typing import Final

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import Pocket, Well
from worker.layout.tray.interior import Room, on_grid
from worker.layout.tray.pockets.pocket_outline import clean, outline_of, pocket_ring
from worker.layout.tray.volume_estimate import foot_volume, shell_volume
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.pocket import NestedPocket

__all__ = ["SAVED_SHARE", "filling_volume", "tray_wells"]

#: Share of a tray's plastic that wells must save, unless they are asked for.
SAVED_SHARE: Final = 1.0 / 3.0

#: Radius of a well's corners in mm, so no well is narrower than twice this: a finger or a brush cleans it (own choice).
_RADIUS: Final = 4.0

#: Smallest well in mm2: what a fingertip covers (own choice).
_LEAST_AREA: Final = 120.0

#: Distance in mm between a well and the tray's wall, which is that much thicker beside it: no two faces are coplanar.
_STEP: Final = 0.05

#: What is smaller in mm2 is a rounding of arcs, not a web between wells.
_SPECK: Final = 0.02

_FACETS: Final = 8
_SIMPLIFY: Final = 0.005


def tray_wells(
    room: Room, pockets: tuple[Pocket, ...], fill_top: float, *, joint: Joint, pitch: float, half_feet: bool
) -> tuple[Well, ...]:
    """Return the wells of a tray with pockets, front to back, or none where the raised floor is solid.

    Args:
        room: the tray's interior.
        pockets: all of its pockets.
        fill_top: z of the raised floor, mm.
        joint: joint of the grid.
        pitch: side of a cell, mm.
        half_feet: whether the tray stands on half feet.
    """
    filling = room.tray.filling
    if not pockets or filling == "solid":
        return ()
    if any(isinstance(spec, NestedPocket) and spec.engraved for spec in room.tray.pockets):
        return ()  # things lie on the raised floor, within their outlines
    areas = [Polygon(pocket_ring(pocket)) for pocket in pockets]
    wells = _between(room, areas, max(pocket.chamfer for pocket in pockets))
    saved = sum(well.area for well in wells) * (fill_top - room.floor_top)
    if filling is None:
        solid = _plain_volume(room, joint, pitch, half_feet=half_feet)
        solid += filling_volume(room, pockets, (), fill_top)
        if saved <= SAVED_SHARE * solid:
            return ()
    return tuple(Well(outline_of(well), tuple(outline_of(Polygon(hole)) for hole in well.interiors)) for well in wells)


def filling_volume(room: Room, pockets: tuple[Pocket, ...], wells: tuple[Well, ...], fill_top: float) -> float:
    """Return the volume in mm3 of what stands on a tray's floor around its pockets.

    Args:
        room: the tray's interior.
        pockets: all of its pockets.
        wells: all of its wells.
        fill_top: z of the raised floor, mm.
    """
    air = sum(Polygon(pocket_ring(pocket)).area * (fill_top - pocket.bottom) for pocket in pockets)
    air += sum(Polygon(well.outline, well.holes).area for well in wells) * (fill_top - room.floor_top)
    return room.inner[0] * room.inner[1] * (fill_top - room.floor_top) - air


def _plain_volume(room: Room, joint: Joint, pitch: float, *, half_feet: bool) -> float:
    """Return the volume in mm3 of the same tray without a raised floor."""
    tray = room.tray
    sides = (tray.cells[0] * pitch, tray.cells[1] * pitch)
    foot = pitch / 2.0 if half_feet else pitch
    feet = round(sides[0] / foot) * round(sides[1] / foot) * foot_volume(joint, foot)
    return feet + shell_volume(joint, sides, tray.height, tray.rim, wall=tray.wall, floor=tray.floor)


def _between(room: Room, areas: list[Polygon], chamfer: float) -> list[Polygon]:
    """Return the wells as polygons: the tray's inside less the pockets and their walls, opened by a disc."""
    thickness = on_grid(max(room.wall, room.lines + chamfer))
    walls = shapely.union_all(areas).buffer(thickness, quad_segs=2 * _FACETS)
    free = _inside(room).difference(walls)
    wells = [_clean(part) for part in _polygons(_apart(_opened(free), thickness))]
    return sorted(
        (well for well in wells if well.area >= _LEAST_AREA), key=lambda well: (well.bounds[1], well.bounds[0])
    )


def _opened(area: BaseGeometry) -> BaseGeometry:
    """Return an area without what a disc of a well's radius does not reach."""
    reached = area.buffer(-_RADIUS, quad_segs=_FACETS).buffer(_RADIUS, quad_segs=_FACETS)
    return reached if reached.is_empty else reached.intersection(area)  # GEOS fails on nothing and a few lines


def _apart(wells: BaseGeometry, thickness: float) -> BaseGeometry:
    """Return wells without the ends between which there would be less than a wall's thickness, mm."""
    while True:
        closed = wells.buffer(thickness / 2.0, quad_segs=_FACETS).buffer(-thickness / 2.0, quad_segs=_FACETS)
        thin = [part for part in _polygons(closed.difference(wells)) if part.area > _SPECK]
        if not thin:
            return wells
        wells = _opened(wells.difference(shapely.union_all(thin).buffer(thickness)))


def _inside(room: Room) -> BaseGeometry:
    """Return the tray's inside, a step off its walls."""
    margin, radius = room.wall + _STEP, max(room.corner - _STEP, 0.0)
    low, (right, back) = margin + radius, (side - margin - radius for side in room.outer)
    box = shapely.box(low, low, right, back)
    return box.buffer(radius, quad_segs=_FACETS) if radius else box


def _polygons(area: BaseGeometry) -> list[Polygon]:
    parts = area.geoms if isinstance(area, MultiPolygon) else (area,)
    return [part for part in parts if isinstance(part, Polygon) and not part.is_empty]


def _clean(area: Polygon) -> Polygon:
    """Return a well on the coordinate grid, without points that the arcs do not need."""
    cleaned = clean(area.simplify(_SIMPLIFY))
    assert isinstance(cleaned, Polygon)  # noqa: S101 - a well is 8 mm wide everywhere, so the grid does not part it
    return cleaned
