"""Pockets: recesses for items, in a tray whose floor is raised for the deepest of them."""

import itertools
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, TypeAlias

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import Lettering, Pocket, Point
from worker.layout.tray.font import least_cap
from worker.layout.tray.grip import Grip, finger_slot
from worker.layout.tray.interior import LEAST_COVER, Room, on_grid
from worker.layout.tray.pockets.nested_pockets import nested_pockets
from worker.layout.tray.pockets.pocket_outline import (
    CHAMFERS,
    NOTCH_REACHES,
    chamfer_of,
    clean,
    notch,
    outline_of,
    recess,
    shorter_side,
    slot,
    united,
)
from worker.layout.tray.pockets.pocket_text import text_depth, text_in
from worker.layout.tray.text import LEAST_DEPTH, check_letters
from worker.spec.drawer.pocket import CirclePocket, NestedPocket, Notch, PolygonPocket, RectanglePocket
from worker.spec.tolerances import LENGTH_EPSILON

PlacedPocket: TypeAlias = CirclePocket | RectanglePocket | PolygonPocket

#: Minimum distance in mm from the raised floor to the rim, so that a tray above does not press on items.
_UNDER_RIM: Final = 0.2


@dataclass(frozen=True, slots=True)
class _Cut:
    """A pocket to be cut: its number, its item's outline with clearance, and its notch with the axis it runs along."""

    index: int
    spec: PlacedPocket
    item: Polygon
    notch: BaseGeometry | None
    along: int


@dataclass(frozen=True, slots=True)
class _Placed:
    """A recess, its area, and the numbers of the pockets in it."""

    pocket: Pocket
    area: BaseGeometry
    index: int


def tray_pockets(room: Room) -> tuple[float, tuple[Pocket, ...]]:
    """Return the z in mm of the raised floor, and the pockets in it.

    The floor is raised just enough to keep the tray's floor thickness under the deepest pocket. Pockets of one depth
    whose notches of one width meet share them: one slot runs across all of these items.

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
    fill_top = _fill_top(room)
    cuts = _cuts(room)
    placed: list[_Placed] = []
    for group in _groups(room, cuts):
        recessed = _recess(room, group, fill_top)
        _keep_apart(room, recessed, placed)
        placed.append(recessed)
    return fill_top, tuple(recessed.pocket for recessed in placed)


def pocket_letterings(room: Room) -> tuple[Lettering, ...]:
    """Return the texts at the bottoms of a tray's pockets.

    Raises:
        TrayError: if one does not fit its pocket, or the floor under it is too thin.
    """
    if not any(spec.text for spec in room.tray.pockets):
        return ()
    fill_top = _fill_top(room)
    made = []
    for cut in _cuts(room):
        if cut.spec.text is None:
            continue
        check_letters(room, cut.spec.text, "pockets", cut.index, "text")
        bottom = on_grid(fill_top - cut.spec.depth)
        if text_depth(room, bottom) < LEAST_DEPTH - LENGTH_EPSILON:
            raise room.refusal(
                f"its floor is too thin for text in pocket {cut.index + 1}.", "floor",
                value=room.tray.floor, limit=f"at least {on_grid(LEAST_COVER + LEAST_DEPTH):g} mm",
                remedy="Make the floor thicker, or leave the text out.",
            )  # fmt: skip
        lettering = text_in(room, cut.item, cut.spec.text, bottom)
        if lettering is None:
            raise room.refusal(
                f"the text of pocket {cut.index + 1} does not fit its bottom.", "pockets", cut.index, "text",
                value=cut.spec.text, limit=f"capitals of {least_cap(room.line_width):g} mm along the item",
                remedy="Make the text shorter, or leave it out.",
            )  # fmt: skip
        made.append(lettering)
    return tuple(made)


def _fill_top(room: Room) -> float:
    return on_grid(room.floor_top + max(spec.depth for spec in room.tray.pockets))


def _cuts(room: Room) -> list[_Cut]:
    """Return the pockets of a tray, nested ones in their places."""
    pockets = room.tray.pockets
    cuts = [_cut(room, index, spec) for index, spec in enumerate(pockets) if not isinstance(spec, NestedPocket)]
    taken = [shape for cut in cuts for shape in (cut.item, cut.notch) if shape is not None]
    return cuts + [_cut(room, each.entry, each.pocket) for each in nested_pockets(room, pocket_area(room), taken)]


def _alone(room: Room) -> None:
    """Check that nothing else takes the raised floor."""
    tray = room.tray
    others = {
        "dividers": bool(tray.dividers),
        "compartments": tray.compartments is not None and max(tray.compartments) > 1,
        "finger_ramp": tray.finger_ramp is not None and tray.finger_ramp.rows != "none",
        "label_ledge": tray.label_ledge is not None,
    }
    for name, there in others.items():
        if there:
            raise room.refusal(
                f"its pockets leave no space for {name.replace('_', ' ')}.", name,
                limit="nothing beside pockets", remedy="Leave it out, or use two trays.",
            )  # fmt: skip


def _cut(room: Room, index: int, spec: PlacedPocket) -> _Cut:
    """Return one pocket with its outline and notch, checked to lie inside the tray."""
    item = recess(spec, (room.wall, room.wall))
    if not isinstance(item, Polygon) or item.interiors:
        raise room.refusal(
            f"pocket {index + 1} overlaps itself when its clearance is added.", "pockets", index,
            value=spec.clearance, limit="one outline without holes",
            remedy="Close the gap in the outline, or reduce the clearance.",
        )  # fmt: skip
    if not pocket_area(room).covers(item):
        left, front, right, back = (on_grid(bound - room.wall) for bound in item.bounds)
        raise room.refusal(
            f"pocket {index + 1} does not lie inside the tray.", "pockets", index,
            value=[left, front, right, back],
            limit=f"{room.lines:g} mm or more inside {room.inner[0]:g} x {room.inner[1]:g} mm, corners rounded",
            remedy="Move it, or use a larger tray. The value is its box with clearance: left, front, right, back.",
        )  # fmt: skip
    if spec.notch is None:
        return _Cut(index, spec, item, None, 0)
    return _notched(room, index, spec, item, spec.notch)


def _notched(room: Room, index: int, spec: PlacedPocket, item: Polygon, finger_notch: Notch) -> _Cut:
    """Return a pocket with its finger notch: where it is given, or across the shorter side, or along it if it fits."""
    shorter = shorter_side(item)
    inside = pocket_area(room)
    width, at = finger_notch.width, finger_notch.at
    for along, reach in itertools.product((shorter, 1 - shorter), NOTCH_REACHES):
        if at is None:
            bay = notch(item, width, reach, along=along)
        else:
            grip = Grip((at[0] + room.wall, at[1] + room.wall), finger_notch.turn)
            bay = clean(finger_slot(item, grip, width, reach))
        both = shapely.union_all([item, bay])
        if inside.covers(bay) and isinstance(both, Polygon) and not both.interiors:
            return _Cut(index, spec, item, bay, along)
    raise room.refusal(
        f"the finger notch of pocket {index + 1} does not fit.", "pockets", index, "notch", "width",
        value=width, limit=f"{NOTCH_REACHES[-1]:g} mm free on two opposite sides of the pocket",
        remedy="Move the pocket, or make the notch narrower, or leave it out.",
    )  # fmt: skip


def _groups(room: Room, cuts: list[_Cut]) -> list[list[_Cut]]:
    """Return the pockets in groups that share a slot, each in order along it, the groups by their first pocket."""
    group = list(range(len(cuts)))
    for first, other in itertools.combinations(range(len(cuts)), 2):
        if _shares(room, cuts[first], cuts[other]):
            old, new = sorted((group[first], group[other]), reverse=True)
            group = [new if number == old else number for number in group]
    return [
        sorted(
            (cut for cut, own in zip(cuts, group, strict=True) if own == number),
            key=lambda cut: (cut.item.bounds[cut.along], cut.index),
        )
        for number in sorted(set(group))
    ]


def _shares(room: Room, first: _Cut, other: _Cut) -> bool:
    """Return whether two pockets have notches of one width, direction and depth that leave no wall between them."""
    if first.notch is None or other.notch is None or first.along != other.along:
        return False
    if any(cut.spec.notch is not None and cut.spec.notch.at is not None for cut in (first, other)):
        return False
    if (first.spec.notch, first.spec.depth) != (other.spec.notch, other.spec.depth):
        return False
    return bool(first.notch.distance(other.notch) < room.lines + 2.0 * CHAMFERS[0])


def _recess(room: Room, group: list[_Cut], fill_top: float) -> _Placed:
    """Return the recess of a group of pockets: their outlines, notches and the slot that they share."""
    first, *others = group
    notches = [cut.notch for cut in group if cut.notch is not None]
    slots = [slot(near, far) for near, far in itertools.pairwise(notches)] or notches
    index = max(cut.index for cut in group)
    bare = Pocket(
        outline_of(first.item), on_grid(fill_top - first.spec.depth), 0.0, tuple(map(outline_of, slots)),
        tuple(outline_of(cut.item) for cut in others),
    )  # fmt: skip
    area = united(bare)
    if not isinstance(area, Polygon) or area.interiors or not pocket_area(room).covers(area):
        raise room.refusal(
            f"pocket {index + 1} shares a finger slot that does not fit.", "pockets", index, "notch",
            value=group[0].spec.notch.width if group[0].spec.notch is not None else None,
            limit="a straight slot from one notch to the next", remedy="Move it, or leave its notch out.",
        )  # fmt: skip
    pocket = replace(bare, chamfer=chamfer_of(outline_of(area), first.spec.depth))
    for near, far in itertools.combinations(group, 2):
        _check_distance(room, (near.index, far.index), near.item.distance(far.item), 2.0 * pocket.chamfer)
    return _Placed(pocket, area, index)


def pocket_area(room: Room) -> Polygon:
    """Return the area for pockets: two lines from the walls, so that no faces are coplanar."""
    corner = min(max(room.corner - room.lines, 0.0), 0.9 * (min(room.inner) / 2.0 - room.lines))
    return _rounded(room.outer, room.wall + room.lines - LENGTH_EPSILON, corner)


@lru_cache(maxsize=64)
def _rounded(outer: Point, margin: float, corner: float) -> Polygon:
    """Return the rectangle from 0, 0 to ``outer`` less a margin, with round corners, prepared for many tests."""
    low, (right, back) = margin + corner, (side - margin - corner for side in outer)
    box = shapely.box(low, low, right, back)
    # the chords of the corners lie inside the arcs
    area = box.buffer(corner, quad_segs=16) if corner > 0.0 else box
    shapely.prepare(area)
    return area


def _keep_apart(room: Room, recessed: _Placed, others: list[_Placed]) -> None:
    """Check that two lines of wall are left between a recess and every other one, beside their chamfers."""
    for other in others:
        between = recessed.area.distance(other.area)
        chamfers = recessed.pocket.chamfer + other.pocket.chamfer
        _check_distance(room, (other.index, recessed.index), between, chamfers)


def _check_distance(room: Room, pair: tuple[int, int], between: float, chamfers: float) -> None:
    """Check that two lines of wall are left beside the chamfers of two pockets, given by their numbers."""
    needed = room.lines + chamfers
    beside, index = sorted(pair)
    if between < needed - LENGTH_EPSILON:
        what = "overlaps" if between == 0.0 else "stands too near"
        raise room.refusal(
            f"pocket {index + 1} {what} pocket {beside + 1}.", "pockets", index,
            value=on_grid(between), limit=f"at least {on_grid(needed):g} mm between them, notches included",
            remedy="Move one of them.",
        )  # fmt: skip
