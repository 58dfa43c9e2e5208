"""Grips: lips inside two opposite walls, by which a tray is lifted out.

Fingers of both hands go below the lips and press outwards as they lift. The underside rises at 45 degrees, so a lip
prints without supports; hands that press apart as hard as they lift do not slip off it, even without friction.
"""

from collections.abc import Iterator
from typing import Final, Literal, TypeAlias

from worker.layout.model.shapes import GripLip, Ledge, Pocket, Ramp, Ring, Wall
from worker.layout.tray.interior import LEAST_SPACE, Room, on_grid
from worker.layout.tray.pockets.pocket_outline import pocket_ring
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["EDGE", "FINGER", "finger_room", "grip_outline", "tray_grips"]

_Corner: TypeAlias = tuple[float, float, float]

#: How far a lip reaches into the tray, mm: less than a fingertip of 12 mm (IEC 61032, from memory) is thick, so that it
#: covers little of what lies below.
_DEPTH: Final = 8.0

#: Thickness of a lip's edge, mm: fingers press on it (own choice).
EDGE: Final = 2.0

#: Length of a lip, mm: three fingers; at least two index fingers of 23 mm, men's 95th percentile (from memory).
_MOST, _LEAST = 60.0, 46.0

#: Room for fingers: below a lip's edge and before it, 12 to 15 mm (common practice); before its wall to the next
#: divider, 25 mm.
FINGER: Final = 15.0
_BEFORE: Final = 25.0


def tray_grips(  # noqa: PLR0917 - what is in a tray
    room: Room,
    walls: tuple[Wall, ...],
    ramp: Ramp | None,
    ledge: Ledge | None,
    pockets: tuple[Pocket, ...],
    floor: float,
) -> tuple[GripLip, ...]:
    """Return the two grips of a tray: at the ends of its longer side where there is room, else at the others.

    Args:
        room: the tray's interior.
        walls: its dividers.
        ramp: its finger ramp.
        ledge: its label ledge.
        pockets: its pockets.
        floor: z of the floor inside, raised around pockets, mm.

    Raises:
        TrayError: if there is no room for fingers.
    """
    if not room.tray.grip:
        return ()
    missing = on_grid(floor + FINGER + EDGE - room.ceiling)
    if missing > 0.0:
        raise room.refusal(
            "it is too low for grips.", "grip",
            value=room.tray.height, limit=f"at least {on_grid(room.tray.height + missing):g} mm",
            remedy="Make it higher, or leave out the grips.",
        )  # fmt: skip
    axes: tuple[Literal["x", "y"], ...] = ("x", "y") if room.inner[0] >= room.inner[1] else ("y", "x")
    for axis in axes:
        for start, end in _free(room, walls, ramp, ledge, axis):
            pair = tuple(GripLip(axis, far, start, end, _DEPTH, room.ceiling) for far in (False, True))
            if not any(_covers(room, grip, pocket_ring(pocket)) for grip in pair for pocket in pockets):
                return pair
    raise room.refusal(
        "its walls have no room for grips.", "grip",
        value=True,
        limit=f"{_LEAST:g} mm of two opposite walls without dividers, ramp and ledge, and {_BEFORE:g} mm before them",
        remedy="Move its dividers, or leave out the grips.",
    )  # fmt: skip


def grip_outline(grip: GripLip, outer: tuple[float, float], wall: float) -> Ring:
    """Return a grip's lip, seen from above, in the part's frame, mm.

    Args:
        grip: the grip.
        outer: width and depth of the tray.
        wall: thickness of its walls.
    """
    side = outer[0 if grip.axis == "x" else 1]
    low, high = (side - wall - grip.depth, side - wall) if grip.far else (wall, wall + grip.depth)
    (left, right), (front, back) = (
        ((low, high), (grip.start, grip.end)) if grip.axis == "x" else ((grip.start, grip.end), (low, high))
    )
    return (left, front), (right, front), (right, back), (left, back)


def finger_room(grip: GripLip, outer: tuple[float, float], wall: float) -> tuple[_Corner, _Corner]:
    """Return the box that fingers take below and before a lip: its least and greatest corner in the part's frame, mm.

    Args:
        grip: the grip.
        outer: width and depth of the tray.
        wall: thickness of its walls.
    """
    number = 0 if grip.axis == "x" else 1
    reach = wall + grip.depth + FINGER
    across = (outer[number] - reach, outer[number] - wall) if grip.far else (wall, reach)
    along, z = (grip.start, grip.end), grip.top - EDGE - FINGER
    (left, right), (front, back) = (across, along) if number == 0 else (along, across)
    return (left, front, z), (right, back, grip.top)


def _free(
    room: Room, walls: tuple[Wall, ...], ramp: Ramp | None, ledge: Ledge | None, axis: Literal["x", "y"]
) -> Iterator[tuple[float, float]]:
    """Yield where lips may begin and end along both walls across an axis, nearest to the middle first."""
    number = 0 if axis == "x" else 1
    across, along = room.outer[number], room.outer[1 - number]
    if axis == "y" and (ramp is not None or ledge is not None):
        return
    start, end = room.wall + room.corner, along - room.wall - room.corner
    if axis == "x" and ramp is not None:
        start = max(start, room.wall + ramp.radius)
    if axis == "x" and ledge is not None:
        end = min(end, along - room.wall - ledge.depth - LEAST_SPACE)
    taken = sorted(_taken(room, walls, axis, across))
    spans: list[tuple[float, float]] = []
    for low, high in [*taken, (end, along)]:
        if low - start >= _LEAST - LENGTH_EPSILON:
            spans.append((start, min(low, end)))
        start = max(start, high)
    middle = along / 2.0
    lips: list[tuple[float, float, float]] = []
    for low, high in spans:
        length = min(_MOST, high - low)
        begin = min(max(middle - length / 2.0, low), high - length)
        lips.append((abs(begin + length / 2.0 - middle), on_grid(begin), on_grid(begin + length)))
    yield from ((low, high) for _, low, high in sorted(lips) if high - low >= _LEAST - LENGTH_EPSILON)


def _taken(
    room: Room, walls: tuple[Wall, ...], axis: Literal["x", "y"], across: float
) -> Iterator[tuple[float, float]]:
    """Yield what dividers take of the walls across an axis: where they end there, and where they stand before it."""
    near = room.wall + _DEPTH + _BEFORE
    for wall in walls:
        half = wall.thickness / 2.0 + LEAST_SPACE
        if wall.axis != axis:
            if wall.span is None or wall.span[0] < near or wall.span[1] > across - near:
                yield wall.at - half, wall.at + half
        elif wall.at - half < near or wall.at + half > across - near:
            yield wall.span if wall.span is not None else (0.0, float("inf"))


def _covers(room: Room, grip: GripLip, ring: Ring) -> bool:
    """Return whether a grip reaches over a pocket."""
    sides = [
        [(min(side), max(side)) for side in zip(*outline, strict=True)]
        for outline in (grip_outline(grip, room.outer, room.wall), ring)
    ]
    return all(own[0] < other[1] and other[0] < own[1] for own, other in zip(*sides, strict=True))
