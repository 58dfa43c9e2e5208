"""A model's silhouette: the union of its sections up to a depth, so that the thing lifts straight out of a pocket."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import inf
from typing import Any, Final

import numpy as np
import shapely
import trimesh
from shapely.geometry.base import BaseGeometry

from worker.silhouettes.errors import ModelRefused
from worker.silhouettes.model.mesh import ModelFormat, ModelUnit, Triangles, read_mesh
from worker.silhouettes.model.poses import RestingPose, resting_poses
from worker.silhouettes.model.shadow import shadow
from worker.silhouettes.silhouette import LARGEST_SIDE, Silhouette

__all__ = ["ModelOptions", "ModelReading", "read_model"]

#: How far the outline of a mesh may be from that of the thing, mm: usual meshes have chords within this.
_UNCERTAINTY: Final = 0.05

#: Undercuts and overhangs that are smaller need no warning, mm.
_LEAST_UNDERCUT: Final = 0.5


@dataclass(frozen=True, slots=True)
class ModelOptions:
    """How to read a model.

    Attributes:
        unit: unit of the coordinates of an STL or OBJ; None for mm.
        pose: number of a resting pose, from 1, the most likely; None to let it lie as the file has it.
        depth: how deep it is to lie in its pocket, mm; None for its whole height.
        repair: whether a mesh that is not closed is accepted.
    """

    unit: ModelUnit | None = None
    pose: int | None = None
    depth: float | None = None
    repair: bool = False


@dataclass(frozen=True, slots=True)
class ModelReading:
    """A model's silhouette, and the poses that it can rest in."""

    silhouette: Silhouette
    poses: tuple[RestingPose, ...]


def read_model(content: bytes, kind: ModelFormat, options: ModelOptions) -> ModelReading:
    """Return the silhouette of a model.

    Raises:
        ModelRefused: if it cannot be read, is not closed, or has no such pose.
        SilhouetteError: if the outline is too small or too large.
    """
    triangles, warnings = read_mesh(content, kind, options.unit)
    span = np.ptp(triangles.reshape(-1, 3), axis=0)
    if span.max() > 2.0 * LARGEST_SIDE:
        raise ModelRefused(
            "The model is too large.", reason="size", value=[float(round(side, 3)) for side in span],
            limit=f"at most {LARGEST_SIDE:g} mm", pointer="/unit", remedy="Check the unit of its coordinates.",
        )  # fmt: skip
    triangles, closed = _closed(triangles, warnings, repair=options.repair)
    poses = resting_poses(triangles, closed=closed)
    if options.pose is not None:
        if options.pose > len(poses):
            raise ModelRefused(
                "The model has no such pose.", reason="no-such-pose", pointer="/pose", value=options.pose,
                limit=f"1 to {len(poses)}", remedy="Choose one of its poses, or none.",
            )  # fmt: skip
        triangles = triangles @ poses[options.pose - 1].rotation.T
    triangles = triangles - triangles.reshape(-1, 3).min(axis=0)
    height = float(triangles[:, :, 2].max())
    depth = min(options.depth or inf, height)
    polygon = _outline(triangles, depth, closed=closed)
    details: dict[str, float | str] = {"format": kind, "triangles": float(len(triangles)), "depth_of_outline": depth}
    below = _lowest(triangles, depth, closed=closed)
    above = shapely.union_all(shadow(triangles, height, closed=closed))
    details |= _clearances(polygon, below, above)
    warnings += _clearance_warnings(details, depth)
    left, front, _, _ = polygon.bounds
    placed = shapely.transform(polygon, lambda points: points - (left, front))
    made = Silhouette.of_polygon(
        placed, method="model", uncertainty=_UNCERTAINTY, depth=height, warnings=warnings, details=details
    )
    return ModelReading(made, tuple(poses))


def _closed(triangles: Triangles, warnings: list[str], *, repair: bool) -> tuple[Triangles, bool]:
    """Return the triangles of a closed mesh, and whether it is closed.

    Raises:
        ModelRefused: if it is not, and is not to be repaired, or nothing is left of it.
    """
    mesh: Any = trimesh.Trimesh(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3), process=False)
    mesh.merge_vertices(digits_vertex=4)
    mesh.update_faces(mesh.nondegenerate_faces())
    if not len(mesh.faces):
        raise ModelRefused("All triangles of the model are lines.", reason="empty", remedy="Export it as a mesh.")
    if mesh.is_watertight and mesh.is_winding_consistent:
        outward = mesh.volume > 0.0
        if not outward:
            warnings.append("The mesh was inside out.")
        made = np.array(mesh.triangles, dtype=np.float64)
        return (made if outward else made[:, ::-1]), True
    if not repair:
        raise ModelRefused(
            "The mesh is not closed, or parts of it are turned inside out.", reason="not-closed", pointer="/repair",
            value=_open_edges(mesh), limit="a mesh without open edges",
            remedy="Repair the mesh, or send `repair: true`: the outline is then that of all triangles from above.",
        )  # fmt: skip
    warnings.append("The mesh is not closed; the outline is that of all its triangles, seen from above. Look at it.")
    return triangles, False


def _open_edges(mesh: Any) -> str:
    _, counts = np.unique(np.sort(mesh.edges_sorted, axis=1), axis=0, return_counts=True)
    return f"{int((counts != 2).sum())} open edges"  # noqa: PLR2004 - two triangles meet in an edge


def _outline(triangles: Triangles, depth: float, *, closed: bool) -> shapely.Polygon:
    parts = shadow(triangles, depth, closed=closed)
    if not parts:
        raise ModelRefused("Seen from above the model has no area.", reason="empty", remedy="Choose another pose.")
    if len(parts) > 1:
        raise ModelRefused(
            f"Up to this depth the model has {len(parts)} separate outlines.", reason="several-outlines",
            pointer="/depth", value=round(depth, 3), limit="one outline",
            remedy="Choose a greater depth or another pose, or export one thing only.",
        )  # fmt: skip
    return parts[0]


def _lowest(triangles: Triangles, depth: float, *, closed: bool) -> BaseGeometry:
    """Return the outline of the thing's lowest half millimetre."""
    return shapely.union_all(shadow(triangles, min(_LEAST_UNDERCUT, depth), closed=closed))


def _clearances(outline: shapely.Polygon, below: BaseGeometry, above: BaseGeometry) -> dict[str, float]:
    """Return how far the thing is narrower at its bottom than its outline, and wider above it, mm."""
    return {"undercut": round(_reach(outline, below), 3), "overhang": round(_reach(above, outline), 3)}


def _clearance_warnings(details: Mapping[str, float | str], depth: float) -> Iterator[str]:
    undercut, overhang = float(details["undercut"]), float(details["overhang"])
    if undercut > _LEAST_UNDERCUT:
        yield (
            f"The thing is up to {undercut:.1f} mm narrower at its bottom than its outline; a straight pocket leaves "
            "air there."
        )
    if overhang > _LEAST_UNDERCUT:
        yield f"Above the depth of {depth:g} mm the thing is up to {overhang:.1f} mm wider."


def _reach(outer: BaseGeometry, inner: BaseGeometry) -> float:
    """Return how far the corners of an outline are at most from another that lies inside of it, mm."""
    if inner.is_empty:
        return 0.0
    return float(shapely.distance(shapely.points(shapely.get_coordinates(outer)), inner).max())
