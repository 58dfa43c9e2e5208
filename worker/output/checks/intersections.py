"""Self-intersection: pairs of a mesh's triangles that reach into each other.

The broad phase keeps pairs whose boxes touch. The narrow phase is the separating axis theorem for two convex sets: two
triangles are apart when, along one of the normals of their Minkowski difference, they overlap by no more than
`INTERSECTION_DEPTH`. Any axis that shows them apart is proof, so rounding can hide no crossing and invent none that is
deeper than this. Triangles that share a vertex or an edge touch, with depth zero, unless they fold over each other.

Arrays run with the triangles along the last axis, ``(corner, coordinate, triangle)``, which NumPy reduces fastest.
"""

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from worker.solids.mesh import Mesh
from worker.spec.tolerances import INTERSECTION_DEPTH

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

#: Pairs looked at in one go, to bound memory.
_CHUNK: Final = 150_000

#: Layers of height that the search goes by are at most one fewer.
_LEVELS: Final = 8

_NEXT: Final = (1, 2, 0)


def intersecting_pairs(mesh: Mesh) -> Indices:
    """Return the pairs of triangles that reach into each other, ``(2, n) int64``, lower index first."""
    corners = np.ascontiguousarray(mesh.vertices[mesh.triangles].transpose(1, 2, 0))
    normals = _cross(corners[1] - corners[0], corners[2] - corners[0])
    lengths = np.sqrt((normals * normals).sum(axis=0))
    normals /= np.where(lengths > 0.0, lengths, 1.0)
    crossing = [_crossing(corners, normals, pairs) for pairs in _near_pairs(corners)]
    return np.concatenate([np.zeros((2, 0), dtype=np.int64), *crossing], axis=1)


def box_diagonals(low: Floats, high: Floats) -> Any:
    """Return a line across each box from ``low`` to ``high``, ``(n, 2)``: to a search tree it is the box, and cheap."""
    return shapely.linestrings(np.stack([low, high], axis=1))


def _near_pairs(corners: Floats) -> Iterator[Indices]:
    """Give the pairs whose boxes touch, each once, in pieces.

    The search tree knows x and y only, so it is asked layer by layer: triangles that span the same layers are one
    group, and only groups that have a layer in common are held against each other.
    """
    low, high = corners.min(axis=0), corners.max(axis=0)
    boxes = box_diagonals(low[:2].T, high[:2].T)
    groups = [
        (lowest, highest, members, shapely.STRtree(boxes[members]))
        for lowest, highest, members in _layers(low[2], high[2])
    ]
    near_pairs: list[Indices] = []
    for index, (lowest, highest, members, _) in enumerate(groups):
        for other in range(index, len(groups)):
            others_lowest, others_highest, others, tree = groups[other]
            if others_lowest > highest or lowest > others_highest:
                continue
            a, b = tree.query(boxes[members])
            a, b = members[a], others[b]
            near = (low[2][a] <= high[2][b]) & (low[2][b] <= high[2][a])
            if other == index:
                near &= a < b  # the tree gives such pairs both ways round
            near_pairs.append(np.stack([np.minimum(a[near], b[near]), np.maximum(a[near], b[near])]))
    pairs = np.concatenate(near_pairs, axis=1)
    for start in range(0, pairs.shape[1], _CHUNK):
        yield pairs[:, start : start + _CHUNK]


def _layers(low: Floats, high: Floats) -> Iterator[tuple[int, int, Indices]]:
    """Sort triangles by the layers that they span: give the lowest, the highest, and the triangles.

    Layers are counted in halves: even ones are the levels between layers, odd ones lie strictly between two levels.
    """
    levels = np.unique(np.concatenate([low, high]))
    if len(levels) > _LEVELS:
        levels = np.unique(np.quantile(np.concatenate([low, high]), np.linspace(0.0, 1.0, _LEVELS)))
    lowest, highest = (np.searchsorted(levels, z) + np.searchsorted(levels, z, side="right") for z in (low, high))
    keys = lowest * (2 * len(levels) + 1) + highest
    order = np.argsort(keys, kind="stable")
    for members in np.split(order, np.flatnonzero(np.diff(keys[order])) + 1):
        yield int(lowest[members[0]]), int(highest[members[0]]), members


def _crossing(corners: Floats, normals: Floats, pairs: Indices) -> Indices:
    """Return those of the pairs that no axis separates."""
    flat = np.zeros(pairs.shape[1], dtype=np.bool_)
    for a, b in ((0, 1), (1, 0)):
        low, high = _heights(corners, normals, pairs[a], pairs[b])
        flat |= np.maximum(high, -low) <= INTERSECTION_DEPTH
        keep = flat | (np.minimum(high, -low) > INTERSECTION_DEPTH)
        pairs, flat = pairs[:, keep], flat[keep]
    level, steep = pairs[:, flat], pairs[:, ~flat]
    return np.concatenate([_not_apart_in_plane(corners, normals, level), _not_apart_in_space(corners, steep)], axis=1)


def _heights(corners: Floats, normals: Floats, a: Indices, b: Indices) -> tuple[Floats, Floats]:
    """Return the least and greatest height of each ``b`` over the plane of its ``a``."""
    axis = normals.take(a, axis=1)
    heights = np.einsum("ip,kip->kp", axis, corners.take(b, axis=2)) - np.einsum(
        "ip,ip->p", axis, corners[0].take(a, axis=1)
    )
    return heights.min(axis=0), heights.max(axis=0)


def _not_apart_in_plane(corners: Floats, normals: Floats, pairs: Indices) -> Indices:
    """Drop the pairs of one plane that an edge of either separates."""
    for owner in (0, 1):
        for edge in range(3):
            a = pairs[owner]
            pairs = _overlapping(corners, pairs, _cross(normals.take(a, axis=1), _edge(corners, edge, a)))
    return pairs


def _not_apart_in_space(corners: Floats, pairs: Indices) -> Indices:
    """Drop the pairs that are apart across an edge of each."""
    for first in range(3):
        for second in range(3):
            axes = _cross(_edge(corners, first, pairs[0]), _edge(corners, second, pairs[1]))
            pairs = _overlapping(corners, pairs, axes)
    return pairs


def _overlapping(corners: Floats, pairs: Indices, axes: Floats) -> Indices:
    """Return the pairs that overlap along their axis by more than the tolerance; an axis of no length says nothing."""
    lengths = np.sqrt((axes * axes).sum(axis=0))
    a = np.einsum("ip,kip->kp", axes, corners.take(pairs[0], axis=2))
    b = np.einsum("ip,kip->kp", axes, corners.take(pairs[1], axis=2))
    depth = np.minimum(a.max(axis=0) - b.min(axis=0), b.max(axis=0) - a.min(axis=0))
    overlapping: Indices = pairs[:, (depth > INTERSECTION_DEPTH * lengths) | (lengths == 0.0)]
    return overlapping


def _edge(corners: Floats, edge: int, triangles: Indices) -> Floats:
    along: Floats = corners[_NEXT[edge]].take(triangles, axis=1) - corners[edge].take(triangles, axis=1)
    return along


def _cross(a: Floats, b: Floats) -> Floats:
    """Return the cross product along the first axis, ``(3, n)``."""
    return np.stack([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])
