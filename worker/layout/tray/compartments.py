"""Compartments: the rooms between the walls of a tray."""

from dataclasses import dataclass

from worker.layout.model.shapes import Ledge, Point, Ramp, Wall
from worker.layout.tray.dividers import spans
from worker.layout.tray.interior import Room, on_grid

__all__ = ["Compartment", "compartments"]


@dataclass(frozen=True, slots=True)
class Compartment:
    """Room between four walls; ``place`` is its column from the left and its row from the front.

    ``at`` is its front left corner and ``size`` its width and depth, in mm in the part's frame. ``low`` and ``high``
    are the heights over the floor of the lowest and the highest of its walls, ``ramp`` the radius of the finger ramp
    along its front.
    """

    place: tuple[int, int]
    at: Point
    size: Point
    low: float
    high: float
    ramp: float | None = None


def compartments(
    room: Room, walls: tuple[Wall, ...], *, ramp: Ramp | None, ledge: Ledge | None, overhang: float, settling: float
) -> tuple[Compartment, ...]:
    """Return a tray's compartments, the front row first, each row from the left.

    What the label ledge covers belongs to none.

    Args:
        room: the tray's interior.
        walls: its dividers.
        ramp: its finger ramp.
        ledge: its label ledge.
        overhang: how far its rim hangs over the interior, in mm; what lies under it cannot be lifted out.
        settling: by how much dividers may be lower than the walls without counting as lower.
    """
    columns, rows = spans(room, walls, "x"), spans(room, walls, "y")
    outer = on_grid(room.height - overhang)
    heights: list[list[float]] = []
    for axis in ("x", "y"):
        between = [on_grid(wall.top - room.floor_top + settling) for wall in walls if wall.axis == axis]
        heights.append([outer, *(min(height, outer) for height in between), outer])
    rooms: list[Compartment] = []
    for row, (front, back) in enumerate(rows):
        for column, (left, right) in enumerate(columns):
            around = (*heights[0][column : column + 2], *heights[1][row : row + 2])
            low_x = left + (overhang if column == 0 else 0.0)
            high_x = right - (overhang if column == len(columns) - 1 else 0.0)
            low_y = front + (overhang if row == 0 else 0.0)
            high_y = back - (overhang if row == len(rows) - 1 else 0.0)
            if ledge is not None and row == len(rows) - 1:
                high_y -= ledge.depth
            rooms.append(
                Compartment(
                    place=(column, row),
                    at=(on_grid(low_x), on_grid(low_y)),
                    size=(on_grid(high_x - low_x), on_grid(high_y - low_y)),
                    low=min(around),
                    high=max(around),
                    ramp=ramp.radius if ramp is not None and row == 0 else None,
                )
            )
    return tuple(rooms)
