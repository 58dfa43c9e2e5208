"""The thinnest wall and the narrowest gap of a solid, measured in horizontal sections.

A wall is material between two edges of a section that face away from each other, or a neck between two corners that
reach towards each other. A corner is no wall: what is measured within `_TIP` least walls of a tip, going round it along
the section's edge, does not count. So a corner counts from about 25 degrees down, when it is a feather.
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

from worker.output.checks.intersections import box_diagonals
from worker.solids.mesh import Mesh

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]
Range = tuple[float, float]

#: Bands of height thinner than this are joined: about the height of one layer.
_LEAST_BAND: Final = 0.25

#: Sloping walls are cut near both ends of a band at least this tall; in others the middle stands for all.
_TALL_BAND: Final = 1.0

#: No more bands than this are cut, spread evenly.
_MOST_BANDS: Final = 40

#: How far inside a tall band with sloping faces its two sections lie, as a fraction of its height.
_INSIDE: Final = 0.1

#: Edges up to this angle from parallel are two sides of one wall.
_PARALLEL: Final = cos(radians(20.0))

#: Slack of the directions at a corner, as a sine.
_TURN_SLACK: Final = 0.05

#: Sections are simplified by this much, so that the mesh's diagonals leave no points in them.
_SIMPLIFY: Final = 2e-4

#: How thick a wall is looked for, in least walls.
REACH: Final = 1.5

#: A corner's tip is this many least walls long.
_TIP: Final = 2.0

#: Sections are laid out side by side this far apart, to search them in one go.
_APART: Final = 50.0


@dataclass(frozen=True, slots=True)
class _Edges:
    """All edges of all sections, material to their left.

    ``start``, ``end`` and the unit direction ``along`` are ``(n, 2)``; ``way`` is the start's place along its loop,
    ``round`` the loop's length, ``loop`` its number; ``before`` and ``after`` are the neighbours' indices.
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
        mesh: the solid's triangles, which tell where to cut.
        solid: the same as the kernel has it.
        limit: how thick a wall has to be.
        skip: ranges of height that are not measured, as those of letterings.
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
    i, j = _near(edges, reach, 2.0 * _TIP * limit)
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
    """Return the heights to cut at: one in each band, two where walls slope over a tall one.

    Bands lie between the heights of the mesh's vertices; thin ones are joined.
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
    """Tell which triangles are neither upright nor level, ``(n,) bool``."""
    a, b, c = (mesh.vertices[mesh.triangles[:, corner]] for corner in range(3))
    normals = np.cross(b - a, c - a)
    lengths = np.linalg.norm(normals, axis=1)
    rise = np.abs(normals[:, 2])
    sloping: Mask = (rise > 1e-3 * lengths) & (rise < (1.0 - 1e-6) * lengths)
    return sloping


def _edges(loops: Sequence[Floats]) -> _Edges | None:
    """Return the edges of closed loops, those without length left out; None when nothing is left."""
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
    """Return the index of each edge's successor, given each edge's loop in rising order."""
    after = np.arange(1, len(loop) + 1)
    last = np.append(loop[1:] != loop[:-1], True)
    after[last] = np.searchsorted(loop, loop[last])
    return after


def _near(edges: _Edges, reach: float, tips: float) -> tuple[Indices, Indices]:
    """Return pairs of edges, both ways round, whose boxes come as near as ``reach``.

    Left out are those that are nowhere ``tips`` apart along their loop: they are parts of one corner.
    """
    low, high = np.minimum(edges.start, edges.end), np.maximum(edges.start, edges.end)
    i, j = shapely.STRtree(box_diagonals(low, high)).query(box_diagonals(low - reach, high + reach))
    between = np.abs(edges.way[i] - edges.way[j])
    between = np.minimum(between, edges.round[i] - between) + edges.length[i] + edges.length[j]
    apart = (i != j) & ((edges.loop[i] != edges.loop[j]) | (between >= tips))
    return i[apart], j[apart]


def _between_sides(edges: _Edges, i: Indices, j: Indices, limit: float) -> Floats:
    """Return the thickness between pairs of edges that face away from each other, where both run side by side.

    Material lies to the left of every edge. A place on edge ``i`` is ``s`` mm from its start; edge ``j`` runs against
    it, so that its end comes first. The way from one place along the loop to the other falls as ``s`` grows.
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
    """Return the thickness between corners (the starts of edges ``i``) and the nearest points of edges ``j``.

    It counts where the distance through the material is a local minimum: at a corner between edges that come in along
    ``t`` and go out along ``u``, a direction ``d`` with ``d . t >= 0`` and ``d . u <= 0``.
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
    """Tell whether the distance in the direction ``way``, into the material, is least at the start of edge ``i``."""
    come, go = edges.along[edges.before[i]], edges.along[i]
    inside = (_cross(come, way) > 0.0) | (_cross(go, way) > 0.0)
    neck: Mask = (_dot(come, way) >= -_TURN_SLACK) & (_dot(go, way) <= _TURN_SLACK) & inside
    return neck


def _where(keep: Mask, *arrays: Any) -> Any:
    """Return each array's rows that are kept."""
    return tuple(array[keep] for array in arrays)


def _dot(a: Floats, b: Floats) -> Floats:
    dot: Floats = np.einsum("ij,ij->i", a, b)
    return dot


def _cross(a: Floats, b: Floats) -> Floats:
    cross: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return cross


def _left(a: Floats) -> Floats:
    return np.column_stack([-a[:, 1], a[:, 0]])
