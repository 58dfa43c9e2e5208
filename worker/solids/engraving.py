"""Engraved or raised text in a flat face, built without booleans: outlines as holes in the cap, walls and a floor."""

from collections.abc import Iterable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import Lettering
from worker.solids.lettering import outlines
from worker.solids.mesh import Builder

Indices: TypeAlias = NDArray[np.int32]


def text_rings(lettering: Lettering) -> list[NDArray[np.float64]]:
    """Return the outlines of a text in the plane of its face seen from above, ``(n, 2) float64``, mm, each.

    Outer rings are counter-clockwise, holes clockwise. Text on `bottom` is mirrored, to be read from below.

    Raises:
        TrayError: when the typeface lacks a character of the lettering.
    """
    rings = outlines(lettering.text, lettering.cap_height, lettering.turn)
    if lettering.face == "bottom":
        rings = tuple(ring[::-1] * (-1.0, 1.0) for ring in rings)
    return [ring + lettering.at for ring in rings]


def engrave(builder: Builder, letterings: Iterable[Lettering], height: float) -> tuple[list[Indices], list[Indices]]:
    """Add walls and floors of the letterings on `top` and `bottom`; return the rings to leave out of either cap.

    Args:
        builder: the mesh to add to.
        letterings: engraved or raised; none may cross another or an edge of its face.
        height: z of the top, mm; the bottom is at 0.

    Returns:
        Point indices ``(n,) int32`` of rings in the top face, then of those in the bottom face, in the orientation
        of holes: outer rings clockwise.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    left_out: tuple[list[Indices], list[Indices]] = ([], [])
    for lettering in letterings:
        up = lettering.face == "top"
        face = height if up else 0.0
        inwards = -1.0 if up else 1.0
        far = face + lettering.depth * (-inwards if lettering.raised else inwards)
        rings = text_rings(lettering)
        on_face = [builder.ring(ring, face) for ring in rings]
        on_floor = [builder.ring(ring, far) for ring in rings]
        for edge, end in zip(on_face, on_floor, strict=True):
            # A raised text's wall faces outwards and goes the other way: the order stays.
            builder.strip(*((edge, end) if up else (end, edge)))
        if on_floor:
            builder.fill(on_floor, up=up)
        left_out[0 if up else 1].extend(edge[::-1] for edge in on_face)
    return left_out
