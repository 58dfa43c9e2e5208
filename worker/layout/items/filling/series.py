"""Series: items of one group and tag, such as the spanners of a set, which are all kept in one way.

A set of which some lie flat and others stand on edge looks wrong, so one way is chosen for all of them: the one that
takes the least floor.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import TypeAlias

from worker.layout.storage.lane_sizing import lanes
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.ways import Kind, Way, natural_ways
from worker.spec.items.item import Item, Standard

__all__ = ["series_ways"]

_Series: TypeAlias = tuple[str | None, str]


def series_ways(items: Sequence[Item], ground: DrawerLimits) -> tuple[Way | None, ...]:
    """Return the way in which each item is kept with its series; None where it is in none or they have none in common.

    Args:
        items: the items of a drawer.
        ground: the drawer's.
    """
    members: dict[_Series, list[int]] = {}
    for index, item in enumerate(items):
        series = _series(item)
        if series is not None:
            members.setdefault(series, []).append(index)
    ways: list[Way | None] = [None] * len(items)
    for indices in members.values():
        kinds = [Kind.of(items[index]) for index in indices]
        if len(kinds) > 1 and (way := _common(kinds, ground)) is not None:
            for index in indices:
                ways[index] = way
    return tuple(ways)


def _series(item: Item) -> _Series | None:
    """Return the group and tag, or category, of an item; None where it has neither tag nor category."""
    category = item.tag or (item.shape.entry.category if isinstance(item.shape, Standard) else None)
    return None if category is None else (item.group, category)


def _common(kinds: Sequence[Kind], ground: DrawerLimits) -> Way | None:
    """Return the way of all of these kinds that takes the least floor; None where they have none in common."""
    shared = [way for way, _ in natural_ways(kinds[0])]
    for kind in kinds[1:]:
        others = {way for way, _ in natural_ways(kind)}
        shared = [way for way in shared if way in others]
    floors = {way: sum(_floor(kind, way, ground) for kind in kinds) for way in dict.fromkeys(shared)}
    best = min(floors, key=lambda way: floors[way], default=None)
    return None if best is None or floors[best] == inf else best


def _floor(kind: Kind, way: Way, ground: DrawerLimits) -> float:
    """Return the least floor in mm2 that things take in a lane when they are kept in one way."""
    rooms = [ground.usable(side, "straight") for side in range(ground.step, max(ground.span) + 1, ground.step)]
    every = (
        lane.width * room
        for room in rooms
        if room > 0.0
        for lane in lanes(replace(kind, way=way), room, ground)
        if lane.count == kind.count
    )
    return min(every, default=inf)
