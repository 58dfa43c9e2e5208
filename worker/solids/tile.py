"""The tile as a closed solid, and the flat plate that tiles, keys and coupons share; built without booleans."""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import Lettering, Socket, TileShape
from worker.solids.engraving import engrave, text_rings
from worker.solids.mesh import Builder, Mesh, strip_faces
from worker.solids.ring import RING, on_grid, rounded_rectangle
from worker.solids.web import web
from worker.spec.drawer.joint import LEAST_RADIUS, Levels

Indices: TypeAlias = NDArray[np.int32]


def build_tile(shape: TileShape) -> Mesh:
    """Return the solid of a tile, mm.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    return plate(
        np.array(shape.outline),
        [np.array(window) for window in shape.windows],
        [(socket, shape.levels) for socket in shape.sockets],
        corner_radius=shape.corner_radius,
        height=shape.height,
        letterings=shape.letterings,
    )


def tile_genus(shape: TileShape) -> int:
    """Return the genus that a tile's solid must have: the number of its sockets and windows, all through holes."""
    return len(shape.sockets) + len(shape.windows)


def plate(
    outline: NDArray[np.float64],
    windows: Sequence[NDArray[np.float64]],
    sockets: Sequence[tuple[Socket, Levels]],
    *,
    corner_radius: float,
    height: float,
    letterings: Sequence[Lettering] = (),
) -> Mesh:
    """Return a flat plate with sockets and windows as through holes and letterings in its faces, from z 0 up.

    Args:
        outline: ``(n, 2) float64``, mm, counter-clockwise.
        windows: rings of holes, ``(n, 2) float64``, mm, counter-clockwise.
        sockets: each socket's cell and its levels ``(inset, z)``, from z 0 up to ``height``, mm.
        corner_radius: radius of a cell's corner at inset 0, mm.
        height: thickness of the plate, mm.
        letterings: on `top` or `bottom`, clear of every edge.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    builder = Builder()
    around = [outline, *[window[::-1] for window in windows]]
    lower = [builder.ring(ring, 0.0) for ring in around]
    upper = [builder.ring(ring, height) for ring in around]
    for below, above in zip(lower, upper, strict=True):
        builder.strip(below, above)
    bottom, top = _sockets(builder, sockets, corner_radius)
    text_top, text_bottom = engrave(builder, letterings, height)
    if sockets:
        obstacles = np.concatenate([*around, *[ring for lettering in letterings for ring in text_rings(lettering)]])
        insets = {inset for _, levels in sockets for inset, _ in levels}
        reach = max(inset + max(corner_radius - inset, LEAST_RADIUS) for inset in insets)
        between = web([socket for socket, _ in sockets], reach, obstacles)
        builder.faces(top[between.faces])
        builder.faces(bottom[between.faces][:, ::-1])
        upper += [top[loop] for loop in between.loops]
        lower += [bottom[loop] for loop in between.loops]
    filled = builder.fill([*upper, *text_top], up=True)
    builder.fill([*lower, *text_bottom], up=False, like=None if letterings else filled)
    return builder.mesh()


def _sockets(
    builder: Builder, sockets: Sequence[tuple[Socket, Levels]], corner_radius: float
) -> tuple[Indices, Indices]:
    """Add the walls of all sockets and return the indices of their rings at the bottom and at the top.

    Returns:
        Two arrays ``(sockets * RING,) int32``: point ``k`` of socket ``s`` stands at ``s * RING + k``.
    """
    bottom = np.empty((len(sockets), RING), dtype=np.int32)
    top = np.empty((len(sockets), RING), dtype=np.int32)
    kinds: dict[tuple[float, float, Levels], list[int]] = {}
    for index, (socket, levels) in enumerate(sockets):
        kinds.setdefault((socket.width, socket.depth, levels), []).append(index)
    for (width, depth, levels), own in kinds.items():
        rings = [rounded_rectangle(0.0, 0.0, width, depth, inset, corner_radius) for inset, _ in levels]
        socket_points = np.empty((len(levels), RING, 3))
        socket_points[:, :, :2] = on_grid(np.stack(rings))  # rounded before it is moved: all of a kind are equal
        socket_points[:, :, 2] = np.array([z for _, z in levels])[:, None]
        moves = np.array([(sockets[index][0].x, sockets[index][0].y, 0.0) for index in own])
        every = builder.points((moves[:, None, None, :] + socket_points).reshape(-1, 3)).reshape(
            len(own), len(levels), RING
        )
        # The walls face inwards: the upper ring goes first. All sockets of a kind have the triangles of its first one,
        # numbered further on: with short loops in the web 8 % less time for a 6 x 6 tile.
        walls = strip_faces(every[0, 1:], every[0, :-1])
        builder.faces(walls + (every[:, 0, 0] - every[0, 0, 0])[:, None, None])
        bottom[own], top[own] = every[:, 0], every[:, -1]
    return bottom.ravel(), top.ravel()
