"""Horizontal sections of a solid, one for each of a few bands of height, that represent all its layers."""

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

#: Least height of a band, mm, unless a flat face ends it.
LEAST_BAND: Final = 1.5

#: Greatest height of a band with sloping faces, mm.
SLOPING_BAND: Final = 1.5

#: Flat faces smaller than this fraction of the footprint end no band: those of letterings and chamfers.
FLAT_SHARE: Final = 0.01

#: Turns below this angle are facets of an arc, at which a printer does not slow down, rad.
_SMOOTH: Final = pi / 9.0

#: Faces slope when the z component of their unit normal is larger: 3 degrees from vertical.
_UPRIGHT: Final = 0.05


@dataclass(frozen=True, slots=True)
class Contours:
    """The contours of a region: total length, mm, number of rings, how many of them are outer edges, and corners.

    Corners are counted in right angles.
    """

    length: float
    rings: int
    parts: int
    corners: float

    @classmethod
    def of(cls, region: manifold3d.CrossSection) -> Self:
        """Return the contours of a region."""
        rings = region.to_polygons()
        if not rings:
            return cls(0.0, 0, 0, 0.0)
        points = np.concatenate(rings)
        counts = np.array([len(ring) for ring in rings])
        last = np.cumsum(counts) - 1
        following = np.arange(1, len(points) + 1)
        following[last] = last + 1 - counts  # a ring's last point is followed by its first
        steps = points[following] - points
        after = steps[following]
        cross = steps[:, 0] * after[:, 1] - steps[:, 1] * after[:, 0]
        turns = np.abs(np.arctan2(cross, (steps * after).sum(axis=1)))
        # the time lost at a corner goes with the square of the speed lost, which falls with the turn
        corners = (np.clip((turns - _SMOOTH) / (pi / 2.0 - _SMOOTH), 0.0, 1.0) ** 2).sum()
        # outer edges run counterclockwise: their signed area is positive
        areas = np.add.reduceat(
            points[:, 0] * points[following, 1] - points[following, 0] * points[:, 1], last + 1 - counts
        )
        parts = int((areas > 0.0).sum())
        return cls(float(np.hypot(steps[:, 0], steps[:, 1]).sum()), len(rings), parts, float(corners))


@dataclass(frozen=True, slots=True)
class Band:
    """A band from height ``low`` to ``high``, mm, with the section at its middle and the region inside its walls."""

    low: float
    high: float
    section: manifold3d.CrossSection
    inner: manifold3d.CrossSection


def bands(mesh: Mesh, walls: float) -> tuple[Band, ...]:
    """Return the bands of a solid from the bottom up.

    A band ends at the height of a vertex: at every flat face, and at others when it is at least `LEAST_BAND` high.
    Bands with sloping faces are divided into pieces of at most `SLOPING_BAND`, as the skins of a slope follow it.

    Args:
        mesh: a closed solid, as printed (z up), mm.
        walls: total thickness of the walls, mm: the distance from a section's edge to the region inside.
    """
    solid = mesh.manifold()
    ends = _divided_at_slopes(mesh, _ends(mesh))
    cut = []
    for low, high in pairwise(ends):
        section = solid.slice((low + high) / 2.0)
        inner = section.offset(-walls, manifold3d.JoinType.Miter)
        cut.append(Band(float(low), float(high), section, inner))
    return tuple(cut)


def _ends(mesh: Mesh) -> list[float]:
    heights = np.unique(mesh.vertices[:, 2])
    flat = _has_large_flat_face(mesh, heights)
    ends = [float(heights[0])]
    for place in range(1, len(heights)):
        height = float(heights[place])
        if flat[place] or height - ends[-1] >= LEAST_BAND - LENGTH_EPSILON:
            ends.append(height)
    if ends[-1] < heights[-1]:
        ends.append(float(heights[-1]))
    return ends


def _divided_at_slopes(mesh: Mesh, ends: list[float]) -> list[float]:
    """Return the ends of bands, mm, with bands that contain sloping faces divided evenly."""
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


def _has_large_flat_face(mesh: Mesh, heights: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return for each of ``heights`` ``(n,) float64``, mm, whether the flat faces there end a band, ``(n,) bool``."""
    corners = mesh.vertices[mesh.triangles]
    level = (corners[:, 0, 2] == corners[:, 1, 2]) & (corners[:, 0, 2] == corners[:, 2, 2])
    lying = corners[level]
    first, two = lying[:, 1, :2] - lying[:, 0, :2], lying[:, 2, :2] - lying[:, 0, :2]
    areas = np.abs(first[:, 0] * two[:, 1] - first[:, 1] * two[:, 0]) / 2.0
    at = np.searchsorted(heights, lying[:, 0, 2])
    low, high = mesh.bounds
    footprint = float((high[0] - low[0]) * (high[1] - low[1]))
    return np.bincount(at, weights=areas, minlength=len(heights)) > FLAT_SHARE * footprint
