"""Dividers: walls inside a tray, as listed or between equal compartments."""

from collections.abc import Iterator
from typing import Literal

from worker.layout.model.shapes import Wall
from worker.layout.tray.interior import LEAST_SPACE, Room, on_grid
from worker.spec.drawer.tray import Divider
from worker.spec.tolerances import LENGTH_EPSILON

Axis = Literal["x", "y"]
#: Start and end of a compartment along one axis, in mm in the part's frame.
Span = tuple[float, float]


def tray_walls(room: Room) -> tuple[Wall, ...]:
    """Return the dividers, those of axis x first, each axis in rising order.

    Raises:
        TrayError: if a divider lies outside the tray, is too close to a wall or another divider, or too high, or if the
            compartments are too narrow.
    """
    walls = [_wall(room, index, divider) for index, divider in enumerate(room.tray.dividers)]
    for axis in range(2):
        walls += _even(room, axis)
    walls.sort(key=lambda wall: (wall.axis, wall.at))
    return tuple(walls)


def spans(room: Room, walls: tuple[Wall, ...], axis: Axis) -> tuple[Span, ...]:
    """Return the compartments along one axis as ``(start, end)``, mm in the part's frame.

    Every wall counts as if it were of full length; of walls in line there is no compartment between.

    Args:
        room: the tray's.
        walls: in rising order on the axis.
        axis: of the walls between the compartments.
    """
    side = room.outer[_index(axis)]
    free: list[Span] = []
    start = room.wall
    for wall in walls:
        if wall.axis == axis:
            near, far = on_grid(wall.at - wall.thickness / 2.0), on_grid(wall.at + wall.thickness / 2.0)
            if near > start or not free:
                free.append((start, near))
            start = max(start, far)
    return (*free, (start, on_grid(side - room.wall)))


def at_back(room: Room, walls: tuple[Wall, ...]) -> tuple[Wall, ...]:
    """Return the walls that run front to back and reach the back wall."""
    back = room.outer[1] - room.wall - LENGTH_EPSILON
    return tuple(wall for wall in walls if wall.axis == "x" and (wall.span is None or wall.span[1] >= back))


def _index(axis: Axis) -> int:
    return ("x", "y").index(axis)


def _thickness(room: Room) -> float:
    """Return the thickness of a divider, which is that of the tray's wall, in mm."""
    return on_grid(max(room.wall, room.lines))


def _wall(room: Room, index: int, divider: Divider) -> Wall:
    """Return one listed divider."""
    axis, side = divider.axis, room.inner[_index(divider.axis)]
    half = _thickness(room) / 2.0
    least, most = LEAST_SPACE + half, side - LEAST_SPACE - half
    if not least - LENGTH_EPSILON <= divider.at <= most + LENGTH_EPSILON:
        where = "outside its room" if divider.at > side else "too near its wall"
        raise room.refusal(
            f"divider {index + 1} stands {where}.", "dividers", index, "at",
            value=divider.at, limit=f"{on_grid(least):g} to {on_grid(most):g} mm on axis {axis}",
            remedy="Measure `at` from the inner face to the centre of the divider.",
        )  # fmt: skip
    span = _span(room, index, divider)
    for other, beside in enumerate(room.tray.dividers[:index]):
        if (
            beside.axis == axis
            and _side_by_side(divider, beside)
            and abs(beside.at - divider.at) < LEAST_SPACE + 2.0 * half - LENGTH_EPSILON
        ):
            raise room.refusal(
                f"divider {index + 1} is too close to divider {other + 1}.", "dividers", index, "at",
                value=divider.at, limit=f"at least {on_grid(LEAST_SPACE + 2.0 * half):g} mm from {beside.at:g} mm",
                remedy="Move one of them.",
            )  # fmt: skip
    if divider.height is not None and divider.height > room.height + LENGTH_EPSILON:
        raise room.refusal(
            f"divider {index + 1} is too high for the rim.", "dividers", index, "height",
            value=divider.height, limit=f"at most {on_grid(room.height):g} mm over the floor",
            remedy="Leave the height out for the largest possible one.",
        )  # fmt: skip
    top = room.ceiling if divider.height is None else on_grid(room.floor_top + divider.height)
    return Wall(axis, on_grid(room.wall + divider.at), 2.0 * half, top, span)


def _side_by_side(divider: Divider, other: Divider) -> bool:
    """Return whether two dividers of one axis run beside each other for some length."""
    if divider.span is None or other.span is None:
        return True
    return max(divider.span[0], other.span[0]) < min(divider.span[1], other.span[1]) - LENGTH_EPSILON


def _span(room: Room, index: int, divider: Divider) -> Span | None:
    """Return where a divider begins and ends, in the part's frame; None: from wall to wall.

    Raises:
        TrayError: if an end is neither on a wall of the tray nor on a divider that crosses there.
    """
    if divider.span is None:
        return None
    length = room.inner[1 - _index(divider.axis)]
    ends = [0.0, length]
    for other in room.tray.dividers:
        low, high = other.span or (0.0, room.inner[_index(divider.axis)])
        if other.axis != divider.axis and low - LENGTH_EPSILON <= divider.at <= high + LENGTH_EPSILON:
            ends.append(other.at)
    for k, end in enumerate(divider.span):
        if all(abs(end - place) > LENGTH_EPSILON for place in ends):
            raise room.refusal(
                f"divider {index + 1} ends at neither a wall nor a divider.", "dividers", index, "span", k,
                value=end, limit=f"one of {', '.join(f'{place:g}' for place in sorted({*map(on_grid, ends)}))} mm",
                remedy="End it at a wall, or at the centre of a divider that crosses it.",
            )  # fmt: skip
    start, end = divider.span
    if end - start < LEAST_SPACE + _thickness(room):
        raise room.refusal(
            f"divider {index + 1} is too short.", "dividers", index, "span", 1,
            value=end, limit=f"at least {on_grid(start + LEAST_SPACE + _thickness(room)):g} mm",
            remedy="Give its start first, then its end.",
        )  # fmt: skip
    return on_grid(room.wall + start), on_grid(room.wall + end)


def _even(room: Room, axis: int) -> Iterator[Wall]:
    """Yield the walls between equal compartments along one axis."""
    count = room.tray.compartments[axis] if room.tray.compartments is not None else 1
    thickness = _thickness(room)
    space = (room.inner[axis] - (count - 1) * thickness) / count
    if space < LEAST_SPACE - LENGTH_EPSILON:
        most = int((room.inner[axis] + thickness + LENGTH_EPSILON) // (LEAST_SPACE + thickness))
        raise room.refusal(
            "its compartments are too narrow.", "compartments", axis,
            value=count, limit=f"at most {most} (each {LEAST_SPACE:g} mm or more)",
            remedy="Use fewer compartments or a larger tray.",
        )  # fmt: skip
    for k in range(1, count):
        at = room.wall + k * space + (k - 0.5) * thickness
        yield Wall("x" if axis == 0 else "y", on_grid(at), thickness, room.ceiling)
