"""Nested trays: trays for things of one kind or several whose outlines are nested, in pockets or on a shadow floor.

On a shadow floor each thing lies within a groove along its outline, and a finger has room beside each.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

from worker.layout.storage.lane_sizing import LYING_WALL
from worker.layout.storage.nested_recess import NestedKind, nested_drafts
from worker.layout.storage.pocket_sizing import filling_of, pocket_depth, stays_open
from worker.layout.storage.poses import Pose
from worker.layout.storage.reach import FINGER_REACH
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import Draft
from worker.layout.tray.interior import UNDER_RIM
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Storage

__all__ = ["engraved_kind", "nest_drafts", "pocketed_kind"]

#: Depth of a groove along an outline, mm: three layers of 0.2 mm.
_GROOVE: Final = 0.6


def pocketed_kind(count: int, pose: Pose) -> NestedKind | None:
    """Return things of one pose as they are nested in pockets; None where no pocket of their shape stays open."""
    return NestedKind(pose, count, *pocket_depth(pose)) if stays_open(pose) else None


def engraved_kind(count: int, pose: Pose) -> NestedKind:
    """Return things of one pose as they lie on a shadow floor."""
    return NestedKind(pose, count, _GROOVE, engraved=True)


def nest_drafts(
    kinds: Sequence[NestedKind],
    ground: DrawerLimits,
    rims: Sequence[Rim],
    *,
    storage: Storage = "pocket",
    footprints: Collection[tuple[int, int]],
    rows: Sequence[Draft] = (),
) -> tuple[Draft, ...]:
    """Return the trays in which things of these kinds are nested: in pockets, or all of them within grooves.

    Args:
        kinds: what is nested.
        ground: the drawer's.
        rims: which rims the tray may have.
        storage: what it is called.
        footprints: the sides in half cells that a tray may have.
        rows: trays with even rows, of which none may be as small.
    """
    beaten = tuple((draft.rim, draft.halves) for draft in rows)
    return _nests(tuple(kinds), ground, tuple(rims), storage, frozenset(footprints), beaten)


@lru_cache(maxsize=256)  # searches ask for the same nests again, and each takes up to half a second
def _nests(  # noqa: PLR0917 - a cache keeps arguments by place
    kinds: tuple[NestedKind, ...],
    ground: DrawerLimits,
    rims: tuple[Rim, ...],
    storage: Storage,
    footprints: frozenset[tuple[int, int]],
    beaten: tuple[tuple[Rim, tuple[int, int]], ...],
) -> tuple[Draft, ...]:
    """Return the trays of a nest with the plastic of their filling."""
    room = _room(kinds)
    if room is None:
        return ()
    walls, stack = room
    made: list[Draft] = []
    for rim in rims:
        stand = ground.stand(walls + ground.rim_overhang(rim), stack, rim)
        if stand is None:
            continue
        rows = [halves for its_rim, halves in beaten if its_rim == rim]
        for draft in nested_drafts(kinds, ground, rim, stand, storage=storage, footprints=footprints, beaten=rows):
            filling = filling_of(draft, ground)
            if filling is not None:
                plastic = ground.plastic(draft.halves, draft.height, draft.rim) + filling
                made.append(replace(draft, plastic=plastic))
    return tuple(made)


def _room(kinds: Sequence[NestedKind]) -> tuple[float, float] | None:
    """Return how high walls over the floor must be around a nest, and how high its things reach.

    Those on a shadow floor are held by walls as things in rows are; None where a wall would rise too far over one of
    them for a finger.
    """
    deepest = max(kind.depth for kind in kinds)
    stack = max(deepest - kind.sunk + kind.pose.size[2] for kind in kinds)
    # The filling ends `UNDER_RIM` under what ends `UNDER_RIM` under the rim.
    walls = deepest + UNDER_RIM
    heights = [kind.pose.size[2] for kind in kinds if kind.engraved]
    if heights:
        walls = max(walls, deepest + LYING_WALL * max(heights))
        if walls > deepest + min(heights) + FINGER_REACH:
            return None
    return walls, stack
