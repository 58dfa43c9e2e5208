"""Sections of a solid: a few bands of height that stand for all its layers."""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, pi
from typing import Final, Self

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.solids import Mesh
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Band", "Contours", "bands"]

#: Between two vertex heights that are nearer than this no band ends, unless a flat face lies there.
LEAST_BAND: Final = 1.5

#: A band through which a face slopes is no higher than this.
SLOPING_BAND: Final = 1.5

#: A flat face of a smaller share of the part's footprint does not end a band: letterings, chamfers.
FLAT_SHARE: Final = 0.01

#: Turns under this many radians are facets of an arc, which a printer takes without slowing down.
_SMOOTH: Final = pi / 9.0

#: Part of a normal that points up or down in a face that slopes: 3 degrees from upright.
_UPRIGHT: Final = 0.05


@dataclass(frozen=True, slots=True)
class Contours:
    """What the lines along a region's edge are: length in mm, number of rings, corners as right-angle turns."""

    length: float
    rings: int
    corners: float

    @classmethod
    def of(cls, region: manifold3d.CrossSection) -> Self:
        """Measure a region's rings."""
        rings = region.to_polygons()
        if not rings:
            return cls(0.0, 0, 0.0)
        points = np.concatenate(rings)
        counts = np.array([len(ring) for ring in rings])
        last = np.cumsum(counts) - 1
        following = np.arange(1, len(points) + 1)
        following[last] = last + 1 - counts  # a ring's last point is followed by its first
        steps = points[following] - points
        after = steps[following]
        cross = steps[:, 0] * after[:, 1] - steps[:, 1] * after[:, 0]
        turns = np.abs(np.arctan2(cross, (steps * after).sum(axis=1)))
        corners = np.minimum(turns[turns > _SMOOTH] / (pi / 2.0), 1.0).sum()
        return cls(float(np.hypot(steps[:, 0], steps[:, 1]).sum()), len(rings), float(corners))


@dataclass(frozen=True, slots=True)
class Band:
    """Heights ``low`` to ``high`` in mm with the section at their middle and the same section inside the walls."""

    low: float
    high: float
    section: manifold3d.CrossSection
    inner: manifold3d.CrossSection


def bands(mesh: Mesh, walls: float) -> tuple[Band, ...]:
    """Cut a solid into bands from the bottom up.

    A band ends at the height of a vertex: at every flat face, and else no nearer than `LEAST_BAND` to the last end.
    Where a face slopes through a higher band it is cut again, for a slope's skins follow it and do not lie in one step.

    Args:
        mesh: the part as it is printed.
        walls: how deep the walls reach into a section, in mm.
    """
    solid = mesh.manifold()
    ends = _cut_slopes(mesh, _ends(mesh))
    cut = []
    for low, high in pairwise(ends):
        section = solid.slice((low + high) / 2.0)
        inner = section.offset(-walls, manifold3d.JoinType.Miter)
        cut.append(Band(float(low), float(high), section, inner))
    return tuple(cut)


def _ends(mesh: Mesh) -> list[float]:
    heights = np.unique(mesh.vertices[:, 2])
    flat = _flat(mesh, heights)
    ends = [float(heights[0])]
    for place in range(1, len(heights)):
        height = float(heights[place])
        if flat[place] or height - ends[-1] >= LEAST_BAND - LENGTH_EPSILON:
            ends.append(height)
    if ends[-1] < heights[-1]:
        ends.append(float(heights[-1]))
    return ends


def _cut_slopes(mesh: Mesh, ends: list[float]) -> list[float]:
    """Return the ends with more of them, evenly spread, where faces slope."""
    corners = mesh.vertices[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normals, axis=1)
    sloping = (np.abs(normals[:, 2]) > _UPRIGHT * size) & (np.ptp(corners[:, :, 2], axis=1) > 0.0)
    low, high = corners[sloping, :, 2].min(axis=1), corners[sloping, :, 2].max(axis=1)
    cut = ends[:1]
    for start, end in pairwise(ends):
        through = bool(((low < end - LENGTH_EPSILON) & (high > start + LENGTH_EPSILON)).any())
        pieces = max(1, ceil((end - start) / SLOPING_BAND - LENGTH_EPSILON)) if through else 1
        cut += np.linspace(start, end, pieces + 1)[1:].tolist()
    return cut


def _flat(mesh: Mesh, heights: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Say of each height whether the flat faces at it are big enough to count."""
    corners = mesh.vertices[mesh.triangles]
    level = (corners[:, 0, 2] == corners[:, 1, 2]) & (corners[:, 0, 2] == corners[:, 2, 2])
    lying = corners[level]
    first, two = lying[:, 1, :2] - lying[:, 0, :2], lying[:, 2, :2] - lying[:, 0, :2]
    areas = np.abs(first[:, 0] * two[:, 1] - first[:, 1] * two[:, 0]) / 2.0
    at = np.searchsorted(heights, lying[:, 0, 2])
    low, high = mesh.bounds
    footprint = float((high[0] - low[0]) * (high[1] - low[1]))
    return np.bincount(at, weights=areas, minlength=len(heights)) > FLAT_SHARE * footprint
