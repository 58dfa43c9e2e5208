"""The shell of a tray as one closed mesh, built without booleans: feet, body, rim, inner wall and floor.

Every ring is a rounded rectangle of `RING` points. Between the shoulders of neighbouring feet the tray's underside has
slots. Where the shoulder of an outer foot reaches the tray's outer face, its points are those of the body's lowest
ring: no vertices have to be merged, and none lies on an edge of another triangle.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import TrayShape
from worker.solids.mesh import Builder, Mesh
from worker.solids.ring import RING, rounded_rectangle
from worker.spec.drawer.joint import Levels
from worker.spec.tolerances import LENGTH_EPSILON, QUARTER_FACETS

Indices = NDArray[np.int32]

#: Points of a quarter of a ring, and the middle one.
_STEP: Final = QUARTER_FACETS + 1
_MIDDLE: Final = QUARTER_FACETS // 2


def shell(shape: TrayShape) -> Mesh:
    """Return the tray without dividers, ramp, ledge, magnets, pockets and letterings, solid up to ``fill_top``, mm."""
    builder = Builder()
    tops = _feet(builder, shape)
    _underside(builder, tops)
    profile = [builder.ring(footprint(shape, inset), z) for inset, z in wall_levels(shape)]
    _outer_wall(builder, _lowest_ring(tops), profile[0])
    stack = np.stack(profile)
    builder.strip(stack[:-1], stack[1:])
    builder.faces(profile[-1][_ZIGZAG])
    return builder.mesh()


def footprint(shape: TrayShape, inset: float) -> NDArray[np.float64]:
    """Return the ring ``(RING, 2) float64``, mm, that lies ``inset`` mm inside the edge of the tray's cells."""
    across, back = (halves * shape.pitch / 2.0 for halves in shape.halves)
    return rounded_rectangle(-shape.inset, -shape.inset, across, back, inset, shape.corner_radius)


def wall_levels(shape: TrayShape) -> Levels:
    """Return the levels ``(inset, z)``, mm, from the outer top edge over the rim and down the inner wall to the floor.

    The toe of a stacking rim overhangs a thinner wall: the wall widens to it at 45 degrees, which prints without
    supports. On a thicker wall the toe stands on a step.
    """
    inner = shape.inset + shape.wall
    down: list[tuple[float, float]] = [(shape.inset, shape.height)]
    if shape.rim_levels is None:
        down.append((inner, shape.height))
    else:
        down += reversed(shape.rim_levels)
        toe, base = shape.rim_levels[0]
        if abs(toe - inner) > LENGTH_EPSILON:
            down.append((inner, base - max(toe - inner, 0.0)))
    return (*down, (inner, shape.fill_top))


def foot_count(shape: TrayShape) -> tuple[int, int]:
    """Return the number of feet along x and along y."""
    across, back = shape.halves
    return (across, back) if shape.half_feet else (across // 2, back // 2)


def foot_pitch(shape: TrayShape) -> float:
    """Return the distance between the middles of neighbouring feet, mm."""
    return shape.pitch / 2.0 if shape.half_feet else shape.pitch


def _feet(builder: Builder, shape: TrayShape) -> Indices:
    """Add every foot up to its shoulder; return the point indices of the shoulders, ``(back, across, RING) int32``."""
    across, back = foot_count(shape)
    side = foot_pitch(shape)
    foot = np.stack(
        [
            np.column_stack(
                [
                    rounded_rectangle(-shape.inset, -shape.inset, side, side, inset, shape.corner_radius),
                    np.full(RING, z),
                ]
            )
            for inset, z in shape.foot_levels
        ]
    )
    rows, columns = np.mgrid[0:back, 0:across]
    moves = np.stack([columns * side, rows * side, np.zeros_like(rows, dtype=np.float64)], axis=-1)
    points = moves[:, :, None, None, :] + foot
    feet = builder.points(points.reshape(-1, 3)).reshape(back, across, len(foot), RING)
    builder.strip(feet[:, :, :-1].reshape(-1, RING), feet[:, :, 1:].reshape(-1, RING))
    builder.faces(feet[:, :, 0][:, :, _ZIGZAG[:, ::-1]])
    return feet[:, :, -1]


def _underside(builder: Builder, tops: Indices) -> None:
    """Close the slots between the feet's shoulders ``(back, across, RING) int32``, and the nodes where slots cross."""
    back, across = tops.shape[:2]
    if across > 1:
        first = np.zeros((back, across - 1), dtype=np.int64)
        last = np.full((back, across - 1), _SLOT - 1)
        first[1:], last[:-1] = _MIDDLE, _SLOT - 1 - _MIDDLE
        left, right = tops[:, :-1][:, :, _RIGHT_SIDE], tops[:, 1:][:, :, _LEFT_SIDE]
        _slots(builder, left, right, first, last)
    if back > 1:
        first = np.zeros((back - 1, across), dtype=np.int64)
        last = np.full((back - 1, across), _SLOT - 1)
        first[:, :-1], last[:, 1:] = _MIDDLE, _SLOT - 1 - _MIDDLE
        front, behind = tops[:-1][:, :, _BACK_SIDE], tops[1:][:, :, _FRONT_SIDE]
        _slots(builder, front, behind, first, last)
    a, b = tops[:-1, :-1, 2 * _STEP + _MIDDLE], tops[:-1, 1:, 3 * _STEP + _MIDDLE]
    c, d = tops[1:, 1:, _MIDDLE], tops[1:, :-1, _STEP + _MIDDLE]
    builder.faces(np.stack([np.stack([a, c, b], -1), np.stack([a, d, c], -1)], axis=-2))  # none in a single row


def _slots(builder: Builder, near: Indices, other: Indices, first: NDArray[np.int64], last: NDArray[np.int64]) -> None:
    """Close slots by strips that face down.

    Args:
        builder: the mesh to add to.
        near: points along one side of each slot, ``(rows, columns, _SLOT) int32``.
        other: the points opposite them, to the right of the direction of travel, of the same shape.
        first: index into ``_SLOT`` where each strip begins, ``(rows, columns) int64``.
        last: index where each strip ends, ``(rows, columns) int64``.
    """
    step = np.arange(_SLOT - 1)
    inside = (step >= first[..., None]) & (step < last[..., None])
    a, b, c, d = near[..., :-1], near[..., 1:], other[..., 1:], other[..., :-1]
    builder.faces(np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], axis=-2)[inside])


def _lowest_ring(tops: Indices) -> tuple[Indices, ...]:
    """Return the body's lowest ring in eight parts ``(n,) int32``: corner, front side, corner, right side and so on.

    A side runs from the end of one corner to the start of the next and has two points for each foot along it.
    """
    sides = (tops[0], tops[:, -1], tops[-1, ::-1], tops[::-1, 0])
    ring: list[Indices] = []
    for quarter, feet in enumerate(sides):
        start = quarter * _STEP
        end = start + QUARTER_FACETS
        ring += [feet[0, start : end + 1], feet[:, [end, (end + 1) % RING]].ravel()]
    return tuple(ring)


def _outer_wall(builder: Builder, lowest: tuple[Indices, ...], upper: Indices) -> None:
    """Join the body's lowest ring, in eight parts, to the outer top edge ``(RING,) int32``."""
    for quarter in range(4):
        corner, side = lowest[2 * quarter : 2 * quarter + 2]
        start = quarter * _STEP
        end = start + QUARTER_FACETS
        top = upper[start : end + 1]
        a, b, c, d = corner[:-1], corner[1:], top[1:], top[:-1]
        builder.faces(np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], axis=-2))
        apex, far = upper[end], upper[(end + 1) % RING]
        builder.faces(np.column_stack([side[:-1], side[1:], np.full(len(side) - 1, apex)]))
        builder.faces(np.array([[side[-1], far, apex]]))


def _zigzag(count: int) -> Indices:
    """Return triangles that fill a convex ring of ``count`` points in a zigzag, ``(count - 2, 3) int32``."""
    faces: list[tuple[int, int, int]] = []
    low, high = 0, count - 1
    while high - low > 1:
        faces.append((low, low + 1, high))
        low += 1
        if high - low > 1:
            faces.append((low, high - 1, high))
            high -= 1
    return np.array(faces, dtype=np.int32)


_ZIGZAG: Final = _zigzag(RING)
# Ring indices of one foot's side from corner to corner, and of the neighbouring foot's points opposite them.
_SLOT: Final = 2 * _STEP
_RIGHT_SIDE: Final = np.arange(_STEP, 3 * _STEP)
_LEFT_SIDE: Final = (2 * _STEP - 1 - _RIGHT_SIDE) % RING
_BACK_SIDE: Final = np.arange(2 * _STEP, 4 * _STEP)
_FRONT_SIDE: Final = RING - 1 - _BACK_SIDE
