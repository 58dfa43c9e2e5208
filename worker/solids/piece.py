"""The piece of a jointed tray as a closed solid: the whole tray less what lies beyond its splices.

The whole tray is built once for all of its pieces; each piece is one batched boolean.
"""

from functools import lru_cache
from math import sqrt
from typing import Final

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import PieceShape, Ring, Splice, TrayShape
from worker.layout.tray.pockets.pocket_outline import mitred
from worker.solids.features import Solids, bottom_lettering, outer_size
from worker.solids.finish import finished
from worker.solids.mesh import Builder, Mesh
from worker.solids.ring import on_grid
from worker.solids.tray import tray_solid
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF
from worker.spec.errors import CheckFailed
from worker.spec.tolerances import OVERSHOOT

__all__ = ["build_piece", "piece_genus"]

#: Distance by which cutters extend beyond the tray, mm.
_BEYOND: Final = 5.0
#: Height over which the lower and the upper cutter of an edge overlap, mm.
_SHARED: Final = 0.5


def build_piece(shape: PieceShape) -> Mesh:
    """Return the solid of a piece, mm: closed, on the coordinate grid, without slivers, in the piece's own frame.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
        CheckFailed: when a boolean leaves a hole, or a result that cannot be rounded without slivers.
    """
    cut: Solids = []
    for splice in (shape.right, shape.back):
        cut += [] if splice is None else _behind(splice, shape.tray)
    for splice in (shape.left, shape.front):
        cut += [] if splice is None else _before(splice, shape.tray)
    corner = (*shape.corner, 0.0)
    cut += [bottom_lettering(lettering).translate(corner) for lettering in shape.letterings]
    solid = manifold3d.Manifold.batch_boolean([_whole(shape.tray), *cut], manifold3d.OpType.Subtract)
    if solid.genus() != piece_genus(shape):
        raise CheckFailed(
            "The piece's solid has a through hole that was not planned.",
            value=solid.genus(),
            limit=f"genus {piece_genus(shape)}",
        )
    return finished(solid.translate(tuple(-along for along in corner)))


def piece_genus(_shape: PieceShape) -> int:
    """Return the genus that a piece's solid must have, 0: recesses and slots are open to its edge."""
    return 0


@lru_cache(maxsize=2)  # the pieces of a tray are built one after the other
def _whole(shape: TrayShape) -> manifold3d.Manifold:
    return tray_solid(shape)


def _behind(splice: Splice, tray: TrayShape) -> Solids:
    """Return what is cut off a piece behind its edge, with the recesses for tabs and the slots for tongues."""
    edge = splice.at - splice.air / 2.0
    solids = [_lower(splice.before, splice, tray, behind=True), _upper(edge, splice, tray, behind=True)]
    return solids + [_tongue(tongue.slot, splice, tray, low=tongue.low - tongue.drop) for tongue in splice.tongues]


def _before(splice: Splice, tray: TrayShape) -> Solids:
    """Return what is cut off a piece before its edge, without its tabs and tongues."""
    edge = splice.at + splice.air / 2.0
    tongues = [_tongue(tongue.outline, splice, tray, low=tongue.low, top=tongue.top) for tongue in splice.tongues]
    cutters = (_lower(splice.behind, splice, tray, behind=False), _upper(edge, splice, tray, behind=False))
    return [manifold3d.Manifold.batch_boolean([cutter, *tongues], manifold3d.OpType.Subtract) for cutter in cutters]


def _lower(edge: Ring, splice: Splice, tray: TrayShape, *, behind: bool) -> manifold3d.Manifold:
    """Return a cutter from the bed to just above the tabs, widened at the bed by the first layers' relief."""
    ring = _closed(np.array(edge), splice, tray, behind=behind)
    builder = Builder()
    rings = [
        builder.ring(mitred(ring, FIRST_LAYER_RELIEF + OVERSHOOT), -OVERSHOOT),
        builder.ring(ring, FIRST_LAYER_RELIEF),
        builder.ring(ring, splice.top + OVERSHOOT),
    ]
    builder.cap(rings[0], up=False)
    builder.strip(rings[0], rings[1])
    builder.strip(rings[1], rings[2])
    builder.cap(rings[2], up=True)
    return builder.mesh().manifold()


def _upper(edge: float, splice: Splice, tray: TrayShape, *, behind: bool) -> manifold3d.Manifold:
    """Return a cutter with a plane edge, from among the tabs to above the tray."""
    length = _length(splice, tray)
    line = np.array([[edge, -_BEYOND], [edge, length + _BEYOND]])
    if splice.axis == "y":
        line = line[:, ::-1]
    ring = _closed(line, splice, tray, behind=behind)
    low = splice.top + OVERSHOOT - (_SHARED if behind else OVERSHOOT / 2.0)
    return _extruded(ring, low, tray.height + _BEYOND)


def _closed(edge: NDArray[np.float64], splice: Splice, tray: TrayShape, *, behind: bool) -> NDArray[np.float64]:
    """Return the ring, counter-clockwise, of all that lies behind an edge, or before it."""
    axis = ("x", "y").index(splice.axis)
    far = outer_size(tray)[axis] + _BEYOND if behind else -_BEYOND
    first, last = edge[0].copy(), edge[-1].copy()
    first[axis] = last[axis] = far
    ring = np.concatenate([edge, [last], [first]])
    # along y and then to greater x is clockwise
    return ring[::-1] if behind == (axis == 0) else ring


def _tongue(
    ring: Ring, splice: Splice, tray: TrayShape, *, low: float, top: float | None = None
) -> manifold3d.Manifold:
    """Return a tongue or slot: its outline from z ``low`` at its root up, above a plane that rises at 45 degrees."""
    height = tray.height + _BEYOND if top is None else top
    solid = _extruded(np.array(ring), low - _BEYOND, height)
    root = splice.at + splice.air / 2.0
    normal = (sqrt(0.5), 0.0, sqrt(0.5)) if splice.axis == "x" else (0.0, sqrt(0.5), sqrt(0.5))
    return solid.trim_by_plane(normal, (root + low) * sqrt(0.5))


def _extruded(ring: NDArray[np.float64], low: float, high: float) -> manifold3d.Manifold:
    bottom, top = on_grid(np.array([low, high]))
    return manifold3d.CrossSection([on_grid(ring)]).extrude(top - bottom).translate((0.0, 0.0, bottom))


def _length(splice: Splice, tray: TrayShape) -> float:
    return outer_size(tray)[1 if splice.axis == "x" else 0]
