"""Grips: lips inside two opposite walls, by which a tray is lifted out.

Fingers of both hands go below the lips and press outwards as they lift. The underside rises at 45 degrees, so a lip
prints without supports; hands that press apart as hard as they lift do not slip off it, even without friction.
"""

import itertools
from collections.abc import Iterator
from typing import Final, Literal, TypeAlias

from worker.layout.model.shapes import GripLip, Ledge, Pocket, Ramp, Ring, TrayShape, Wall
from worker.layout.tray.interior import LEAST_SPACE, Room, on_grid
from worker.layout.tray.pockets.pocket_outline import pocket_ring
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["EDGE", "FINGER", "finger_room", "grip_outline", "grips_for_seams", "tray_grips"]

_Corner: TypeAlias = tuple[float, float, float]
_Axis: TypeAlias = Literal["x", "y"]

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
#: Distance of each of two lips from the middle of their wall, mm: the posts of a splice between them (own choice).
_BESIDE_SEAM: Final = 20.0
#: Distance of lips from the middle of their wall up to which a tray hangs level enough, mm (own choice).
_BALANCED: Final = 15.0


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
    pair = next(_pairs(room, walls, ramp, ledge, pockets), None)
    if pair is None:
        raise room.refusal(
            "its walls have no room for grips.", "grip",
            value=True,
            limit=f"{_LEAST:g} mm of two opposite walls without dividers, ramp and ledge, and {_BEFORE:g} mm before "
            "them",
            remedy="Move its dividers, or leave out the grips.",
        )  # fmt: skip
    return pair


def grips_for_seams(room: Room, shape: TrayShape) -> list[tuple[GripLip, ...]]:
    """Return the grips that a tray in pieces may have, the best first: two lips, or four with a seam between them.

    Those at the middle of their walls come first: a tray that is lifted elsewhere tilts.

    Args:
        room: the tray's interior.
        shape: the tray in one piece, with or without grips.
    """
    inside = room, shape.walls, shape.ramp, shape.ledge
    every = [*_pairs(*inside, shape.pockets), *(four for axis in _axes(room) for four in _fours(*inside, axis))]
    clear = [grips for grips in every if not _over_pockets(room, grips, shape.pockets)]
    return sorted(clear, key=lambda grips: _off_middle(room, grips) > _BALANCED)


def _fours(
    room: Room, walls: tuple[Wall, ...], ramp: Ramp | None, ledge: Ledge | None, axis: _Axis
) -> Iterator[tuple[GripLip, ...]]:
    """Yield two lips on each of the walls across an axis, as far from their middle as each other."""
    middle = _middle(room, axis)
    free = list(_spans(room, walls, ramp, ledge, axis))
    mirrored = [(2.0 * middle - high, 2.0 * middle - low) for low, high in free]
    for (low, high), (start, end) in itertools.product(free, mirrored):
        first, last = max(low, start), min(high, end, middle - _BESIDE_SEAM)
        if last - first >= _LEAST - LENGTH_EPSILON:
            first = max(first, last - _MOST)
            lips = (first, last), (2.0 * middle - last, 2.0 * middle - first)
            yield tuple(
                GripLip(axis, far, on_grid(begin), on_grid(stop), _DEPTH, room.ceiling)
                for begin, stop in lips
                for far in (False, True)
            )


def _middle(room: Room, axis: _Axis) -> float:
    """Return the middle of the walls across an axis, along them, mm."""
    return room.outer[1 if axis == "x" else 0] / 2.0


def _off_middle(room: Room, grips: tuple[GripLip, ...]) -> float:
    """Return how far the middle of lips is from that of their walls, mm."""
    lips = [(grip.start + grip.end) / 2.0 for grip in grips]
    return abs(sum(lips) / len(lips) - _middle(room, grips[0].axis))


def _pairs(
    room: Room, walls: tuple[Wall, ...], ramp: Ramp | None, ledge: Ledge | None, pockets: tuple[Pocket, ...]
) -> Iterator[tuple[GripLip, ...]]:
    """Yield two lips opposite each other, at the ends of the longer side first, and nearest to the middle first."""
    for axis in _axes(room):
        for start, end in _free(room, walls, ramp, ledge, axis):
            pair = tuple(GripLip(axis, far, start, end, _DEPTH, room.ceiling) for far in (False, True))
            if not _over_pockets(room, pair, pockets):
                yield pair


def _axes(room: Room) -> tuple[_Axis, _Axis]:
    return ("x", "y") if room.inner[0] >= room.inner[1] else ("y", "x")


def _over_pockets(room: Room, grips: tuple[GripLip, ...], pockets: tuple[Pocket, ...]) -> bool:
    return any(_covers(room, grip, pocket_ring(pocket)) for grip in grips for pocket in pockets)


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
    room: Room, walls: tuple[Wall, ...], ramp: Ramp | None, ledge: Ledge | None, axis: _Axis
) -> Iterator[tuple[float, float]]:
    """Yield where lips may begin and end along both walls across an axis, nearest to the middle first."""
    middle = _middle(room, axis)
    lips: list[tuple[float, float, float]] = []
    for low, high in _spans(room, walls, ramp, ledge, axis):
        length = min(_MOST, high - low)
        begin = min(max(middle - length / 2.0, low), high - length)
        lips.append((abs(begin + length / 2.0 - middle), on_grid(begin), on_grid(begin + length)))
    yield from ((low, high) for _, low, high in sorted(lips) if high - low >= _LEAST - LENGTH_EPSILON)


def _spans(
    room: Room, walls: tuple[Wall, ...], ramp: Ramp | None, ledge: Ledge | None, axis: _Axis
) -> Iterator[tuple[float, float]]:
    """Yield the stretches of both walls across an axis that are free for lips, long enough for one, in order."""
    number = 0 if axis == "x" else 1
    across, along = room.outer[number], room.outer[1 - number]
    if axis == "y" and (ramp is not None or ledge is not None):
        return
    start, end = room.wall + room.corner, along - room.wall - room.corner
    if axis == "x" and ramp is not None:
        start = max(start, room.wall + ramp.radius)
    if axis == "x" and ledge is not None:
        end = min(end, along - room.wall - ledge.depth - LEAST_SPACE)
    for low, high in [*sorted(_taken(room, walls, axis, across)), (end, along)]:
        if low - start >= _LEAST - LENGTH_EPSILON:
            yield start, min(low, end)
        start = max(start, high)


def _taken(room: Room, walls: tuple[Wall, ...], axis: _Axis, across: float) -> Iterator[tuple[float, float]]:
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
