"""Pocket sizing: how deep the pocket of a thing is, whether it has a notch, and what stands around pockets."""

from functools import lru_cache
from typing import Final

import shapely
from pydantic import ValidationError
from shapely.geometry import Polygon

from worker.layout.model.shapes import Ring
from worker.layout.storage.poses import Pose
from worker.layout.storage.reach import FINGER_BREADTH, LEAST_GRIP
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Draft
from worker.layout.tray.interior import on_grid, tray_room
from worker.layout.tray.pockets.pocket_outline import NOTCH_REACHES, notch, recess, shorter_side
from worker.layout.tray.pockets.tray_pockets import tray_pockets
from worker.layout.tray.pockets.wells import filling_volume, tray_wells
from worker.spec.drawer.pocket import PolygonPocket
from worker.spec.errors import TrayError
from worker.spec.items.made_up_shape import STABLE

__all__ = ["filling_of", "pocket_depth", "stays_open"]

#: The share of a thing's height that its pocket holds: of one that lies a half, of one that stands by itself a third,
#: of one that tips over more; over three quarters nothing is left to take it by (common practice). What sticks out by
#: less than `LEAST_GRIP` is taken by a notch.
_LYING_SHARE: Final = 0.5
_STANDING_SHARE: Final = 1.0 / 3.0
_TIPPING_SHARE: Final = 0.6

#: A narrower recess closes up when it is printed (fdm_rules, hole-min: a public design guide).
_LEAST_HOLE: Final = 2.0

_LEAST_DEPTH: Final = 0.5


def pocket_depth(pose: Pose) -> tuple[float, bool]:
    """Return the depth in mm of the pocket of a thing in a pose, and whether it has a finger notch."""
    high = pose.size[2]
    depth = on_grid(max(min(_share(pose) * high, high), _LEAST_DEPTH))
    return depth, high - depth < LEAST_GRIP


def stays_open(pose: Pose) -> bool:
    """Return whether a pocket of a thing's outline in a pose can be printed, and has no gap that closes to a hole."""
    if min(pose.size[:2]) + 2.0 * POCKET_CLEARANCE < _LEAST_HOLE:
        return False
    return pose.form != "prism" or pose.axis != "z" or _stays_open(pose.outline)


@lru_cache(maxsize=256)
def _stays_open(outline: Ring) -> bool:
    """Return whether an outline has no gap that its clearance or a finger notch across it closes to a hole."""
    points = tuple((on_grid(x), on_grid(y)) for x, y in outline)
    try:
        pocket = PolygonPocket(shape="polygon", points=points, depth=1.0, clearance=POCKET_CLEARANCE)
    except ValidationError:  # sides that all but touch do when they are rounded
        return False
    item = recess(pocket, (0.0, 0.0))
    both = shapely.union_all([item, notch(item, FINGER_BREADTH, NOTCH_REACHES[0], along=shorter_side(item))])
    return all(isinstance(shape, Polygon) and not shape.interiors for shape in (item, both))


def _share(pose: Pose) -> float:
    """Return the share of a thing's height that its pocket holds in this pose."""
    least, high = min(pose.size[:2]), pose.size[2]
    if high <= least:
        return _LYING_SHARE
    return _STANDING_SHARE if high <= STABLE * least else _TIPPING_SHARE


def filling_of(draft: Draft, ground: DrawerLimits) -> float | None:
    """Return the volume in mm3 of what stands around a draft's pockets; None where they do not fit after all."""
    tray = draft.option(("thing",), None, ground).tray()
    half_feet = any(along % 2 for along in draft.halves)
    try:
        room = tray_room(tray, joint=ground.joint, pitch=ground.pitch, line_width=ground.line_width, pointer="")
        fill_top, pockets = tray_pockets(room)
    except TrayError:
        return None
    wells = tray_wells(room, pockets, fill_top, joint=ground.joint, pitch=ground.pitch, half_feet=half_feet)
    return filling_volume(room, pockets, wells, fill_top)
