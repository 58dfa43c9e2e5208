"""Facets: plane regions cut into triangles between the points that are there already.

The library clips ears; where many points lie in a row it may clip one that is flat. Such a sliver is turned into its
neighbour by flipping the edge between them, which moves no point and changes no outline.
"""

from collections.abc import Sequence
from typing import Final, TypeAlias

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.spec.tolerances import SLIVER_ALTITUDE

Faces: TypeAlias = NDArray[np.int32]

#: Altitude under which a triangle's longest edge is flipped: well over what counts as a sliver.
_THIN: Final = 10.0 * SLIVER_ALTITUDE

#: Rounds of flips; each round brings a row of points one further.
_ROUNDS: Final = 64


def facets(rings: Sequence[NDArray[np.float64]], like: Faces | None = None) -> Faces:
    """Return triangles that fill a region, ``(m, 3) int32``, counter-clockwise, by index into all rings in one row.

    Args:
        rings: ``(n, 2) float64`` in mm each; outer rings counter-clockwise, holes clockwise, islands in holes again
            counter-clockwise. None may cross or touch another.
        like: triangles that fill the same rings moved a little. They are taken again when all of them still turn the
            same way: then they cover each point as often as the rings wind around it, which is once.
    """
    points = np.concatenate(rings)
    if like is not None and (_altitudes(points, like) >= _THIN).all():
        return like
    faces: Faces = manifold3d.triangulate(rings)
    thickness = _altitudes(points, faces)
    if (thickness >= _THIN).all():
        return faces
    faces = faces.copy()
    for _ in range(_ROUNDS):
        thin = np.flatnonzero(thickness < _THIN)
        if not sum(_thicken(points, faces, thickness, int(face)) for face in thin):
            break
    return faces


def _thicken(points: NDArray[np.float64], faces: Faces, thickness: NDArray[np.float64], face: int) -> bool:
    """Flip the longest edge of a face, or else of the next one across it and so on; tell whether one was flipped.

    Where a row of points fans out to one far point, only the last face of the row has a neighbour that helps.
    """
    seen = {face}
    while True:
        corners = faces[face]
        ring = points[corners]
        longest = int(_squares(ring[[1, 2, 0]] - ring).argmax())
        a, b, c = corners[longest], corners[(longest + 1) % 3], corners[(longest + 2) % 3]
        # The neighbour names the edge in opposite order.
        beyond, at = np.nonzero((faces == b) & (faces[:, [1, 2, 0]] == a))
        if len(beyond) != 1:
            return False  # an edge of the region itself
        other = int(beyond[0])
        d = faces[other, (at[0] + 2) % 3]
        turned = np.array([[c, a, d], [d, b, c]], dtype=np.int32)
        after = _altitudes(points, turned)
        if after.min() > thickness[[face, other]].min():
            faces[[face, other]], thickness[[face, other]] = turned, after
            return True
        if other in seen:
            return False
        seen.add(other)
        face = other


def _altitudes(points: NDArray[np.float64], faces: Faces) -> NDArray[np.float64]:
    """Return each triangle's least altitude, ``(m,) float64`` in mm, negative when it is turned over."""
    corners = points[faces]
    sides = corners[:, [1, 2, 0]] - corners
    doubled = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
    least: NDArray[np.float64] = doubled / np.sqrt(_squares(sides).max(axis=1))
    return least


def _squares(sides: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the squared lengths of vectors ``(..., 2)``."""
    squares: NDArray[np.float64] = np.einsum("...i,...i->...", sides, sides)
    return squares
