"""The thinnest wall and the narrowest gap of a solid, measured in horizontal sections.

A wall is the material between two edges of a section that face away from each other, or a neck between two corners that
point towards each other. A corner is not a wall: distances within `_TIP` times the required thickness of a corner's
tip, measured along the section's edge, are ignored. Corners sharper than about 25 degrees are still found.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, inf, radians
from typing import Any, Final

import manifold3d
import numpy as np
import shapely
from numpy.typing import NDArray

from worker.solids.mesh import Mesh

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]
Range = tuple[float, float]

#: Bands of height thinner than this are merged, mm: about the height of one layer.
_LEAST_BAND: Final = 0.25

#: Bands with sloping faces that are at least this tall, mm, have a section near each end; others one in the middle.
_TALL_BAND: Final = 1.0

#: The most bands that have sections, spread evenly.
_MOST_BANDS: Final = 40

#: How far inside a tall band with sloping faces its two sections lie, as a fraction of its height.
_INSIDE: Final = 0.1

#: Edges up to this angle from parallel are two sides of one wall, as a cosine.
_PARALLEL: Final = cos(radians(20.0))

#: Tolerance of directions at a corner, as a sine.
_TURN_SLACK: Final = 0.05

#: Tolerance of simplifying sections, mm: removes the points that the mesh's diagonals leave in them.
_SIMPLIFY: Final = 2e-4

#: Walls are searched for up to this many times the required thickness.
REACH: Final = 1.5

#: Length of a corner's tip in multiples of the required thickness.
_TIP: Final = 2.0

#: Sections are laid out side by side this far apart, mm, so that one search tree serves all of them.
_APART: Final = 50.0


@dataclass(frozen=True, slots=True)
class _Edges:
    """All edges of all sections, with the material to their left; arrays of ``n`` rows, lengths in mm.

    ``start``, ``end`` and the unit direction ``along`` are ``(n, 2) float64``. ``length`` is the edge's, ``way`` the
    distance of its start along its loop, ``round`` the loop's length, all ``(n,) float64``. ``loop`` is the loop's
    number, ``before`` and ``after`` are the indices of the neighbouring edges, all ``(n,) int64``.
    """

    start: Floats
    end: Floats
    along: Floats
    length: Floats
    way: Floats
    round: Floats
    loop: Indices
    before: Indices
    after: Indices


@dataclass(frozen=True, slots=True)
class Widths:
    """The thinnest wall and the narrowest gap in mm; infinity when all are wider than `REACH` times the limit."""

    wall: float
    gap: float


def section_widths(mesh: Mesh, solid: manifold3d.Manifold, limit: float, skip: Sequence[Range] = ()) -> Widths:
    """Return the thinnest wall and the narrowest gap. A gap is a wall of air: both are measured in the same sections.

    Args:
        mesh: the solid's triangles, whose heights decide where sections are taken.
        solid: the same solid in manifold3d.
        limit: the required thickness, mm.
        skip: ranges of height, mm, that are not measured, such as those of letterings.
    """
    low, high = mesh.bounds
    step = float(high[0] - low[0]) + _APART
    edges = _edges(
        [
            np.asarray(loop, dtype=np.float64) + np.array([index * step, 0.0])
            for index, height in enumerate(section_heights(mesh, skip))
            for loop in solid.slice(height).simplify(_SIMPLIFY).to_polygons()
        ]
    )
    if edges is None:
        return Widths(inf, inf)
    reach = REACH * limit
    i, j = _near(edges, reach)
    return Widths(_narrowest(edges, i, j, limit, reach), _narrowest(_turned(edges), i, j, limit, reach))


def _narrowest(edges: _Edges, i: Indices, j: Indices, limit: float, reach: float) -> float:
    """Return the least width of what lies to the left of the edges, between these pairs."""
    sides = _between_sides(edges, i, j, limit)
    apart = edges.before[i] != j
    corners = _between_corners(edges, i[apart], j[apart], limit)
    narrowest = min(sides.min(initial=inf), corners.min(initial=inf))
    return float(narrowest) if narrowest <= reach else inf


def _turned(edges: _Edges) -> _Edges:
    """Return the same edges run the other way round, with the air to their left; their indices stay."""
    return _Edges(
        edges.end, edges.start, -edges.along, edges.length, edges.round - edges.way - edges.length, edges.round,
        edges.loop, edges.after, edges.before,
    )  # fmt: skip


def section_heights(mesh: Mesh, skip: Sequence[Range] = ()) -> list[float]:
    """Return the heights of the sections, mm: one in each band, two in a tall band with sloping faces.

    Bands lie between the heights of the mesh's vertices; thin ones are merged. ``skip`` has ranges of height, mm.
    """
    corners = mesh.vertices[mesh.triangles][:, :, 2]
    levels = np.unique(np.round(mesh.vertices[:, 2], 4)).tolist()
    bounds = levels[:1]
    for level in levels[1:]:
        if level - bounds[-1] >= _LEAST_BAND:
            bounds.append(level)
    bands = list(itertools.pairwise(bounds))
    bands = [(a, b) for a, b in bands if not any(a < top and b > bottom for bottom, top in skip)]
    if len(bands) > _MOST_BANDS:
        bands = [bands[index] for index in np.linspace(0, len(bands) - 1, _MOST_BANDS).round().astype(int)]
    low, high = corners.min(axis=1), corners.max(axis=1)
    sloping = _sloping(mesh)
    heights: list[float] = []
    for a, b in bands:
        if b - a >= _TALL_BAND and bool((sloping & (low < b) & (high > a)).any()):
            heights += [a + _INSIDE * (b - a), b - _INSIDE * (b - a)]
        else:
            heights.append((a + b) / 2.0)
    return heights


def _sloping(mesh: Mesh) -> Mask:
    """Return which triangles are neither vertical nor horizontal, ``(n,) bool``."""
    a, b, c = (mesh.vertices[mesh.triangles[:, corner]] for corner in range(3))
    normals = np.cross(b - a, c - a)
    lengths = np.linalg.norm(normals, axis=1)
    rise = np.abs(normals[:, 2])
    sloping: Mask = (rise > 1e-3 * lengths) & (rise < (1.0 - 1e-6) * lengths)
    return sloping


def _edges(loops: Sequence[Floats]) -> _Edges | None:
    """Return the edges of closed loops ``(n, 2) float64``, mm, without those of no length; None when none are left."""
    if not loops:
        return None
    points, loop = np.concatenate(loops), np.repeat(np.arange(len(loops)), [len(points) for points in loops])
    step = points[_after(loop)] - points
    kept = np.hypot(step[:, 0], step[:, 1]) > _SIMPLIFY / 10.0
    kept &= (np.bincount(loop[kept], minlength=len(loops)) > 2)[loop]  # noqa: PLR2004 - two edges hold no area
    if not kept.any():
        return None
    start, loop = points[kept], loop[kept]
    after = _after(loop)
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    step = start[after] - start
    length = np.hypot(step[:, 0], step[:, 1])
    gone = np.cumsum(length) - length
    first = np.searchsorted(loop, loop)
    rounds = np.asarray(np.bincount(loop, weights=length)[loop], dtype=np.float64)
    return _Edges(start, start[after], step / length[:, None], length, gone - gone[first], rounds, loop, before, after)


def _after(loop: Indices) -> Indices:
    """Return the index of each edge's successor, ``(n,) int64``, given each edge's loop in ascending order."""
    after = np.arange(1, len(loop) + 1)
    last = np.append(loop[1:] != loop[:-1], True)
    after[last] = np.searchsorted(loop, loop[last])
    return after


def _near(edges: _Edges, reach: float) -> tuple[Indices, Indices]:
    """Return the pairs of edges ``(m,) int64``, in both orders, whose bounding boxes are within ``reach`` mm."""
    low, high = np.minimum(edges.start, edges.end), np.maximum(edges.start, edges.end)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    grown = shapely.box(low[:, 0] - reach, low[:, 1] - reach, high[:, 0] + reach, high[:, 1] + reach)
    i, j = shapely.STRtree(boxes).query(grown)
    return i[i != j], j[i != j]


def _between_sides(edges: _Edges, i: Indices, j: Indices, limit: float) -> Floats:
    """Return the least thickness between edges that face away from each other, ``(k,) float64``, mm.

    Pairs of edges ``i`` and ``j`` count where they run side by side. Material lies to the left of every edge. A point
    on edge ``i`` is ``s`` mm from its start; edge ``j`` runs the other way, so its end comes first. The distance along
    the loop from the point to the one opposite decreases as ``s`` grows.
    """
    facing = -_dot(edges.along[i], edges.along[j])
    i, j = _where(facing >= _PARALLEL, i, j)
    along, normal = edges.along[i], _left(edges.along[i])
    first, last = edges.end[j] - edges.start[i], edges.start[j] - edges.start[i]
    s_first, s_last = _dot(along, first), _dot(along, last)
    low, high = np.maximum(s_first, 0.0), np.minimum(s_last, edges.length[i])
    h_first, slope = _dot(normal, first), _dot(normal, last - first) / (s_last - s_first)
    i, j, s_first, s_last, low, high, h_first, slope = _where(
        high > low, i, j, s_first, s_last, low, high, h_first, slope
    )
    fall = 1.0 + edges.length[j] / (s_last - s_first)
    way = (edges.way[j] + edges.length[j] + (s_first - low) * (fall - 1.0) - edges.way[i] - low) % edges.round[i]
    same = edges.loop[i] == edges.loop[j]
    tips = 2.0 * _TIP * limit
    start = np.where(same, low + np.maximum(way - edges.round[i] + tips, 0.0) / fall, low)
    stop = np.where(same, np.minimum(low + (way - tips) / fall, high), high)
    thickness = h_first + slope * (np.where(slope > 0.0, start, stop) - s_first)
    walls: Floats = thickness[(stop > start) & (thickness > 0.0)]
    return walls


def _between_corners(edges: _Edges, i: Indices, j: Indices, limit: float) -> Floats:
    """Return the thickness between corners and the nearest points of edges, ``(k,) float64``, mm.

    The corners are the starts of edges ``i``, the points lie on edges ``j``. A pair counts where the distance through
    the material is a local minimum: at a corner between an incoming edge along ``t`` and an outgoing edge along ``u``
    the direction ``d`` to the other point satisfies ``d . t >= 0`` and ``d . u <= 0``.
    """
    here = edges.start[i]
    s = np.clip(_dot(edges.along[j], here - edges.start[j]), 0.0, edges.length[j])
    across = edges.start[j] + edges.along[j] * s[:, None] - here
    distance = np.hypot(across[:, 0], across[:, 1])
    apart = np.abs(edges.way[j] + s - edges.way[i])
    apart = np.minimum(apart, edges.round[i] - apart)
    keep = (distance > 0.0) & ((edges.loop[i] != edges.loop[j]) | (apart >= 2.0 * _TIP * limit))
    i, j, s, distance, across = _where(keep, i, j, s, distance, across)
    way = across / distance[:, None]
    beyond = s >= edges.length[j]
    corner = np.where(beyond, edges.after[j], j)  # the edge that starts at the corner met
    reaches = np.where(beyond | (s <= 0.0), _is_neck(edges, corner, -way), _cross(edges.along[j], -way) > 0.0)
    necks: Floats = distance[reaches & _is_neck(edges, i, way)]
    return necks


def _is_neck(edges: _Edges, i: Indices, way: Floats) -> Mask:
    """Return whether the distance along ``way`` has a local minimum at the start of edge ``i``, ``(n,) bool``."""
    come, go = edges.along[edges.before[i]], edges.along[i]
    inside = (_cross(come, way) > 0.0) | (_cross(go, way) > 0.0)
    neck: Mask = (_dot(come, way) >= -_TURN_SLACK) & (_dot(go, way) <= _TURN_SLACK) & inside
    return neck


def _where(keep: Mask, *arrays: Any) -> Any:
    """Return the rows of each array for which ``keep`` is true."""
    return tuple(array[keep] for array in arrays)


def _dot(a: Floats, b: Floats) -> Floats:
    dot: Floats = np.einsum("ij,ij->i", a, b)
    return dot


def _cross(a: Floats, b: Floats) -> Floats:
    cross: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return cross


def _left(a: Floats) -> Floats:
    return np.column_stack([-a[:, 1], a[:, 0]])
