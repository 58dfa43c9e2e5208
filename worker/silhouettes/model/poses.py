"""Poses that a thing rests in: the faces of its convex hull that hold its centre of mass."""

from dataclasses import dataclass
from math import atan2, degrees
from typing import Any, Final

import numpy as np
import shapely
import trimesh
from numpy.typing import NDArray

from worker.silhouettes.model.mesh import Triangles

__all__ = ["MOST_POSES", "RestingPose", "resting_poses"]

#: Poses that are offered.
MOST_POSES: Final = 6

#: Corners of the hull; a hull with more is replaced by that of its outermost points in so many directions. A round
#: thing of 20,000 triangles otherwise takes a minute.
_MOST_CORNERS: Final = 400

#: Hull faces whose normals differ by less are one face, and poses whose sizes differ by less, mm, are one pose.
_SAME_NORMAL: Final = 2e-3
_SAME_SIZE: Final = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class RestingPose:
    """A pose that a thing rests in.

    Attributes:
        rotation: `(3, 3) float64`: turns the thing into the pose, its longer side from left to right.
        size: width, depth and height in this pose, mm.
        share: share of the directions in which the thing rests like this when it is put down at random, by the solid
            angle of the face seen from the centre of mass.
    """

    rotation: NDArray[np.float64]
    size: tuple[float, float, float]
    share: float


def resting_poses(triangles: Triangles, *, closed: bool) -> list[RestingPose]:
    """Return the stable poses, most likely first; those of a flat or degenerate mesh may be none."""
    corners = _outermost(np.unique(triangles.reshape(-1, 3), axis=0))
    try:
        hull: Any = trimesh.convex.convex_hull(corners)
    except Exception:  # noqa: BLE001 - the hull of a flat mesh fails with an error of another library
        return []
    centre = _centre(triangles) if closed else np.asarray(hull.center_mass)
    poses: dict[tuple[int, ...], RestingPose] = {}
    for normal, faces in _facets(hull):
        support = shapely.MultiPoint(_turned(hull.vertices[np.unique(hull.faces[faces])], normal)[:, :2]).convex_hull
        foot = shapely.Point(_turned(centre[np.newaxis], normal)[0, :2])
        if support.geom_type != "Polygon" or not support.covers(foot):
            continue
        pose = _pose(hull, normal, float(_solid_angles(hull.triangles[faces] - centre).sum()) / (4.0 * np.pi))
        key = (*(round(side / _SAME_SIZE) for side in pose.size), round(support.area / _SAME_SIZE))
        same = poses.get(key)
        poses[key] = pose if same is None else RestingPose(same.rotation, same.size, same.share + pose.share)
    return sorted(poses.values(), key=lambda pose: (-pose.share, pose.size))[:MOST_POSES]


def _outermost(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points with the same hull, or nearly the same if it has too many corners."""
    if len(points) <= _MOST_CORNERS:
        return points
    # directions evenly spread over the sphere: a Fibonacci lattice
    index = np.arange(_MOST_CORNERS) + 0.5
    height, turn = 1.0 - 2.0 * index / _MOST_CORNERS, np.pi * (1.0 + 5.0**0.5) * index
    width = np.sqrt(1.0 - height**2)
    directions = np.column_stack([width * np.cos(turn), width * np.sin(turn), height])
    directions = np.concatenate([directions, np.eye(3), -np.eye(3)])
    chosen = {int(np.argmax(points @ direction)) for direction in directions}
    for axis in range(3):  # all of a flat side, as far as it is level
        for extreme in (points[:, axis].min(), points[:, axis].max()):
            level = np.flatnonzero(np.abs(points[:, axis] - extreme) < 1e-6)  # noqa: PLR2004 - rounding
            chosen.update(level[:: max(1, len(level) // 64)].tolist())
    return points[sorted(chosen)]


def _facets(hull: Any) -> list[tuple[NDArray[np.float64], NDArray[np.intp]]]:
    """Return the normal and the triangles of each face of a hull."""
    normals = np.asarray(hull.face_normals)
    order = np.argsort(-np.asarray(hull.area_faces), kind="stable")
    left = np.ones(len(normals), dtype=bool)
    facets = []
    for face in order:
        if not left[face]:
            continue
        same = left & (normals @ normals[face] > 1.0 - _SAME_NORMAL**2 / 2.0)
        left &= ~same
        left[face] = False
        facets.append((normals[face], np.flatnonzero(same)))
    return facets


def _pose(hull: Any, normal: NDArray[np.float64], share: float) -> RestingPose:
    rotation = _rotation(normal)
    flat = shapely.MultiPoint((hull.vertices @ rotation.T)[:, :2])
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(flat))
    sides = np.diff(corners[:3], axis=0)
    long = sides[int(np.argmax(np.hypot(*sides.T)))] if len(sides) else np.array([1.0, 0.0])
    rotation = _spin(-atan2(long[1], long[0])) @ rotation
    width, depth, height = np.ptp(hull.vertices @ rotation.T, axis=0)
    return RestingPose(rotation, (float(width), float(depth), float(height)), share)


def _rotation(normal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the rotation that turns a normal down."""
    turn: Any = trimesh.geometry.align_vectors  # it has no types
    return np.asarray(turn(normal, (0.0, 0.0, -1.0))[:3, :3], dtype=np.float64)


def _spin(turn: float) -> NDArray[np.float64]:
    if abs(degrees(turn)) < 1e-6:  # noqa: PLR2004 - rounding
        return np.eye(3)
    return np.array([[np.cos(turn), -np.sin(turn), 0.0], [np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]])


def _turned(points: NDArray[np.float64], normal: NDArray[np.float64]) -> NDArray[np.float64]:
    return points @ _rotation(normal).T


def _centre(triangles: Triangles) -> NDArray[np.float64]:
    """Return the centre of mass of a closed mesh: that of the tetrahedra from the origin to its triangles."""
    origin = triangles.reshape(-1, 3).mean(axis=0)
    moved = triangles - origin
    volumes = np.einsum("ij,ij->i", moved[:, 0], np.cross(moved[:, 1], moved[:, 2]))
    total = volumes.sum()
    centre: NDArray[np.float64] = origin
    if abs(total) > 0.0:
        centre = origin + (volumes[:, np.newaxis] * moved.sum(axis=1)).sum(axis=0) / (4.0 * total)
    return centre


def _solid_angles(triangles: Triangles) -> NDArray[np.float64]:
    """Return the solid angles of triangles seen from the origin (van Oosterom and Strackee, 1983)."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    lengths = [np.linalg.norm(corner, axis=1) for corner in (a, b, c)]
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    dots = [np.einsum("ij,ij->i", *pair) for pair in ((a, b), (a, c), (b, c))]
    bottom = lengths[0] * lengths[1] * lengths[2] + dots[0] * lengths[2] + dots[1] * lengths[1] + dots[2] * lengths[0]
    return np.asarray(np.abs(2.0 * np.arctan2(triple, bottom)), dtype=np.float64)
