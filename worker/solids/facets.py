"""Triangulation of plane regions without new points and without slivers.

manifold3d triangulates by ear clipping; where many points are collinear an ear may be flat. Such a sliver is removed
by flipping the edge to its neighbour, which moves no point and changes no outline.
"""

from collections.abc import Sequence
from typing import Final, TypeAlias

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.spec.tolerances import SLIVER_ALTITUDE

Faces: TypeAlias = NDArray[np.int32]

#: The longest edge of a triangle is flipped when its altitude is below this, well above that of a sliver (mm).
_THIN: Final = 10.0 * SLIVER_ALTITUDE

#: Rounds of flips at most: each round frees one more of a row of collinear points.
_ROUNDS: Final = 64


def facets(rings: Sequence[NDArray[np.float64]], like: Faces | None = None) -> Faces:
    """Return the triangles that fill a region, ``(m, 3) int32``, counter-clockwise: indices into the joined rings.

    Args:
        rings: ``(n, 2) float64``, mm, each; outer rings counter-clockwise, holes clockwise, islands in holes
            counter-clockwise. None may cross or touch another.
        like: triangles of the same rings with their points moved a little. They are returned when all of them keep
            their orientation: then they cover each point as often as the rings wind around it, which is once. A tile's
            bottom takes its top's (6 x 6 tile: 2.3 instead of 3.1 ms, with seams 3.0 instead of 4.1 ms).
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
    """Flip a triangle's longest edge, or else its neighbour's across it, and so on; return whether one was flipped.

    Where a row of collinear points fans out to one far point, only the row's last triangle has an edge to flip.
    ``faces`` ``(m, 3) int32`` and ``thickness`` ``(m,) float64``, mm, are changed in place.
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
    """Return each triangle's least altitude, ``(m,) float64``, mm, negative where the triangle runs clockwise."""
    corners = points[faces]
    sides = corners[:, [1, 2, 0]] - corners
    doubled = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
    least: NDArray[np.float64] = doubled / np.sqrt(_squares(sides).max(axis=1))
    return least


def _squares(sides: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the squared lengths of vectors ``(..., 2) float64``."""
    squares: NDArray[np.float64] = np.einsum("...i,...i->...", sides, sides)
    return squares
