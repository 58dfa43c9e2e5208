"""Lanes of a printed layout that stay: the panels are where they were, and things return to the lanes they lay in."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from worker.layout.lanes.between_panels import in_rooms
from worker.layout.lanes.drawer_lanes import DrawerLanes, LaneSite
from worker.layout.lanes.free_rectangle import Rectangle
from worker.layout.lanes.shelves import DIVIDER
from worker.layout.panels.profile import STUB
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.panel import Panel
from worker.spec.items.item import Item
from worker.spec.manifest import DrawerEntry, PanelEntry
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["homes_of", "kept_lanes", "printed_panels"]


def homes_of(printed: DrawerEntry) -> dict[str, int]:
    """Return the lanes that things lay in, as indices into the drawer's lanes, by the names of their items."""
    return {content.item: content.lane for content in printed.contents if content.lane is not None}


def kept_lanes(items: Sequence[tuple[str, Item]], site: LaneSite, *, printed: DrawerEntry) -> DrawerLanes:
    """Return the lanes of a printed layout with other things in them; what fits none of them is left.

    Args:
        items: after their JSON Pointers.
        site: the drawer, as it was when the layout was made.
        printed: the drawer as it is printed, with at least one lane.
    """
    rooms = [_rectangle(lane.at, lane.size) for lane in printed.lanes]
    held = in_rooms(
        items, [replace(site, room=_inner(room, site.room, printed), pitch=None) for room in rooms], homes_of(printed)
    )
    lanes = tuple(
        replace(lane, name=entry.name, at=entry.at, size=entry.size)
        for lane, entry in zip(held.lanes, printed.lanes, strict=True)
    )
    left, front, right, back = site.room
    near_left, near_front = (min(room[axis] for room in rooms) for axis in (0, 1))
    direction: Literal["back", "right"] = "back" if near_left - left <= LENGTH_EPSILON else "right"
    rest = (
        (left, front, right, on_grid(near_front - DIVIDER))
        if direction == "back"
        else (left, front, on_grid(near_left - DIVIDER), back)
    )
    open_ = rest[2] > left and rest[3] > front
    return DrawerLanes(
        lanes, held.contents, printed_panels(printed, site.origin), held.left, rest if open_ else None, direction
    )


def printed_panels(printed: DrawerEntry, origin: tuple[float, float]) -> tuple[Panel, ...]:
    """Return the panels of a printed drawer as a spec lists them.

    Args:
        printed: the drawer.
        origin: where its usable area begins in the drawer, mm.
    """
    return tuple(_panel(panel, origin) for panel in printed.panels)


def _panel(panel: PanelEntry, origin: tuple[float, float]) -> Panel:
    axis = ("x", "y").index(panel.along)

    def given(end: float) -> float | None:
        """Return the panel that an end is let through, along the length; None for the drawer's side."""
        through = (at for at in panel.crossings if abs(abs(at - end) - STUB) <= LENGTH_EPSILON)
        return next((on_grid(at + origin[axis]) for at in through), None)

    return Panel(
        name=panel.name, along=panel.along, at=on_grid(panel.at + origin[1 - axis]), start=given(panel.start),
        end=given(panel.end), height=on_grid(panel.z + panel.height), thickness=panel.thickness,
    )  # fmt: skip


def _inner(room: Rectangle, drawer: Rectangle, printed: DrawerEntry) -> Rectangle:
    """Return a lane without the stubs of panels that are let through its edges: none at the drawer's sides."""
    axes = {
        ("x", "y").index(panel.along)
        for panel in printed.panels
        for at in panel.crossings
        for end in (panel.start, panel.end)
        if abs(abs(at - end) - STUB) <= LENGTH_EPSILON
    }
    left, front, right, back = (
        edge + (sign * STUB if number % 2 in axes and abs(edge - side) > LENGTH_EPSILON else 0.0)
        for number, (edge, side, sign) in enumerate(zip(room, drawer, (1.0, 1.0, -1.0, -1.0), strict=True))
    )
    return left, front, right, back


def _rectangle(at: tuple[float, float], size: tuple[float, float]) -> Rectangle:
    return at[0], at[1], at[0] + size[0], at[1] + size[1]
