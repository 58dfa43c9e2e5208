"""Shadows of meshes: the union of their sections at or below a height, seen from above.

Every vertical line that meets a closed mesh below a height enters it through a triangle that faces down, so the union
of these triangles is the union of all sections, however often the mesh overlaps itself.
"""

from typing import Any, Final

import manifold3d
import numpy as np
import shapely
import trimesh

from worker.silhouettes.model.mesh import Triangles

__all__ = ["shadow"]

#: Points of an outline that deviate less from a line are left out, mm.
_SIMPLIFIED: Final = 0.005

#: Triangles that are smaller from above are upright or slivers, mm2.
_LEAST_AREA: Final = 1e-9

#: Parts and holes of an outline that are smaller come from rounding, mm2.
_LEAST_PART: Final = 0.01


def shadow(triangles: Triangles, height: float, *, closed: bool) -> list[shapely.Polygon]:
    """Return the union of the sections at or below a height, largest part first.

    Args:
        triangles: `(n, 3, 3) float64, mm`.
        height: height of the highest section, mm.
        closed: whether the mesh is closed and its normals point out; otherwise triangles that face up count as well.
    """
    lower = _below(triangles, height)
    first, second = lower[:, 1, :2] - lower[:, 0, :2], lower[:, 2, :2] - lower[:, 0, :2]
    areas = 0.5 * (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
    facing_down = lower[areas < -_LEAST_AREA][:, ::-1, :2]
    others = np.empty((0, 3, 2)) if closed else lower[areas > _LEAST_AREA][:, :, :2]
    loops: Any = list(np.concatenate([facing_down, others]))
    section = manifold3d.CrossSection(loops, manifold3d.FillRule.NonZero).simplify(_SIMPLIFIED)
    return _polygons(section)


def _below(triangles: Triangles, height: float) -> Triangles:
    """Return the parts of triangles at or below a height."""
    tops = triangles[:, :, 2].max(axis=1)
    whole, cut = triangles[tops <= height], triangles[tops > height]
    cut = cut[cut[:, :, 2].min(axis=1) < height]
    if not len(cut):
        return np.asarray(whole, dtype=np.float64)
    slice_faces: Any = trimesh.intersections.slice_faces_plane  # it has no types
    corners, faces, _ = slice_faces(
        cut.reshape(-1, 3), np.arange(3 * len(cut)).reshape(-1, 3), (0.0, 0.0, -1.0), (0.0, 0.0, height)
    )
    return np.concatenate([whole, np.asarray(corners, dtype=np.float64)[faces]])


def _polygons(section: manifold3d.CrossSection) -> list[shapely.Polygon]:
    polygons: list[shapely.Polygon] = []
    for part in section.decompose():
        rings = [ring for ring in part.to_polygons() if len(ring) > 2]  # noqa: PLR2004 - a triangle
        shells = sorted((shapely.Polygon(ring) for ring in rings), key=lambda shell: -shell.area)
        if not shells or shells[0].area < _LEAST_PART:
            continue
        holes = [hole for hole in shells[1:] if hole.area >= _LEAST_PART]
        polygon = shapely.Polygon(shells[0].exterior.coords, [hole.exterior.coords for hole in holes])
        whole = polygon if polygon.is_valid else shapely.buffer(polygon, 0.0)
        polygons.extend(part for part in shapely.get_parts(whole) if part.area >= _LEAST_PART)
    return sorted(polygons, key=lambda polygon: (-polygon.area, polygon.bounds))
