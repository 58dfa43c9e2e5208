"""Horizontal sections of a solid, one for each of a few bands of height, that represent all its layers."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, pi
from typing import Final, Self

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.printing.estimating.mesh_sections import Section, sections
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
    def of_each(cls, regions: Sequence[Sequence[NDArray[np.float64]]]) -> list[Self]:
        """Return the contours of regions, each given as rings ``(n, 2) float64``, mm: at once, a third of the time."""
        counts = np.array([len(ring) for rings in regions for ring in rings])
        if not len(counts):
            return [cls(0.0, 0, 0, 0.0) for _ in regions]
        points = np.concatenate([ring for rings in regions for ring in rings])
        last = np.cumsum(counts) - 1
        first = last + 1 - counts
        following = np.arange(1, len(points) + 1)
        following[last] = first  # a ring's last point is followed by its first
        steps = points[following] - points
        after = steps[following]
        cross = steps[:, 0] * after[:, 1] - steps[:, 1] * after[:, 0]
        turns = np.abs(np.arctan2(cross, (steps * after).sum(axis=1)))
        # the time lost at a corner goes with the square of the speed lost, which falls with the turn
        corners = np.clip((turns - _SMOOTH) / (pi / 2.0 - _SMOOTH), 0.0, 1.0) ** 2
        # outer edges run counterclockwise: their signed area is positive
        areas = points[:, 0] * points[following, 1] - points[following, 0] * points[:, 1]
        of_rings = [np.hypot(steps[:, 0], steps[:, 1]), areas, corners]
        lengths, signed, bends = (np.add.reduceat(of_points, first) for of_points in of_rings)
        ends = np.cumsum([0] + [len(rings) for rings in regions])
        return [
            cls(
                float(lengths[start:end].sum()), int(end - start), int((signed[start:end] > 0.0).sum()),
                float(bends[start:end].sum()),
            )
            for start, end in pairwise(ends)
        ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Band:
    """A band of height in which all layers are taken to be alike.

    Attributes:
        low: height of its bottom, mm.
        high: height of its top, mm.
        section: the section at its middle.
        inner: the region inside the walls.
        edge: the contours of the section.
        inner_edge: the contours of the region inside the walls.
    """

    low: float
    high: float
    section: manifold3d.CrossSection
    inner: manifold3d.CrossSection
    edge: Contours
    inner_edge: Contours


def bands(mesh: Mesh, walls: float) -> tuple[Band, ...]:
    """Return the bands of a solid from the bottom up.

    A band ends at the height of a vertex: at every flat face, and at others when it is at least `LEAST_BAND` high.
    Bands with sloping faces are divided into pieces of at most `SLOPING_BAND`, as the skins of a slope follow it.

    Args:
        mesh: a closed solid, as printed (z up), mm.
        walls: total thickness of the walls, mm: the distance from a section's edge to the region inside.
    """
    ends = _divided_at_slopes(mesh, _ends(mesh))
    heights = [sum(pair) / 2.0 for pair in pairwise(ends)]
    levels: list[tuple[float, float, Section]] = []
    for (low, high), section in zip(pairwise(ends), sections(mesh, heights), strict=True):
        if levels and section.is_like(levels[-1][2]):
            levels[-1] = levels[-1][0], high, section
        else:
            levels.append((low, high, section))
    regions = [manifold3d.CrossSection(section.coarse, manifold3d.FillRule.Positive) for *_, section in levels]
    inner = [region.offset(-walls, manifold3d.JoinType.Miter) for region in regions]
    edges = Contours.of_each([section.rings for *_, section in levels])
    inner_edges = Contours.of_each([region.to_polygons() for region in inner])
    of_levels = zip(levels, regions, inner, edges, inner_edges, strict=True)
    return tuple(Band(low, high, *of_band) for (low, high, _), *of_band in of_levels)


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
    x, y, z = (mesh.vertices[:, axis][mesh.triangles] for axis in range(3))
    lowest, highest = (edge(edge(z[:, 0], z[:, 1]), z[:, 2]) for edge in (np.minimum, np.maximum))
    # the normal is the cross product of two edges
    (ax, bx), (ay, by), (az, bz) = ((axis[:, 1] - axis[:, 0], axis[:, 2] - axis[:, 0]) for axis in (x, y, z))
    up = ax * by - ay * bx
    size = np.sqrt((ay * bz - az * by) ** 2 + (az * bx - ax * bz) ** 2 + up**2)
    sloping = (np.abs(up) > _UPRIGHT * size) & (highest > lowest)
    low, high = lowest[sloping], highest[sloping]
    cut = ends[:1]
    for start, end in pairwise(ends):
        through = bool(((low < end - LENGTH_EPSILON) & (high > start + LENGTH_EPSILON)).any())
        pieces = max(1, ceil((end - start) / SLOPING_BAND - LENGTH_EPSILON)) if through else 1
        cut += np.linspace(start, end, pieces + 1)[1:].tolist()
    return cut


def _has_large_flat_face(mesh: Mesh, heights: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return for each of ``heights`` ``(n,) float64``, mm, whether the flat faces there end a band, ``(n,) bool``."""
    z = mesh.vertices[:, 2][mesh.triangles]
    level = (z[:, 0] == z[:, 1]) & (z[:, 0] == z[:, 2])
    lying = mesh.vertices[mesh.triangles[level]]
    first, two = lying[:, 1, :2] - lying[:, 0, :2], lying[:, 2, :2] - lying[:, 0, :2]
    areas = np.abs(first[:, 0] * two[:, 1] - first[:, 1] * two[:, 0]) / 2.0
    at = np.searchsorted(heights, lying[:, 0, 2])
    low, high = mesh.bounds
    footprint = float((high[0] - low[0]) * (high[1] - low[1]))
    return np.bincount(at, weights=areas, minlength=len(heights)) > FLAT_SHARE * footprint
