"""Lanes between panels of a drawer's list: each room between them is a lane, and things of several kinds share it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from worker.layout.lanes.drawer_lanes import DrawerLanes, LaneSite, lanes_of
from worker.layout.lanes.free_rectangle import Rectangle, largest_rectangle
from worker.layout.lanes.need import piles_of
from worker.layout.model.plan import LanePlan, Stored
from worker.layout.tray.interior import on_grid
from worker.spec.items.item import Item

__all__ = ["between_panels", "in_rooms"]


def between_panels(
    items: Sequence[tuple[str, Item]],
    site: LaneSite,
    *,
    area: BaseGeometry,
    bands: Sequence[Rectangle],
    homes: Mapping[str, int] | None = None,
) -> DrawerLanes:
    """Return the lanes between panels, with things in the smallest lane that takes them; no panels are added.

    Args:
        items: after their JSON Pointers.
        site: the drawer.
        area: its usable area, mm.
        bands: the rectangles that panels take, mm.
        homes: indices of the lanes that things lay in before, by the names of their items.
    """
    rooms = shapely.get_parts(shapely.difference(area, shapely.union_all([shapely.box(*band) for band in bands])))
    rectangles = [room for part in rooms if (room := largest_rectangle(part)) is not None]
    rectangles.sort(key=lambda room: (_size(room), room))
    lanes = in_rooms(items, [replace(site, room=room, pitch=None, grid=None) for room in rectangles], homes or {})
    return lanes if site.grid is None else _with_things(lanes)


def _with_things(lanes: DrawerLanes) -> DrawerLanes:
    """Return the lanes that things lie in: trays stand between the other panels of a floor."""
    numbers = {index: number for number, index in enumerate(sorted({stored.lane or 0 for stored in lanes.contents}))}
    kept = tuple(replace(lanes.lanes[index], name=f"lane {number + 1}") for index, number in numbers.items())
    contents = tuple(replace(stored, lane=numbers[stored.lane or 0]) for stored in lanes.contents)
    return replace(lanes, lanes=kept, contents=contents)


def in_rooms(items: Sequence[tuple[str, Item]], sites: Sequence[LaneSite], homes: Mapping[str, int]) -> DrawerLanes:
    """Return lanes that are rooms of their own: things go where they lay before, others into the first that takes them.

    Args:
        items: after their JSON Pointers.
        sites: the rooms, in the order in which they are tried.
        homes: indices of the rooms that things lay in before, by the names of their items.
    """
    held: list[list[tuple[str, Item]]] = [[] for _ in sites]
    left = []
    for listed in sorted(items, key=lambda listed: (listed[1].name not in homes, -_bulk(listed[1]), listed[0])):
        home = homes.get(listed[1].name)
        order = sorted(range(len(sites)), key=lambda index: index != home)
        index = next((index for index in order if not lanes_of([*held[index], listed], sites[index]).left), None)
        if index is None:
            left.append(listed)
        else:
            held[index].append(listed)
    lanes: list[LanePlan] = []
    contents: list[Stored] = []
    for own, own_items in zip(sites, held, strict=True):
        x0, y0, x1, y1 = own.room
        laid = lanes_of(own_items, own).contents if own_items else ()
        contents += [replace(stored, lane=len(lanes)) for stored in laid]
        lanes.append(
            LanePlan(f"lane {len(lanes) + 1}", (on_grid(x0), on_grid(y0)), (on_grid(x1 - x0), on_grid(y1 - y0)))
        )
    return DrawerLanes(tuple(lanes), tuple(contents), (), tuple(left))


def _size(room: Rectangle) -> float:
    return (room[2] - room[0]) * (room[3] - room[1])


def _bulk(item: Item) -> float:
    pile = piles_of(item, float("inf"))[0]
    return pile.width * pile.depth * pile.top * item.count / pile.layers
