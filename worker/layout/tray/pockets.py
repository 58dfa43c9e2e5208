"""Pockets: recesses for items, in a tray whose floor is raised for the deepest of them."""

import itertools
from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import Pocket
from worker.layout.tray.interior import Room, on_grid
from worker.layout.tray.pocket_outline import NOTCH_REACHES, chamfer_of, notch, outline_of, recess, united
from worker.spec.drawer.pocket import Pocket as PocketSpec
from worker.spec.tolerances import LENGTH_EPSILON

#: Minimum distance in mm from the raised floor to the rim, so that a tray above does not press on items.
_UNDER_RIM: Final = 0.2


@dataclass(frozen=True, slots=True)
class _Placed:
    """A pocket with its area, including notches."""

    pocket: Pocket
    area: BaseGeometry


def tray_pockets(room: Room) -> tuple[float, tuple[Pocket, ...]]:
    """Return the z in mm of the raised floor, and the pockets in it.

    The floor is raised just enough to keep the tray's floor thickness under the deepest pocket.

    Raises:
        TrayError: if a pocket is too deep, lies outside the tray, meets another, or is combined with dividers, ramp,
            ledge or text on the floor.
    """
    tray = room.tray
    if not tray.pockets:
        return room.floor_top, ()
    _alone(room)
    highest = min(room.wall_top, room.ceiling) - _UNDER_RIM
    deepest = highest - room.floor_top
    for index, spec in enumerate(tray.pockets):
        if spec.depth > deepest + LENGTH_EPSILON:
            raise room.refusal(
                f"pocket {index + 1} is too deep.", "pockets", index, "depth",
                value=spec.depth, limit=f"at most {on_grid(deepest):g} mm", remedy="Make the tray higher.",
            )  # fmt: skip
    fill_top = on_grid(room.floor_top + max(spec.depth for spec in tray.pockets))
    placed: list[_Placed] = []
    for index, spec in enumerate(tray.pockets):
        cut = _place(room, index, spec, fill_top)
        _keep_apart(room, index, cut, placed)
        placed.append(cut)
    return fill_top, tuple(cut.pocket for cut in placed)


def _alone(room: Room) -> None:
    """Check that nothing else takes the raised floor."""
    tray = room.tray
    others = {
        "dividers": bool(tray.dividers),
        "compartments": tray.compartments is not None and max(tray.compartments) > 1,
        "finger_ramp": tray.finger_ramp is not None,
        "label_ledge": tray.label_ledge is not None,
    }
    for name, there in others.items():
        if there:
            raise room.refusal(
                f"its pockets leave no space for {name.replace('_', ' ')}.", name,
                limit="nothing beside pockets", remedy="Leave it out, or use two trays.",
            )  # fmt: skip


def _place(room: Room, index: int, spec: PocketSpec, fill_top: float) -> _Placed:
    """Return one pocket with its outline and notch, checked to lie inside the tray."""
    item = recess(spec, (room.wall, room.wall))
    if not isinstance(item, Polygon) or item.interiors:
        raise room.refusal(
            f"pocket {index + 1} overlaps itself when its clearance is added.", "pockets", index,
            value=spec.clearance, limit="one outline without holes",
            remedy="Close the gap in the outline, or reduce the clearance.",
        )  # fmt: skip
    inside = _inside(room)
    if not inside.covers(item):
        left, front, right, back = (on_grid(bound - room.wall) for bound in item.bounds)
        raise room.refusal(
            f"pocket {index + 1} does not lie inside the tray.", "pockets", index,
            value=[left, front, right, back],
            limit=f"{room.lines:g} mm or more inside {room.inner[0]:g} x {room.inner[1]:g} mm, corners rounded",
            remedy="Move it, or use a larger tray. The value is its box with clearance: left, front, right, back.",
        )  # fmt: skip
    bare = Pocket(outline_of(item), on_grid(fill_top - spec.depth), 0.0)
    pocket = bare if spec.notch is None else replace(bare, notches=(_notch(room, index, item, spec.notch.width),))
    area = united(pocket)
    return _Placed(replace(pocket, chamfer=chamfer_of(outline_of(area), spec.depth)), area)


def _notch(room: Room, index: int, item: BaseGeometry, width: float) -> tuple[tuple[float, float], ...]:
    """Return the ring of a finger notch: across the item's shorter side if it fits, otherwise along it."""
    left, front, right, back = item.bounds
    shorter = 0 if right - left <= back - front else 1
    inside = _inside(room)
    for along, reach in itertools.product((shorter, 1 - shorter), NOTCH_REACHES):
        bay = notch(item, width, reach, along=along)
        both = shapely.union_all([item, bay])
        if inside.covers(bay) and isinstance(both, Polygon) and not both.interiors:
            return outline_of(bay)
    raise room.refusal(
        f"the finger notch of pocket {index + 1} does not fit.", "pockets", index, "notch", "width",
        value=width, limit=f"{NOTCH_REACHES[-1]:g} mm free on two opposite sides of the pocket",
        remedy="Move the pocket, or make the notch narrower, or leave it out.",
    )  # fmt: skip


def _inside(room: Room) -> Polygon:
    """Return the area for pockets: two lines from the walls, so that no faces are coplanar."""
    margin = room.wall + room.lines - LENGTH_EPSILON
    corner = min(max(room.corner - room.lines, 0.0), 0.9 * (min(room.inner) / 2.0 - room.lines))
    box = shapely.box(
        margin + corner, margin + corner, room.outer[0] - margin - corner, room.outer[1] - margin - corner
    )
    # the chords of the corners lie inside the arcs
    return box.buffer(corner, quad_segs=16) if corner > 0.0 else box


def _keep_apart(room: Room, index: int, cut: _Placed, others: list[_Placed]) -> None:
    """Check that two lines of wall are left between a pocket and every other one, beside their chamfers."""
    for beside, other in enumerate(others):
        needed = room.lines + cut.pocket.chamfer + other.pocket.chamfer
        between = cut.area.distance(other.area)
        if between < needed - LENGTH_EPSILON:
            what = "overlaps" if between == 0.0 else "stands too near"
            raise room.refusal(
                f"pocket {index + 1} {what} pocket {beside + 1}.", "pockets", index,
                value=on_grid(between), limit=f"at least {on_grid(needed):g} mm between them, notches included",
                remedy="Move one of them.",
            )  # fmt: skip
