"""The undersides of a part: overhangs, bridges, free edges, islands and the first layer, measured on its mesh.

A level underside is a connected set of level triangles that face down above the bed. Each of its boundary edges is
either carried, where the neighbouring triangle goes down, or free, where it goes up. The span of an underside is the
diameter of the largest circle inside it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi, radians, sin
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from worker.solids.mesh import Mesh
from worker.spec.tolerances import OVERHANG_SLACK, SAME_LEVEL

Floats: TypeAlias = NDArray[np.float64]
Indices: TypeAlias = NDArray[np.int64]
Mask: TypeAlias = NDArray[np.bool_]
Place: TypeAlias = tuple[float, float, float]

#: Overhangs up to this angle from the vertical need no support (common practice).
OVERHANG_MOST: Final = 45.0

#: A face counts as level when its normal is this near the vertical: rounding in single precision.
_LEVEL: Final = 1e-6

#: Share of an underside's box to which its largest circle is searched.
_CIRCLE_SHARE: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Extreme:
    """The largest figure of its kind and where it was measured; ``at`` is None when there is none."""

    value: float = 0.0
    at: Place | None = None


@dataclass(frozen=True, slots=True)
class Undersides:
    """What faces down: the angle in degrees from the vertical, areas in mm2, lengths in mm."""

    overhang: Extreme
    overhang_area: float
    bridge: Extreme
    free_edge: Extreme
    roof: Extreme
    islands: tuple[Place, ...]
    contact_area: float
    base_width: float


@dataclass(frozen=True, slots=True)
class _Faces:
    """Corners ``(m, 3, 3) float64`` in mm, unit normals ``(m, 3)`` and areas ``(m,)`` in mm2 of all triangles."""

    corners: Floats
    normals: Floats
    areas: Floats


@dataclass(frozen=True, slots=True)
class _Region:
    """A connected set of triangles and its boundary: edges by vertex ``(k, 2)``, and which of them are free."""

    members: Indices
    edges: Indices
    free: Mask
    #: Seen from above.
    area: float
    perimeter: float

    @property
    def mean_width(self) -> float:
        """Twice the area over the perimeter: the width of a strip, the radius of a disc."""
        return 2.0 * self.area / self.perimeter


def measure_undersides(mesh: Mesh, line_width: float) -> Undersides:
    """Return the figures of a part's undersides.

    Args:
        mesh: a closed solid as printed.
        line_width: of the printer, in mm: the neighbouring line carries an underside no wider than one line.
    """
    faces = _faces(mesh)
    bed = float(mesh.vertices[:, 2].min())
    lowest = faces.corners[:, :, 2].min(axis=1)
    rise = -faces.normals[:, 2]
    level = rise >= 1.0 - _LEVEL
    on_bed = level & (lowest <= bed + SAME_LEVEL)
    steep = (rise > sin(radians(OVERHANG_MOST + OVERHANG_SLACK))) & ~level
    hanging = [region for region in _regions(mesh, faces, np.flatnonzero(steep)) if region.mean_width > line_width]
    flat = [
        region for region in _regions(mesh, faces, np.flatnonzero(level & ~on_bed)) if region.mean_width > line_width
    ]
    sloping = np.flatnonzero((rise > 0.0) & ~level & ~steep)
    return Undersides(
        overhang=_steepest(faces, [*(region.members for region in hanging), sloping]),
        overhang_area=float(sum(faces.areas[region.members].sum() for region in hanging)),
        bridge=_widest(faces, [region for region in flat if region.free.any()]),
        free_edge=_longest_free(mesh, flat),
        roof=_widest(faces, [region for region in flat if not region.free.any()]),
        islands=tuple(_islands(mesh, faces, bed)),
        contact_area=float(faces.areas[on_bed].sum()),
        base_width=_narrower_side(faces.corners[on_bed].reshape(-1, 3)[:, :2]),
    )


def _faces(mesh: Mesh) -> _Faces:
    corners = mesh.vertices[mesh.triangles]
    doubled = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.sqrt(np.einsum("ij,ij->i", doubled, doubled))
    return _Faces(corners, doubled / np.where(lengths > 0.0, lengths, 1.0)[:, None], lengths / 2.0)


def _regions(mesh: Mesh, faces: _Faces, members: Indices) -> Iterator[_Region]:
    """Yield the sets of these triangles that are connected by edges."""
    if not len(members):
        return
    triangles = mesh.triangles.astype(np.int64)
    count = len(mesh.vertices)
    # neighbours share a vertex with a member, so only such triangles are sorted
    touched = np.zeros(count, dtype=np.bool_)
    touched[triangles[members]] = True
    near = np.flatnonzero(touched[triangles].any(axis=1))
    start, end = triangles[near].ravel(), triangles[near][:, [1, 2, 0]].ravel()
    keys, owners = start * count + end, np.repeat(near, 3)
    order = np.argsort(keys)
    edges = np.stack([triangles[members], triangles[members][:, [1, 2, 0]]], axis=-1).reshape(-1, 2)
    opposite = owners[order[np.searchsorted(keys[order], edges[:, 1] * count + edges[:, 0])]]
    place = np.full(len(triangles), -1)
    place[members] = np.arange(len(members))
    own = np.repeat(np.arange(len(members)), 3)
    inner = place[opposite] >= 0
    labels = components(len(members), own[inner], place[opposite[inner]])
    # the neighbour's far corner lies above the edge: nothing is below
    free = faces.corners[opposite][:, :, 2].max(axis=1) > faces.corners[members[own]][:, :, 2].max(axis=1) + SAME_LEVEL
    lengths = np.linalg.norm(mesh.vertices[edges[:, 1], :2] - mesh.vertices[edges[:, 0], :2], axis=1)
    plan = faces.areas * np.abs(faces.normals[:, 2])
    for label in np.unique(labels):
        within = labels == label
        border = within[own] & ~inner
        yield _Region(
            members[within], edges[border], free[border], float(plan[members[within]].sum()),
            float(lengths[border].sum()),
        )  # fmt: skip


def components(count: int, first: Indices, second: Indices) -> Indices:
    """Return the component of each of ``count`` nodes, ``(count,) int64``: its least node, given the links' two ends.

    Labels spread along the links and jump to their label's label, so the rounds grow with the logarithm of a chain.
    """
    labels = np.arange(count, dtype=np.int64)
    while True:
        least = labels.copy()
        np.minimum.at(least, first, labels[second])
        np.minimum.at(least, second, labels[first])
        np.minimum.at(least, labels, least.copy())
        least = least[least]
        if np.array_equal(least, labels):
            return labels
        labels = least


def _steepest(faces: _Faces, groups: list[Indices]) -> Extreme:
    """Return the overhang that leans the most, in degrees from the vertical."""
    members = np.concatenate(groups)
    if not len(members):
        return Extreme()
    worst = members[np.argmin(faces.normals[members, 2])]
    angle = float(np.degrees(np.arcsin(-faces.normals[worst, 2])))
    return Extreme(angle, _place(faces.corners[worst].mean(axis=0)))


def _widest(faces: _Faces, regions: list[_Region]) -> Extreme:
    """Return the widest span of level undersides: a circle inside one is no wider than its box or its area allow."""
    boxes = [np.ptp(faces.corners[region.members][:, :, :2].reshape(-1, 2), axis=0).min() for region in regions]
    most = [min(float(box), 2.0 * (region.area / pi) ** 0.5) for box, region in zip(boxes, regions, strict=True)]
    widest = Extreme()
    for index in sorted(range(len(regions)), key=lambda index: -most[index]):
        if most[index] <= widest.value:
            break
        corners = faces.corners[regions[index].members]
        plan = shapely.coverage_union_all(shapely.polygons(corners[:, :, :2]))
        circle = shapely.maximum_inscribed_circle(plan, tolerance=_CIRCLE_SHARE * most[index])
        (x, y), rim = shapely.get_coordinates(circle)
        span = 2.0 * float(np.hypot(*(rim - (x, y))))
        if span > widest.value:
            widest = Extreme(span, _place(np.array([x, y, corners[0, 0, 2]])))
    return widest


def _longest_free(mesh: Mesh, regions: list[_Region]) -> Extreme:
    """Return the longest chain of free edges."""
    longest = Extreme()
    for region in regions:
        edges = region.edges[region.free]
        if not len(edges):
            continue
        _, ends = np.unique(edges, return_inverse=True)
        first, second = ends.reshape(-1, 2).T
        labels = components(int(ends.max()) + 1, first, second)[first]
        lengths = np.linalg.norm(mesh.vertices[edges[:, 1]] - mesh.vertices[edges[:, 0]], axis=1)
        totals = np.bincount(labels, weights=lengths)
        worst = int(totals.argmax())
        if totals[worst] > longest.value:
            chain = mesh.vertices[edges[labels == worst]].reshape(-1, 3)
            longest = Extreme(float(totals[worst]), _place((chain.min(axis=0) + chain.max(axis=0)) / 2.0))
    return longest


def _islands(mesh: Mesh, faces: _Faces, bed: float) -> Iterator[Place]:
    """Yield a point of each place that starts in mid-air: a lowest point of the plastic above the bed.

    The floor of a recess is a lowest point of the surface too, but there the normals point up.
    """
    height = mesh.vertices[:, 2]
    triangles = mesh.triangles.astype(np.int64)
    start, end = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    drop = height[start] - height[end]
    least = height > bed + SAME_LEVEL
    least[start[drop > SAME_LEVEL]] = False  # each edge runs both ways
    alike = np.abs(drop) <= SAME_LEVEL
    first, second = start[alike], end[alike]
    while True:  # a level edge to a point that has a lower neighbour: neither is a lowest one
        mixed = least[first] != least[second]
        if not mixed.any():
            break
        least[first[mixed]] = False
    if not least.any():
        return
    members = np.flatnonzero(least[mesh.triangles].any(axis=1))
    corners = faces.corners[members]
    to_next = np.roll(corners, -1, axis=1) - corners
    to_last = np.roll(corners, 1, axis=1) - corners
    angles = np.arctan2(np.linalg.norm(np.cross(to_next, to_last), axis=2), np.einsum("ijk,ijk->ij", to_next, to_last))
    upward = np.bincount(
        mesh.triangles[members].ravel(),
        weights=(angles * faces.normals[members, 2][:, None]).ravel(),
        minlength=len(height),
    )
    inside = least[first] & least[second]
    labels = components(len(height), first[inside], second[inside])
    lowest = np.flatnonzero(least)
    sums = np.bincount(labels[lowest], weights=upward[lowest], minlength=len(height))
    for vertex in np.unique(labels[lowest]):
        if sums[vertex] < 0.0:
            yield _place(mesh.vertices[vertex])


def _narrower_side(points: Floats) -> float:
    """Return the narrower side of the smallest rectangle around points ``(n, 2)``, in mm; 0 without points."""
    if not len(points):
        return 0.0
    around = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.multipoints(np.unique(points, axis=0))))
    return float(np.linalg.norm(np.diff(around[:3], axis=0), axis=1).min())


def _place(point: Floats) -> Place:
    x, y, z = (round(float(along), 3) for along in point)
    return x, y, z
